package pupil

import (
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// A well with a floor 1.7 mm below the iris is a pupil also where the look is so wide that a quarter of it is deeper; a bowl
// as deep as the well is none.
func TestShallowWell(t *testing.T) {
	for _, reach := range []float64{6, 7.5} {
		p := Find(cup(1.5, 1.5, 0.2, 0), geom.Vec{}, front, reach)
		require.True(t, p.Open, reach)
		require.InDelta(t, 1.5, p.Radius, 0.06)
		require.InDelta(t, 0.2, p.Offset[0], 0.03)
	}
	bowl := cup(0, 0, 9, 9)
	for i, p := range bowl.P {
		if r2 := p.X*p.X + p.Y*p.Y; r2 < 16 {
			bowl.P[i].Z = 9 - 1.7*(1-r2/16)
		}
	}
	require.False(t, Find(bowl, geom.Vec{}, front, 7.5).Open)
}
