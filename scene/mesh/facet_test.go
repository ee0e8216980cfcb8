package mesh

import (
	"math"
	"testing"

	"catchlight/scene/geom"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tube is an open prism of n sides about z: radius r, height h, wound outward.
func tube(n int, r, h float64) *Mesh {
	m := &Mesh{}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		m.P = append(m.P, geom.Vec{X: r * c, Y: r * s}, geom.Vec{X: r * c, Y: r * s, Z: h})
		a, b := uint32(2*i), uint32(2*((i+1)%n))
		m.Tri = append(m.Tri, [3]uint32{a, b, b + 1}, [3]uint32{a, b + 1, a + 1})
	}
	Normals(m)
	return m
}

// The facets of a prism lie r (1 - cos(pi/n)) beneath the circle, which is the sagitta of its chord; sharp edges do not
// count, and each level quarters what is left.
func TestFacetError(t *testing.T) {
	for _, n := range []int{8, 16, 64} {
		want := 12 * (1 - math.Cos(math.Pi/float64(n)))
		assert.InEpsilon(t, want, FacetError(tube(n, 12, 3), math.Pi/3), 1e-9)
	}
	assert.Zero(t, FacetError(tube(4, 12, 3), math.Pi/3), "a square's corners are sharp")
	m := tube(16, 12, 3) // 0.2306 mm: 0.0577 after one level, 0.0144 after two
	for want, levels := range map[float64]int{0.3: 0, 0.06: 1, 0.02: 2} {
		got, _ := LevelsFor(m, math.Pi/3, want, 4, 1<<20)
		assert.Equal(t, levels, got)
	}
	got, _ := LevelsFor(m, math.Pi/3, 1e-6, 4, 1<<20)
	assert.Equal(t, 4, got)
	got, _ = LevelsFor(m, math.Pi/3, 1e-6, 4, 200)
	assert.Equal(t, 1, got)
}

// A tube with both ends shut encloses n/2 r^2 sin(2 pi/n) h; its caps absorb, its wall stays what it was.
func TestClose(t *testing.T) {
	m := tube(16, 2, 3)
	out, holes, err := Close(m)
	require.NoError(t, err)
	assert.Equal(t, 2, holes)
	open, odd := Closed(out)
	assert.Zero(t, open+odd)
	assert.InDelta(t, 8*4*math.Sin(math.Pi/8)*3, out.Volume(), 1e-12)
	for i, q := range out.Part {
		assert.Equal(t, i >= len(m.Tri), q == Backing)
	}
	assert.Equal(t, m.N, out.N[:len(m.N)])
	same, holes, err := Close(out)
	require.NoError(t, err)
	assert.Zero(t, holes)
	assert.Same(t, out, same)
	torn := tube(16, 2, 3)
	torn.Tri[5][1], torn.Tri[5][2] = torn.Tri[5][2], torn.Tri[5][1]
	_, _, err = Close(torn)
	assert.ErrorContains(t, err, "do not join two triangles of one winding")
}

// Copies of a vertex that differ in their texture coordinates move together, by the mean: no seam opens.
func TestDisplaceKeepsSeams(t *testing.T) {
	m := tube(16, 2, 3)
	m.P = append(m.P, m.P[0], m.P[1]) // the seam
	m.N = append(m.N, m.N[0], m.N[1])
	last := len(m.Tri) - 2
	m.Tri[last] = [3]uint32{30, 32, 33}
	m.Tri[last+1] = [3]uint32{30, 33, 31}
	Displace(m, func(i int) float64 { return 0.1 * float64(i%2+1) * float64(i/32+1) })
	assert.Equal(t, m.P[0], m.P[32])
	assert.Equal(t, m.P[1], m.P[33])
	assert.InDelta(t, 2.15, math.Hypot(m.P[0].X, m.P[0].Y), 1e-9, "the mean of 0.1 and 0.2")
	assert.InDelta(t, 2.2, math.Hypot(m.P[3].X, m.P[3].Y), 1e-9)
}
