package film

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"catchlight/scene/colour"
)

func saved(t testing.TB) (*Film, []byte) {
	f := film(t, Config{Width: 37, Height: 21, SPP: 6, Record: "ferry keeper, build 7",
		Layers: []Layer{{"key", 0, AllClasses}, {"sky", 1, 6}}})
	s := f.Sample()
	for i := 0; i < f.Tiles(); i++ {
		render(f, &s, i, 9)
	}
	s.Begin(5, 0)
	s.Add(0, 0, colour.Grey(math.NaN()))
	s.End()
	var b bytes.Buffer
	if err := f.Save(&b); err != nil {
		t.Fatal(err)
	}
	return f, b.Bytes()
}

// A state comes back to the bit, and rendering goes on from it to the same bits as without the break.
func TestState(t *testing.T) {
	f, b := saved(t)
	g, err := Load(bytes.NewReader(b), int64(len(b)), 0)
	if err != nil {
		t.Fatal(err)
	}
	if !f.Equal(g) || g.Record() != "ferry keeper, build 7" {
		t.Error("the state differs")
	}
	same(t, f.Develop(), g.Develop())
	for _, h := range []*Film{f, g} {
		s := h.Sample()
		for i := 0; i < h.Tiles(); i++ {
			render(h, &s, i, 2)
		}
	}
	if !f.Equal(g) {
		t.Error("the picture differs after going on")
	}
	h := film(t, Config{Width: 37, Height: 21, SPP: 6, Layers: f.layers, Record: "another build"})
	if err := h.Merge(f); err == nil || !strings.Contains(err.Error(), `"another build"`) {
		t.Errorf("films of different records merge: %v", err)
	}
}

// Every kind of damage is refused with a reason: any flipped bit, any missing end, a size that does not fit, a header
// that asks for more than the file holds or than may be allocated.
func TestStateDamage(t *testing.T) {
	_, b := saved(t)
	for i := 0; i < len(b); i += 1 + len(b)/300 {
		d := bytes.Clone(b)
		d[i] ^= 4
		if _, err := Load(bytes.NewReader(d), int64(len(d)), 0); err == nil {
			t.Fatalf("a flipped bit in byte %d passes", i)
		}
		if _, err := Load(bytes.NewReader(b[:i]), int64(len(b)), 0); err == nil || !strings.Contains(err.Error(), "ends too early") {
			t.Fatalf("cut at byte %d: %v", i, err)
		}
	}
	for _, c := range []struct {
		size, most int64
		want       string
	}{{int64(len(b)) + 1, 0, "bytes where its header asks for"}, {int64(len(b)), 1000, "the limit is"}} {
		if _, err := Load(bytes.NewReader(b), c.size, c.most); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	huge := []byte(strings.Replace(string(b), `"Width":37,"Height":21`, `"Width":16384,"Height":9`, 1))
	if _, err := Load(bytes.NewReader(huge), int64(len(huge)), 0); err == nil {
		t.Error("a header larger than the file passes")
	}
}

func FuzzLoad(f *testing.F) {
	_, b := saved(f)
	f.Add(b)
	f.Add(b[:60])
	f.Add([]byte(stateMagic + "\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := Load(bytes.NewReader(b), int64(len(b)), 1<<24)
		if (g == nil) == (err == nil) {
			t.Fatal("neither a film nor an error")
		}
	})
}
