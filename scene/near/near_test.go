package near

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// ball is a sphere about c with n meridians and n/2 rings.
func ball(c geom.Vec, r float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rings := n / 2
	for i := range rings + 1 {
		for j := range n {
			sin, cos := math.Sincos(math.Pi * float64(i) / float64(rings))
			s, k := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			m.P = append(m.P, c.Add(geom.Vec{X: r * sin * k, Y: r * sin * s, Z: r * cos}))
		}
	}
	at := func(i, j int) uint32 { return uint32(i*n + j%n) }
	for i := range rings {
		for j := range n {
			if i > 0 {
				m.Tri = append(m.Tri, [3]uint32{at(i, j), at(i+1, j), at(i, j+1)})
			}
			if i < rings-1 {
				m.Tri = append(m.Tri, [3]uint32{at(i, j+1), at(i+1, j), at(i+1, j+1)})
			}
		}
	}
	return m
}

// The tree's answers are those of asking every triangle.
func TestAgainstEveryTriangle(t *testing.T) {
	m := ball(geom.Vec{X: 1}, 3, 24)
	tree, err := New(m)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(1, 2))
	vec := func() geom.Vec { return geom.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()} }
	hits := 0
	for range 300 {
		p, d := vec().Mul(3), vec()
		want := math.Inf(1)
		first := math.Inf(1)
		for _, c := range m.Tri {
			q, _, _ := closest(p, m.P[c[0]], m.P[c[1]], m.P[c[2]])
			want = min(want, p.Sub(q).Len())
			if h, ok := pierce(p, d, m.P[c[0]], m.P[c[1]], m.P[c[2]]); ok && h.T > 0 {
				first = min(first, h.T)
			}
		}
		got, ok := tree.Nearest(p, 100)
		require.True(t, ok)
		require.InDelta(t, want, math.Abs(got.D), 1e-12)
		require.Equal(t, p.Sub(geom.Vec{X: 1}).Len() < 2.9, got.D < 0 && p.Sub(geom.Vec{X: 1}).Len() < 2.9, "the side")
		h, ok := tree.Ray(p, d, 0, math.Inf(1), -1)
		require.Equal(t, !math.IsInf(first, 0), ok)
		if ok {
			hits++
			require.InDelta(t, first, h.T, 1e-12)
		}
		_, ok = tree.Nearest(p, want*0.999)
		require.False(t, ok)
	}
	require.Greater(t, hits, 60)
}

// Beside edges and corners of a cube, where the nearest point belongs to several triangles, the side is right.
func TestSideBesideEdges(t *testing.T) {
	m := ball(geom.Vec{}, 1, 4) // an octahedron
	tree, err := New(m)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(3, 4))
	for _, at := range []geom.Vec{{X: 1}, {Y: 1}, {Z: 1}, {X: 0.5, Y: 0.5}, {Y: 0.5, Z: 0.5}, {X: 0.5, Z: -0.5}} {
		for range 200 {
			p := at.Add(geom.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(0.1))
			in := math.Abs(p.X)+math.Abs(p.Y)+math.Abs(p.Z) < 1
			got, _ := tree.Nearest(p, 1)
			require.Equal(t, in, got.D < 0, "%v", p)
		}
	}
}

// Two balls that pass through each other: the edges that pierce are those found by trying every edge on every triangle. A ball
// within another pierces nothing.
func TestCrossings(t *testing.T) {
	a, b := ball(geom.Vec{}, 3, 20), ball(geom.Vec{X: 1.3, Y: 0.2, Z: 0.1}, 2.4, 17)
	tree, err := New(b)
	require.NoError(t, err)
	list, edges := tree.Crossings(context.Background(), a, 2)
	want := map[[2]uint32]int{}
	for _, c := range a.Tri {
		for e := range 3 {
			p, q := min(c[e], c[(e+1)%3]), max(c[e], c[(e+1)%3])
			if _, ok := want[[2]uint32{p, q}]; ok {
				continue
			}
			want[[2]uint32{p, q}] = 0
			for _, f := range b.Tri {
				if h, ok := pierce(a.P[p], a.P[q].Sub(a.P[p]), b.P[f[0]], b.P[f[1]], b.P[f[2]]); ok && h.T > 0 && h.T < 1 {
					want[[2]uint32{p, q}]++
				}
			}
		}
	}
	require.Equal(t, len(want), edges)
	got := map[[2]uint32]int{}
	for _, c := range list {
		got[c.Edge]++
	}
	require.NotEmpty(t, got)
	for e, n := range want {
		require.Equal(t, n, got[e])
	}
	small, err := New(ball(geom.Vec{}, 1, 16))
	require.NoError(t, err)
	list, _ = small.Crossings(context.Background(), a, 2)
	require.Empty(t, list)
	// An open cap, whose rim has one triangle an edge, loses none of its edges.
	half := &mesh.Mesh{P: a.P, Tri: a.Tri[:len(a.Tri)/2]}
	all := map[[2]uint32]bool{}
	for _, c := range half.Tri {
		for e := range 3 {
			all[[2]uint32{min(c[e], c[(e+1)%3]), max(c[e], c[(e+1)%3])}] = true
		}
	}
	_, edges = tree.Crossings(context.Background(), half, 1)
	require.Equal(t, len(all), edges)
}

func TestNoTree(t *testing.T) {
	_, err := New(&mesh.Mesh{})
	require.ErrorContains(t, err, "no triangles")
	_, err = New(&mesh.Mesh{P: []geom.Vec{{}, {X: math.NaN()}, {Y: 1}}, Tri: [][3]uint32{{0, 1, 2}}})
	require.ErrorContains(t, err, "vertex 1")
	_, err = New(&mesh.Mesh{P: []geom.Vec{{}}, Tri: [][3]uint32{{0, 0, 9}}})
	require.ErrorContains(t, err, "corner 9 of 1")
}
