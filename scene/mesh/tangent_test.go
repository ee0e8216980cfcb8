package mesh

import (
	"math"
	"testing"

	"catchlight/scene/geom"
)

// grid is a plane of n x n squares, x and y from 0 to 1, with uv = to(x, y) and normal +Z.
func grid(n int, to func(x, y float64) geom.UV) *Mesh {
	m := &Mesh{}
	for j := range n + 1 {
		for i := range n + 1 {
			x, y := float64(i)/float64(n), float64(j)/float64(n)
			m.P, m.N, m.UV = append(m.P, geom.Vec{X: x, Y: y}), append(m.N, geom.Vec{Z: 1}), append(m.UV, to(x, y))
			if i < n && j < n {
				a := uint32(j*(n+1) + i)
				m.Tri = append(m.Tri, [3]uint32{a, a + 1, a + uint32(n) + 2}, [3]uint32{a, a + uint32(n) + 2, a + uint32(n) + 1})
			}
		}
	}
	return m
}

// On a plane the tangent is the direction of u, for any affine map; up is the direction of -v, sheared maps included
// (up is square to the tangent by definition). Closed form.
func TestTangentsPlane(t *testing.T) {
	for _, c := range []struct {
		name string
		to   func(x, y float64) geom.UV
		t, b geom.Vec
	}{
		{"upright", func(x, y float64) geom.UV { return geom.UV{U: x, V: 1 - y} }, geom.Vec{X: 1}, geom.Vec{Y: 1}},
		{"quarter turn", func(x, y float64) geom.UV { return geom.UV{U: y, V: x} }, geom.Vec{Y: 1}, geom.Vec{X: -1}},
		{"mirrored", func(x, y float64) geom.UV { return geom.UV{U: 1 - x, V: 1 - y} }, geom.Vec{X: -1}, geom.Vec{Y: 1}},
		{"sheared", func(x, y float64) geom.UV { return geom.UV{U: x + y, V: 1 - y} }, geom.Vec{X: 1}, geom.Vec{Y: 1}},
	} {
		m := grid(3, c.to)
		f := MakeTangents(m)
		for i := range m.Tri {
			tu, tv := f.Decode(m, uint32(i), 0.3, 0.2, 1, 0, 0), f.Decode(m, uint32(i), 0.3, 0.2, 0, 1, 0)
			if tu.Sub(c.t).Len() > 1e-12 || tv.Sub(c.b).Len() > 1e-12 {
				t.Fatalf("%s: triangle %d: %v, %v", c.name, i, tu, tv)
			}
		}
		if len(f.T) != 16 {
			t.Errorf("%s: %d frames for 16 vertices", c.name, len(f.T))
		}
	}
}

// A map folded at x = 1/2 (u = |2 x - 1|): the frame turns over there and is not averaged across the fold, though both
// sides share the vertices on it.
func TestTangentsFold(t *testing.T) {
	m := grid(4, func(x, y float64) geom.UV { return geom.UV{U: math.Abs(2*x - 1), V: 1 - y} })
	f := MakeTangents(m)
	for i, tri := range m.Tri {
		side := 1.0
		if m.P[tri[0]].X+m.P[tri[1]].X+m.P[tri[2]].X < 1.5 {
			side = -1
		}
		for k := range 3 {
			id := f.Corner[i][k]
			if f.T[id].Sub(geom.Vec{X: side}).Len() > 1e-12 || float64(f.Sign[id]) != side {
				t.Fatalf("triangle %d: %v, sign %d, want the side %v", i, f.T[id], f.Sign[id], side)
			}
		}
	}
	if len(f.T) != 30 {
		t.Errorf("%d frames, want 25 and 5 more on the fold", len(f.T))
	}
}

