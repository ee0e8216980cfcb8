package film

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene/colour"
)

func marsh() Config {
	return Config{Width: 37, Height: 21, SPP: 6, Record: "ferry keeper, build 7",
		Layers: []Layer{{"key", 0, AllClasses}, {"sky", 1, 6}}, Passes: []Pass{{Layer{"lamp", 0, AllClasses}, true}, {Layer{"moon", 1, AllClasses}, false}}}
}

func saved(t testing.TB) (*Film, []byte) {
	f := film(t, marsh())
	s := f.Sample()
	for i := 0; i < f.Tiles(); i++ {
		render(f, &s, i, 9)
	}
	s.Begin(5, 0)
	s.Add(0, 0, colour.Grey(math.NaN()))
	s.End()
	s.Release()
	var b bytes.Buffer
	if err := f.Save(&b); err != nil {
		t.Fatal(err)
	}
	return f, b.Bytes()
}

// reopen takes up the bytes of a film's file.
func reopen(t testing.TB, dir string, b []byte, o Opening) (*Film, error) {
	path := filepath.Join(dir, "a.film")
	if err := os.WriteFile(path, b, 0o666); err != nil {
		t.Fatal(err)
	}
	return Open(path, o)
}

// A state comes back to the bit, and rendering goes on from it to the same bits as without the break.
func TestState(t *testing.T) {
	f, b := saved(t)
	g, err := reopen(t, t.TempDir(), b, Opening{Write: true})
	if err != nil {
		t.Fatal(err)
	}
	if !f.Equal(g) || g.Record() != "ferry keeper, build 7" || g.Damaged() != 0 {
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
	c := marsh()
	c.Record = "another build"
	if err := film(t, c).Merge(f); err == nil || !strings.Contains(err.Error(), `"another build"`) {
		t.Errorf("films of different records merge: %v", err)
	}
}

// Damage never changes a sum: a flipped bit or a cut end is refused, or the tile that it is in counts as not there and is counted.
func TestStateDamage(t *testing.T) {
	f, b := saved(t)
	whole := f.Develop()
	dir := t.TempDir()
	look := func(what string, d []byte) {
		g, err := reopen(t, dir, d, Opening{})
		if err != nil {
			return
		}
		defer g.Close()
		p := g.Develop()
		if g.Err() == nil && g.Damaged() == 0 && len(d) == len(b) {
			t.Fatalf("%s passes unseen", what)
		}
		for i, n := range p.Samples {
			if n != 0 && (p.Mean[i] != whole.Mean[i] || n != whole.Samples[i]) {
				t.Fatalf("%s changes pixel %d", what, i)
			}
		}
	}
	for i := 0; i < len(b); i += 1 + len(b)/150 {
		d := bytes.Clone(b)
		d[i] ^= 4
		look(fmt.Sprintf("a flipped bit in byte %d", i), d)
		look(fmt.Sprintf("an end at byte %d", i), b[:i])
	}
	if _, err := reopen(t, dir, b, Opening{MaxBytes: 1000}); err == nil || !strings.Contains(err.Error(), "the limit is") {
		t.Errorf("a film larger than allowed: %v", err)
	}
	if _, err := reopen(t, dir, b[:40], Opening{}); err == nil || !strings.Contains(err.Error(), "ends too early") {
		t.Errorf("a cut header: %v", err)
	}
	// A sum without a sample behind it, under a checksum that is right.
	at := bytes.Index(b, []byte("slot"))
	if at < 0 {
		at = bytes.Index(b, []byte{0x73, 0x6c, 0x6f, 0x74})
	}
	r := b[at+slotHead:]
	n := recordHead + int(binary.LittleEndian.Uint32(r[12:]))
	d := bytes.Clone(b)
	q := d[at+slotHead : at+slotHead+n]
	clear(q[recordHead+4 : recordHead+8]) // the count of the first pixel
	binary.LittleEndian.PutUint32(q[16:], crc32.Update(crc32.Checksum(q[:16], castagnoli), castagnoli, q[recordHead:]))
	g, err := reopen(t, dir, d, Opening{})
	if err != nil {
		t.Fatal(err)
	}
	if g.Develop(); g.Err() == nil || !strings.Contains(g.Err().Error(), "over 0 samples") {
		t.Errorf("a sum without samples: %v", g.Err())
	}
}

func FuzzLoad(f *testing.F) {
	_, b := saved(f)
	f.Add(b)
	f.Add(b[:60])
	f.Add([]byte(stateMagic + "\xff\xff\xff\xff"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := reopen(t, dir, b, Opening{MaxBytes: 1 << 24})
		if (g == nil) == (err == nil) {
			t.Fatal("neither a film nor an error")
		}
		if g != nil {
			g.Develop()
			g.Close()
		}
	})
}
