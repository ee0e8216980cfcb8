package frozen

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/accel"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Below the faces of a box the depth is half of the box's size that way (closed form); above a black backing it is infinite,
// and a triangle without area has none.
func TestDepthOfBox(t *testing.T) {
	size := geom.Vec{X: 2, Y: 3, Z: 5}
	m := &mesh.Mesh{}
	var want []float64
	for axis := range 3 {
		for _, side := range []float64{-1, 1} {
			at := func(u, v float64) geom.Vec {
				c := [3]float64{}
				c[axis], c[(axis+1)%3], c[(axis+2)%3] = side*size.At(axis)/2, u*size.At((axis+1)%3)/2, side*v*size.At((axis+2)%3)/2
				return geom.Vec{X: c[0] + 40, Y: c[1], Z: c[2]}
			}
			n := uint32(len(m.P))
			m.P = append(m.P, at(-1, -1), at(1, -1), at(1, 1), at(-1, 1))
			m.Tri = append(m.Tri, [3]uint32{n, n + 1, n + 2}, [3]uint32{n, n + 2, n + 3})
			want = append(want, size.At(axis)/2, size.At(axis)/2)
		}
	}
	m.Tri = append(m.Tri, [3]uint32{0, 0, 1})
	bvh, err := accel.Build(m.P, m.Tri, accel.Options{})
	require.NoError(t, err)
	d := NewDepth(m, bvh, 2)
	for i, w := range want {
		require.InDelta(t, w, float64(d[i]), 1e-4, "triangle %d", i)
	}
	require.True(t, math.IsInf(float64(d[len(want)]), 1))
	m.Part = make([]mesh.Part, len(m.Tri))
	m.Part[0], m.Part[1] = mesh.Backing, mesh.Backing
	d = NewDepth(m, bvh, 2)
	require.True(t, math.IsInf(float64(d[2]), 1) && math.IsInf(float64(d[3]), 1), "opposite the backing")
	require.InDelta(t, want[4], float64(d[4]), 1e-4)
	require.Equal(t, 3*float64(d[4]), (&Object{Depth: d, Scale: 3}).Thickness(4))
}
