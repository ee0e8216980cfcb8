package geom

import (
	"math"
	"testing"
)

// A mirror ray about the shading normal clears the surface by what it is to clear it by, and a normal that does so already is
// the one that was given.
func TestShadingNormal(t *testing.T) {
	ng := Vec{Z: 1}
	for i := range 40 {
		for k := range 40 {
			a, b := (float64(i)-19.5)/20*1.5, (float64(k)-19.5)/20*1.2
			wo, ns := Vec{X: math.Sin(a), Z: math.Cos(a)}, Vec{X: math.Sin(b), Y: 0.1, Z: math.Cos(b)}.Unit()
			n := ShadingNormal(wo, ng, ns, 0)
			least := min(0.01, 0.9*wo.Z)
			if r := Reflect(wo, ns); wo.Dot(ns) > 0 && r.Z >= least {
				if n != ns {
					t.Errorf("%v, %v: the normal moved to %v", wo, ns, n)
				}
				continue
			}
			// The lifted ray is brought to unit length: it stands at least half of that over the surface.
			if r := Reflect(wo, n); r.Z < least/2 || math.Abs(n.Len()-1) > 1e-12 {
				t.Errorf("%v, %v: the mirror ray about %v stands at %v", wo, ns, n, r.Z)
			}
		}
	}
}
