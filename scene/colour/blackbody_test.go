package colour

import (
	"math"
	"testing"
)

// Chromaticities against Planck's law with the colour matching functions of the CIE 1931 observer, by two published points: standard
// illuminant A is a black body of 2855.5 K with x, y = 0.44758, 0.40745 (CIE S 014-2), and one of 10000 K has 0.2807, 0.2884 (Wyszecki and
// Stiles, Color Science, 2nd ed., table of Planckian radiators; from memory).
func TestBlackBody(t *testing.T) {
	for _, c := range []struct{ kelvin, x, y float64 }{{2855.5, 0.44758, 0.40745}, {10000, 0.2807, 0.2884}} {
		x, y := blackBodyAt(c.kelvin)
		if math.Abs(x-c.x) > 4e-4 || math.Abs(y-c.y) > 4e-4 {
			t.Errorf("%g K: %.5f, %.5f, want %.5f, %.5f", c.kelvin, x, y, c.x, c.y)
		}
	}
	last := math.Inf(1)
	for k := 1700.0; k <= 15000; k += 100 {
		c, err := BlackBody(k)
		if err != nil || math.Abs(c.Luminance()-1) > 1e-12 || !(c[0]/(c[2]+1e-9) < last) || c[2] < 0 {
			t.Fatalf("%g K: %v, %v", k, c, err)
		}
		last = c[0] / (c[2] + 1e-9)
	}
	for _, k := range []float64{0, 1699, 15001, math.NaN()} {
		if _, err := BlackBody(k); err == nil {
			t.Errorf("%g K has a colour", k)
		}
	}
}
