package surroundings

import (
	"math"
	"slices"
	"testing"

	"catchlight/scene/colour"
)

// Every place, small: what is in it is finite and lit, its key shines about 1, and nothing of the place without it does; the mean of the
// latter leaves room for a key. The bits are the same each time.
func TestPlaces(t *testing.T) {
	for name, make := range places {
		lit, dark := paint(make(true), 256, 128), paint(make(false), 256, 128)
		again := paint(make(true), 256, 128)
		var most, rest, mean, solid float64
		for y := range 128 {
			w := math.Sin(math.Pi * (float64(y) + 0.5) / 128)
			for x := range 256 {
				i := y*256 + x
				a := colour.RGB{float64(lit[0][i]), float64(lit[1][i]), float64(lit[2][i])}
				b := colour.RGB{float64(dark[0][i]), float64(dark[1][i]), float64(dark[2][i])}
				if !a.Finite() || !b.Finite() || min(a[0], a[1], a[2], b[0], b[1], b[2]) < 0 {
					t.Fatalf("%s: texel (%d, %d): %v and %v", name, x, y, a, b)
				}
				if lit[1][i] != again[1][i] {
					t.Fatalf("%s: texel (%d, %d) differs the second time", name, x, y)
				}
				most, rest = max(most, a.Luminance()), max(rest, b.Luminance())
				mean, solid = mean+w*b.Luminance(), solid+w
			}
		}
		mean /= solid
		t.Logf("%s: key %.2f, rest at most %.2f, mean %.3f", name, most, rest, mean)
		if most < 0.8 || most > 2 || rest > 1.1 || rest >= most || mean < 0.01 || mean > 0.6 {
			t.Errorf("%s: key %.2f, rest at most %.2f, mean %.3f", name, most, rest, mean)
		}
	}
}

// A picture keeps edges and light: the mean of a place painted with few texels is that with many.
func TestPaintKeepsLight(t *testing.T) {
	see := studioStrips(true)
	mean := func(w, h int) (m float64) {
		p := paint(see, w, h)
		solid := 0.0
		for y := range h {
			s := math.Sin(math.Pi * (float64(y) + 0.5) / float64(h))
			for x := range w {
				m, solid = m+s*float64(p[1][y*w+x]), solid+s
			}
		}
		return m / solid
	}
	if a, b := mean(512, 256), mean(160, 80); math.Abs(a/b-1) > 0.02 {
		t.Errorf("means %g and %g", a, b)
	}
}

// Names come in pairs, in order; others there are not.
func TestNames(t *testing.T) {
	n := Names()
	if len(n) != 10 || !slices.IsSorted(n) || !Has("marsh-dusk-unlit") || Has("marsh") || Has("") {
		t.Errorf("names %v", n)
	}
	if _, ok := Make("fen"); ok {
		t.Error("made a place that there is not")
	}
}
