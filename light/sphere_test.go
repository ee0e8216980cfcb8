package light

import (
	"fmt"
	"math"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// A ball of radiance L above the horizon gives pi L (r/d)^2 cos (any text on radiative transfer); inside, pi L.
func TestSphere(t *testing.T) {
	c := geom.Vec{X: 7, Y: -4, Z: 10}
	l := must(t)(NewSphere("s", c, 2, colour.Grey(3)))
	for _, k := range []float64{1.05, 2, 30, 1e6} {
		ref := c.Mad(-2*k, geom.Vec{X: 0.6, Z: 0.8})
		n := geom.Vec{X: 0.6, Z: 0.8}
		near(t, fmt.Sprintf("%g radii", k), estimate(l, ref, n, 200)[0]/(3*math.Pi/(k*k)), 1, 2e-4)
		if k >= 2 {
			n = geom.Vec{X: 0.6, Y: 0.6, Z: 0.8}.Unit() // still above the horizon
			cos := n.Dot(c.Sub(ref).Unit())
			near(t, fmt.Sprintf("%g radii, tilted", k), estimate(l, ref, n, 200)[0]/(3*math.Pi*cos/(k*k)), 1, 2e-4)
		}
		omega := 2 * math.Pi * (1 - math.Sqrt(1-1/(k*k)))
		if k < 1e4 { // the plain form has no digits left beyond
			near(t, "solid angle", l.solidAngleSphere(ref), omega, 1e-10)
		}
		near(t, "far", l.solidAngleSphere(c.Mad(2e8, n))/(math.Pi*1e-16), 1, 1e-9)
	}
	for _, off := range []float64{0, 0.5, 0.999} {
		ref := c.Mad(2*off, geom.Vec{Y: 1})
		near(t, "inside", estimate(l, ref, geom.Vec{X: 1}, 300)[0]/(3*math.Pi), 1, 1e-3)
		near(t, "inside, mean", l.Irradiance(ref), 3*math.Pi, 1e-9)
	}
	// Both crossings of a ray, and rays that miss.
	h, p, n, ok := l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: 1}, 0, 100)
	near(t, "near crossing", h, 3, 1e-12)
	if !ok || p.Sub(c.Sub(geom.Vec{X: 2})).Len() > 1e-12 || n.Sub(geom.Vec{X: -1}).Len() > 1e-12 {
		t.Errorf("near crossing %v %v", p, n)
	}
	h, _, n, ok = l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: 1}, 3.5, 100)
	near(t, "far crossing", h, 7, 1e-12)
	if !ok || n.Sub(geom.Vec{X: -1}).Len() > 1e-12 {
		t.Errorf("far crossing seen from inside: normal %v", n)
	}
	near(t, "area density on the far side", l.PdfAreaAt(c.Sub(geom.Vec{X: 5}), c.Add(geom.Vec{X: 2})), 0, 0)
	if _, _, _, ok := l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: -1}, 0, 100); ok {
		t.Error("hit behind the ray")
	}
	if _, _, _, ok := l.Intersect(c.Sub(geom.Vec{X: 5, Y: 2.0001}), geom.Vec{X: 1}, 0, 100); ok {
		t.Error("hit beside the ball")
	}
	if _, _, _, ok := l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: 1}, 0, 2.9); ok {
		t.Error("hit beyond tmax")
	}
}
