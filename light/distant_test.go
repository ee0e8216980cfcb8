package light

import (
	"fmt"
	"math"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// A far disc of angular radius a gives pi L sin^2 a; constant light pi L.
func TestDistantAndConstant(t *testing.T) {
	dir := geom.Vec{X: 1, Y: 2, Z: -2}
	for _, d := range []float64{minDiameter, 0.0093, 0.5, 2, math.Pi} {
		l := must(t)(NewDistant("s", dir, d, colour.Grey(4)))
		want := 4 * math.Pi * math.Pow(math.Sin(d/2), 2)
		near(t, fmt.Sprintf("diameter %g", d), estimate(l, geom.Vec{}, dir.Unit(), 400)[0]/want, 1, 2e-5)
		k := must(t)(NewDistantIrradiance("s", dir.Mul(100), d, colour.Grey(7)))
		near(t, fmt.Sprintf("diameter %g, by irradiance", d), estimate(k, geom.Vec{}, dir.Unit(), 400)[0], 7, 2e-4)
		near(t, "fluence", l.Irradiance(geom.Vec{}), 4*2*math.Pi*(1-math.Cos(d/2))/4, 1e-9)
		// In and out of the cone.
		f := geom.NewFrame(dir.Unit())
		for _, a := range []float64{0.999, 1.001} {
			s, c := math.Sincos(a * d / 2)
			in := !l.RadianceDir(f.World(geom.Vec{X: s, Z: c})).Black()
			if in != (a < 1) {
				t.Errorf("diameter %g: at %g of the radius, inside %v", d, a, in)
			}
		}
	}
	l := must(t)(NewConstant("c", colour.RGB{1, 2, 3}))
	near(t, "constant", estimate(l, geom.Vec{}, geom.Vec{Y: 1}, 400)[2], 3*math.Pi, 1e-3)
	near(t, "constant, mean", l.Irradiance(geom.Vec{}), math.Pi*colour.RGB{1, 2, 3}.Luminance(), 1e-12)
}
