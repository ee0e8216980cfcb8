package frozen

import (
	"math"
	"testing"

	"catchlight/scene/geom"

	"github.com/stretchr/testify/require"
)

// Rays start off a surface by more than single precision can tell, as hits have that, and by no more than a few times that: a
// gap of tears or a contact shadow is much wider. A float32 has 24 bits: steps of at most 2^-23 of its value (IEEE 754).
func TestRaysStartCloseToTheSurface(t *testing.T) {
	const radius = 12.0
	a := geom.Identity()
	s := &Scene{Objects: []Object{{Shape: Sphere, ToWorld: a, ToLocal: a, Scale: 1, Size: geom.Vec{X: radius}, Eye: -1}}}
	for _, d := range []geom.Vec{{Z: 1}, geom.Vec{X: 1, Y: 1, Z: 1}.Unit(), geom.Vec{X: -0.3, Y: 0.8, Z: 0.1}.Unit()} {
		sf := s.Surface(geom.Ray{O: d.Mul(100), D: d.Neg()}, &Hit{T: 100 - radius})
		for _, way := range []geom.Vec{d, d.Neg()} {
			off := sf.Leave(way).Sub(sf.P)
			step := sf.P.MaxAbs() * math.Exp2(-23)
			require.Positive(t, off.Dot(way))
			require.Greater(t, off.Len(), 2*step)
			require.Less(t, off.Len(), 100*step)
		}
	}
}
