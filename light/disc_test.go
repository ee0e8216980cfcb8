package light

import (
	"fmt"
	"math"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// A disc on and off its axis, parallel to the surface: E = (pi L/2) (1 - (h^2+a^2-r^2)/sqrt((h^2+a^2+r^2)^2 - 4 r^2 a^2)).
// Source: Foote, Illumination from circular light sources, Sci. Pap. Bur. Stand. 12 (1916); on the axis pi L r^2/(r^2+h^2).
func TestDisc(t *testing.T) {
	r := 3.0
	l := must(t)(NewDisc("d", world, geom.Vec{Y: 2}, r, colour.Grey(2), false))
	for _, h := range []float64{1, 4, 40} {
		for _, a := range []float64{0, 2, 10} {
			ref := l.centre.Mad(h, world.N).Mad(a, world.S)
			q := h*h + a*a
			want := math.Pi * (1 - (q-r*r)/math.Sqrt((q+r*r)*(q+r*r)-4*r*r*a*a))
			near(t, fmt.Sprintf("h %g, a %g", h, a), estimate(l, ref, world.N.Neg(), 400)[2], want, 1e-3*want)
			if a == 0 {
				near(t, "solid angle on the axis, approximate", l.solidAngleDisc(ref)/(2*math.Pi*(1-h/math.Hypot(h, r))), 1, 0.01)
			}
			omega := 0.0 // the area sum of cos/d^2
			for i := range 200 {
				for j := range 200 {
					s, _ := l.Sample(ref, (float64(i)+0.5)/200, (float64(j)+0.5)/200)
					omega += 1 / s.Pdf / 40000
				}
			}
			near(t, "mean irradiance, approximate", l.Irradiance(ref)/(2*omega/4), 1, 0.1)
		}
	}
}
