package spherestat

import (
	"math"
	"testing"

	"catchlight/scene/geom"
)

// The check must pass what is right and catch what is wrong: here a cosine lobe against its own density, against that
// of the uniform hemisphere, and against one that is right but tilted by two degrees.
func TestCheckTellsRightFromWrong(t *testing.T) {
	up := geom.Vec{Z: 1}
	cosine := func(n geom.Vec) func(geom.Vec) float64 {
		return func(d geom.Vec) float64 { return max(0, d.Dot(n)) / math.Pi }
	}
	sample := func(u0, u1 float64) (geom.Vec, float64, bool) {
		d := geom.CosineHemisphere(u0, u1)
		return d, d.Z / math.Pi, true
	}
	uniform := func(d geom.Vec) float64 {
		if d.Z > 0 {
			return 1 / (2 * math.Pi)
		}
		return 0
	}
	for _, c := range []struct {
		name string
		pdf  func(geom.Vec) float64
		good bool
	}{
		{"its own", cosine(up), true},
		{"uniform", uniform, false},
		{"tilted", cosine(geom.Vec{X: math.Sin(0.035), Z: math.Cos(0.035)}), false},
	} {
		r := Check(Case{Pdf: c.pdf, Sample: sample, Axis: up, Power: 1, N: 200000, Seed: 3})
		if math.Abs(r.Integral-1) > 2e-4 {
			t.Errorf("%s: integral %g, want 1", c.name, r.Integral)
		}
		if good := r.P > 1e-3; good != c.good {
			t.Errorf("%s: p = %g", c.name, r.P)
		}
	}
}