// The weights are the corner's angles. Triangles of 90, 30 and 30 degrees about the origin with u = x and up = y + 0.3 |x|:
// by hand, u grows along (1, -0.3) in the first and along (1, 0.3) in the others, so the tangent is the unit vector of
// 90 (1, -0.3) + 60 (1, 0.3). Torn along the spokes, each keeps its own.
func TestTangentsAngleWeight(t *testing.T) {
	ends := []float64{0, 90, 120, 150}
	want := geom.Vec{X: 150, Y: -0.3 * 30}.Unit()
	for _, torn := range []bool{false, true} {
		m := &Mesh{}
		add := func(p geom.Vec, shift float64) uint32 {
			m.P, m.N = append(m.P, p), append(m.N, geom.Vec{Z: 1})
			m.UV = append(m.UV, geom.UV{U: p.X + shift, V: -p.Y - 0.3*math.Abs(p.X)})
			return uint32(len(m.P) - 1)
		}
		for i := range 3 {
			shift := 0.0
			if torn {
				shift = float64(i)
			}
			m.Tri = append(m.Tri, [3]uint32{add(geom.Vec{}, shift), add(dirAt(ends[i]), shift), add(dirAt(ends[i+1]), shift)})
		}
		f := MakeTangents(m)
		for i, c := range f.Corner {
			if torn {
				want = geom.Vec{X: 1, Y: []float64{-0.3, 0.3, 0.3}[i]}.Unit()
			}
			if d := f.T[c[0]].Sub(want).Len(); d > 1e-12 {
				t.Errorf("torn %v: triangle %d is off by %g", torn, i, d)
			}
		}
	}
}

func dirAt(deg float64) geom.Vec {
	sin, cos := math.Sincos(geom.Radians(deg))
	return geom.Vec{X: cos, Y: sin}
}

// On a sphere mapped by longitude and latitude the tangent points east and up points north: exactly, as the squares
// are symmetric about each meridian. Mirrored longitude points west. Poles and the seam are left out.
func TestTangentsSphere(t *testing.T) {
	for _, mirror := range []float64{1, -1} {
		m := grid(32, func(x, y float64) geom.UV { return geom.UV{U: mirror * x, V: 1 - y} })
		for v, p := range m.P {
			sl, cl := math.Sincos(2 * math.Pi * p.X)
			sb, cb := math.Sincos(math.Pi * (p.Y - 0.5))
			m.P[v] = geom.Vec{X: cb * sl, Y: sb, Z: cb * cl}
			m.N[v] = m.P[v]
		}
		f := MakeTangents(m)
		for i, tri := range m.Tri {
			for k, v := range tri {
				p := m.P[v]
				if math.Abs(p.Y) > 0.9 || m.UV[v].U == 0 || m.UV[v].U == mirror {
					continue
				}
				id := f.Corner[i][k]
				if d := f.T[id].Sub(geom.Vec{Y: 1}.Cross(p).Unit().Mul(mirror)).Len(); d > 1e-12 {
					t.Fatalf("mirror %v: off by %g at %v", mirror, d, p)
				}
				if up := p.Cross(f.T[id]).Mul(float64(f.Sign[id])); up.Y <= 0 {
					t.Fatalf("mirror %v: up is %v at %v", mirror, up, p)
				}
			}
		}
	}
}

// Degenerate parts: a triangle of two equal corners borrows its neighbour's frame, one without area in uv joins its
// neighbours', a mesh without any mapping has unit tangents square to the normals.
func TestTangentsDegenerate(t *testing.T) {
	m := grid(2, func(x, y float64) geom.UV { return geom.UV{U: x, V: 1 - y} })
	m.Tri = append(m.Tri, [3]uint32{0, 0, 1})
	f := MakeTangents(m)
	if last := f.Corner[len(m.Tri)-1]; f.T[last[0]] != (geom.Vec{X: 1}) || f.T[last[2]] != (geom.Vec{X: 1}) {
		t.Errorf("borrowed %v", last)
	}
	m = grid(2, func(x, y float64) geom.UV { return geom.UV{U: min(x, 0.5), V: 1 - y} }) // right half: a line in uv
	f = MakeTangents(m)
	for i, tri := range m.Tri {
		for k, v := range tri {
			if m.P[v].X == 0.5 && f.T[f.Corner[i][k]] != (geom.Vec{X: 1}) {
				t.Errorf("triangle %d at %v: %v", i, m.P[v], f.T[f.Corner[i][k]])
			}
		}
	}
	f = MakeTangents(grid(2, func(x, y float64) geom.UV { return geom.UV{} }))
	for _, d := range f.T {
		if math.Abs(d.Len()-1) > 1e-12 || d.Z != 0 {
			t.Errorf("without a mapping: %v", d)
		}
	}
}
