package imgcmp

import (
	"math"
	"testing"

	"catchlight/scene/colour"
)

// marsh makes a pair of small pictures in 8-bit levels of 8 bits: checks over a slope of colour, moved by a pixel, with a red spot.
func marsh(width, height int) (a, b []colour.RGB) {
	for y := range height {
		for x := range width {
			var p, q colour.RGB
			for c := range 3 {
				spot := 0
				if (x-14)*(x-14)+(y-11)*(y-11) < 30 && c == 0 {
					spot = 25
				}
				slope := x*9 + y*5 + c*40
				p[c] = float64((slope+(x/7+y/6)%2*60)%256) / 255
				q[c] = float64((slope+((x+1)/7+y/6)%2*60+spot)%256) / 255
			}
			a, b = append(a, p), append(b, q)
		}
	}
	return a, b
}

func decode(pix []colour.RGB) []colour.RGB {
	out := make([]colour.RGB, len(pix))
	for i, p := range pix {
		for c, v := range p {
			out[i][c] = colour.DecodeSRGB(v)
		}
	}
	return out
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.7f, want %.7f within %g", what, got, want, tol)
	}
}

// FLIP of two small pictures against the authors' published formulas in their NumPy form of 2021 (two-dimensional filters,
// flip_api.py of NVlabs/flip), evaluated with SciPy 1.10; the tolerance covers the inverse matrix that they round to nine
// digits. Their own test pictures were not to be had.
func TestFLIPNumbers(t *testing.T) {
	a, b := marsh(28, 22)
	a, b = decode(a), decode(b)
	for _, c := range []struct {
		perDegree, mean, most, corner, mid, some, last float64
	}{
		{DeskViewing, 0.2687934, 0.9213690, 0.0242954, 0.6845729, 0.1127322, 0.6297678},
		{20, 0.2848172, 0.9868367, 0, 0.9761548, 0.0802147, 0.7239975},
	} {
		m, err := FLIP(b, a, 28, c.perDegree)
		if err != nil {
			t.Fatal(err)
		}
		mean, _, _, _ := Pool(m, nil)
		most := 0.0
		for _, v := range m {
			most = max(most, v)
		}
		near(t, "mean", mean, c.mean, 1e-6)
		near(t, "largest", most, c.most, 1e-6)
		near(t, "corner", m[0], c.corner, 1e-6)
		near(t, "middle", m[11*28+14], c.mid, 1e-6)
		near(t, "another", m[5*28+7], c.some, 1e-6)
		near(t, "last", m[21*28+27], c.last, 1e-6)
		back, err := FLIP(a, b, 28, c.perDegree)
		if err != nil {
			t.Fatal(err)
		}
		for i := range m {
			if m[i] != back[i] {
				t.Fatalf("pixel %d: %v one way, %v the other", i, m[i], back[i])
			}
		}
		same, err := FLIP(a, a, 28, c.perDegree)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range same {
			if v != 0 {
				t.Fatalf("pixel %d differs from itself by %v", i, v)
			}
		}
	}
}

// Fields without structure leave the colour part alone. In closed form: black to white is a distance of 100 in L*, green to
// blue is the largest that there is, so 1.
func TestFLIPFields(t *testing.T) {
	flat := func(r, g, b float64) []colour.RGB {
		out := make([]colour.RGB, 64)
		for i := range out {
			out[i] = colour.RGB{r, g, b}
		}
		return out
	}
	greatest := math.Pow(apart(hunt(colour.RGB{0, 1, 0}), hunt(colour.RGB{0, 0, 1})), 0.7)
	white := math.Pow(100, 0.7)
	for _, c := range []struct {
		name string
		a, b []colour.RGB
		want float64
	}{
		{"black and white", flat(0, 0, 0), flat(1, 1, 1), 0.95 + 0.05*(white-0.4*greatest)/(0.6*greatest)},
		{"green and blue", flat(0, 1, 0), flat(0, 0, 1), 1},
	} {
		m, err := FLIP(c.a, c.b, 8, DeskViewing)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name, m[27], c.want, 1e-9)
	}
	near(t, "pixels per degree", DeskViewing, 67.0206, 1e-4) // the paper, section 4
	for _, bad := range []float64{0, math.NaN(), 1e4} {
		if _, err := FLIP(flat(0, 0, 0), flat(1, 1, 1), 8, bad); err == nil {
			t.Errorf("%g pixels per degree: no error", bad)
		}
	}
	if _, err := FLIP(flat(0, 0, 0), flat(1, 1, 1)[1:], 8, DeskViewing); err == nil {
		t.Error("pictures of two sizes: no error")
	}
}

// HDR-FLIP of the same pictures, cubed and thirty times as bright, with a highlight eight times too strong; source of the
// numbers as in TestFLIPNumbers. Workers change nothing.
func TestHDRFLIPNumbers(t *testing.T) {
	a, b := marsh(28, 22)
	for i := range a {
		for c := range 3 {
			a[i][c], b[i][c] = 30*a[i][c]*a[i][c]*a[i][c], 30*b[i][c]*b[i][c]*b[i][c]
			if x, y := i%28, i/28; x >= 20 && x < 24 && y >= 3 && y < 6 {
				b[i][c] *= 8
			}
		}
	}
	m, at, e, err := HDRFLIP(b, a, 28, DeskViewing, 3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "start", e.Start, -3.5770005, 1e-6)
	near(t, "stop", e.Stop, -1.3414942, 1e-6)
	if e.Count != 3 {
		t.Fatalf("%d exposures", e.Count)
	}
	mean, _, _, _ := Pool(m, nil)
	near(t, "mean", mean, 0.3280721, 1e-6)
	near(t, "corner", m[0], 0.0406173, 1e-6)
	near(t, "middle", m[11*28+14], 0.7415689, 1e-6)
	near(t, "highlight", m[4*28+22], 0.8784380, 1e-6)
	again, when, _, err := HDRFLIP(b, a, 28, DeskViewing, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i := range m {
		if m[i] != again[i] || at[i] != when[i] {
			t.Fatalf("pixel %d depends on the workers", i)
		}
		if at[i] < e.Start || at[i] > e.Stop {
			t.Fatalf("pixel %d at %g EV", i, at[i])
		}
	}
	dark, _, e, err := HDRFLIP(b, make([]colour.RGB, len(b)), 28, DeskViewing, 1)
	if err != nil || e.Count != 0 || dark[0] != 0 {
		t.Errorf("a black reference: %v %v %v", dark[0], e, err)
	}
	// Twenty-nine stops and more between median and highlight are cut to a bounded number of exposures.
	a[0] = colour.Grey(1e15)
	if e, ok := ExposuresOf(a); !ok || e.Count != MostExposures || e.At(e.Count-1) != e.Stop {
		t.Errorf("a blinding reference: %+v", e)
	}
}

func BenchmarkFLIP(b *testing.B) {
	x, y := marsh(640, 640)
	x, y = decode(x), decode(y)
	for b.Loop() {
		if _, err := FLIP(x, y, 640, DeskViewing); err != nil {
			b.Fatal(err)
		}
	}
}
