package mesh

import (
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// Two tetrahedra of different size in one mesh, the small one first: two islands, the large one first, each with its
// own volume (edge a: a^3/6 for a right-angled corner).
func TestIslands(t *testing.T) {
	m := &Mesh{}
	add := func(o geom.Vec, s float64) {
		b := uint32(len(m.P))
		m.P = append(m.P, o, o.Add(geom.Vec{X: s}), o.Add(geom.Vec{Y: s}), o.Add(geom.Vec{Z: s}))
		m.Tri = append(m.Tri, [3]uint32{b, b + 2, b + 1}, [3]uint32{b, b + 1, b + 3}, [3]uint32{b, b + 3, b + 2}, [3]uint32{b + 1, b + 2, b + 3})
	}
	add(geom.Vec{X: 5}, 1)
	add(geom.Vec{}, 2)
	got := Islands(m, 0)
	require.Len(t, got, 2)
	require.InDelta(t, 8.0/6, got[0].Volume(), 1e-12)
	require.InDelta(t, 1.0/6, got[1].Volume(), 1e-12)
	require.Len(t, got[1].P, 4)
	// Joined by a shared corner they are one.
	add(geom.Vec{X: 2}, 2.5)
	add(geom.Vec{X: 2}, -3.5)
	require.Len(t, Islands(m, 0), 2)
}
