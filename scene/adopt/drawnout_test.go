package adopt

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// A globe drawn out along its axis has two ends that stand out of its sphere: the front is the one with the cornea, and the
// shells are measured about it as they are on a round globe. The truth is that of the scaling, which is ours.
func TestDrawnOutGlobe(t *testing.T) {
	names, err := LoadNames("")
	require.NoError(t, err)
	for _, wide := range []float64{0.93, 0.92} {
		for _, tilt := range []float64{0, 30} {
			t.Run(fmt.Sprintf("%g wide, turned by %g", wide, tilt), func(t *testing.T) {
				in, err := Read(licensed, "", "", names)
				require.NoError(t, err)
				turn := geom.RotateY(geom.Radians(tilt))
				for _, p := range in.Parts {
					move(p.Mesh, geom.Affine{M: [3]geom.Vec{{X: wide}, {Y: wide}, {Z: 1}}}.Then(turn))
				}
				got, err := Propose(in)
				require.NoError(t, err)
				require.Equal(t, Sure, got.grades()["axis"], listed(got))
				require.Less(t, between(turn.Vector(geom.Vec{Z: 1}), got.Globe.Axis), 1.5, listed(got))
				require.InDelta(t, 24, got.Globe.Length, 0.1, listed(got))
				require.InDelta(t, 0.97*wide, got.Eye.Hole.Radius*got.Scale, 0.05, listed(got))
			})
		}
	}
}
