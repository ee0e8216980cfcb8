package pupil

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

var front = geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}

// cup is a flat iris over a deep cup whose mouth is an ellipse of half axes a and b about (dx, dy).
func cup(a, b, dx, dy float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	const n = 400
	for j := range n + 1 {
		for i := range n + 1 {
			x, y := 16*float64(i)/n-8, 16*float64(j)/n-8
			z := 9.0
			if e := (x-dx)*(x-dx)/(a*a) + (y-dy)*(y-dy)/(b*b); e < 1 {
				z = 7.3
			}
			m.P = append(m.P, geom.Vec{X: x, Y: y, Z: z})
			m.UV = append(m.UV, geom.UV{U: x, V: y})
			if i > 0 && j > 0 {
				k := uint32(j*(n+1) + i)
				m.Tri = append(m.Tri, [3]uint32{k - n - 2, k - n - 1, k}, [3]uint32{k - n - 2, k, k - 1})
			}
		}
	}
	return m
}

var shapes = []struct{ a, b, dx, dy float64 }{{1, 1, 0, 0}, {0.5, 2, 0.1, 0}, {2.5, 0.8, 0.2, -0.1}}

// A slit and a bar are told apart, with their size and place: area and second moments of an ellipse.
func TestFind(t *testing.T) {
	for _, q := range shapes {
		p := Find(cup(q.a, q.b, q.dx, q.dy), geom.Vec{}, front, 5.5)
		name := fmt.Sprint(q)
		require.True(t, p.Open, name)
		require.InDelta(t, math.Sqrt(q.a*q.b), p.Radius, 0.06, name)
		require.InDelta(t, q.dx, p.Offset[0], 0.03, name)
		require.InDelta(t, q.dy, p.Offset[1], 0.03, name)
		require.InEpsilon(t, max(q.a, q.b)/min(q.a, q.b), p.Long, 0.1, name)
		if q.a != q.b {
			require.Equal(t, q.b > q.a, p.Upright, name)
		}
		require.InEpsilon(t, q.a, p.At(0), 0.12, name)
		require.InEpsilon(t, q.b, p.At(math.Pi/2), 0.12, name)
	}
	// A pupil as wide as three quarters of the iris, and one that does not reach the axis.
	wide := Find(cup(4.2, 4.2, 0, 0), geom.Vec{}, front, 5.5)
	require.True(t, wide.Open)
	require.InDelta(t, 4.2, wide.Radius, 0.06)
	aside := Find(cup(0.8, 0.8, 1.4, 0.3), geom.Vec{}, front, 5.5)
	require.True(t, aside.Open)
	require.InDelta(t, 0.8, aside.Radius, 0.06)
	require.InDelta(t, 1.4, aside.Offset[0], 0.03)
	closed := Find(cup(0, 0, 9, 9), geom.Vec{}, front, 5.5)
	require.False(t, closed.Open)
}

// Warped to other sizes the pupil has the size asked for and its shape; the root and what lies beyond or far behind stays
// where it was, texture coordinates ride on their vertices, and no triangle is turned over.
func TestWarp(t *testing.T) {
	for _, q := range shapes {
		for _, want := range []float64{0.8, 2.4, 4.4} {
			name := fmt.Sprint(q, want)
			m := cup(q.a, q.b, q.dx, q.dy)
			before := append([]geom.Vec(nil), m.P...)
			p := Find(m, geom.Vec{}, front, 5.5)
			require.NoError(t, p.Warp(m, want, 5.5), name)
			r := Find(m, geom.Vec{}, front, 5.5)
			require.InEpsilon(t, want/2, r.Radius, 0.06, name)
			if want > 1 {
				require.InEpsilon(t, p.Long, r.Long, 0.15, name)
			}
			for i, v := range m.P {
				require.Equal(t, geom.UV{U: before[i].X, V: before[i].Y}, m.UV[i])
				if math.Hypot(before[i].X, before[i].Y) > 5.5 {
					require.Equal(t, before[i], v, name)
				}
			}
			for _, tri := range m.Tri {
				a, b, c := m.P[tri[0]], m.P[tri[1]], m.P[tri[2]]
				require.Greater(t, (b.X-a.X)*(c.Y-a.Y)-(b.Y-a.Y)*(c.X-a.X), 0.0, name)
			}
		}
	}
	m := cup(1, 1, 0, 0)
	p := Find(m, geom.Vec{}, front, 5.5)
	require.ErrorContains(t, p.Warp(m, 10.9, 5.5), "at most")
	none := Pupil{}
	require.ErrorContains(t, none.Warp(m, 3, 5.5), "no hole")
}

// Unwarp is the way back of Warp in the iris plane, for wider and narrower pupils of any shape.
func TestUnwarpIsTheWayBack(t *testing.T) {
	for _, c := range shapes {
		m := cup(c.a, c.b, c.dx, c.dy)
		q := Find(m, geom.Vec{}, front, 5.5)
		was := slices.Clone(m.P)
		for _, wide := range []float64{1.6 * q.Radius, min(2.6*q.Radius, q.Widest(5))} {
			copy(m.P, was)
			require.NoError(t, q.Warp(m, wide, 5))
			back := q.Unwarp(wide, 5)
			for i := 0; i < len(was); i += 7 {
				if was[i].Z < 8 { // deep in the cup the shift is less
					continue
				}
				x, y := back(m.P[i].X, m.P[i].Y)
				require.InDelta(t, was[i].X, x, 2e-5)
				require.InDelta(t, was[i].Y, y, 2e-5)
			}
		}
	}
}
