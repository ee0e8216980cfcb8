package mesh

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/scene/geom"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

// icosahedron returns the solid on the unit sphere, outward winding.
func icosahedron() *Mesh {
	f := (1 + math.Sqrt(5)) / 2
	m := &Mesh{Tri: [][3]uint32{
		{0, 11, 5}, {0, 5, 1}, {0, 1, 7}, {0, 7, 10}, {0, 10, 11}, {1, 5, 9}, {5, 11, 4}, {11, 10, 2}, {10, 7, 6}, {7, 1, 8},
		{3, 9, 4}, {3, 4, 2}, {3, 2, 6}, {3, 6, 8}, {3, 8, 9}, {4, 9, 5}, {2, 4, 11}, {6, 2, 10}, {8, 6, 7}, {9, 8, 1}}}
	for _, p := range []geom.Vec{{X: -1, Y: f}, {X: 1, Y: f}, {X: -1, Y: -f}, {X: 1, Y: -f}, {Y: -1, Z: f}, {Y: 1, Z: f},
		{Y: -1, Z: -f}, {Y: 1, Z: -f}, {X: f, Z: -1}, {X: f, Z: 1}, {X: -f, Z: -1}, {X: -f, Z: 1}} {
		m.P = append(m.P, p.Unit())
	}
	return m
}

// icosphere is a subdivided icosahedron with its vertices on the unit sphere.
func icosphere(levels int) *Mesh {
	m, err := Subdivide(icosahedron(), levels)
	if err != nil {
		panic(err)
	}
	for i, p := range m.P {
		m.P[i] = p.Unit()
	}
	return m
}

// globe returns a sphere of radius 1 over a grid of longitude and latitude, as exporters make it: a seam where the
// texture closes, and one vertex a triangle at the poles.
func globe(nu, nv int) *Mesh {
	m := &Mesh{}
	for j := 0; j <= nv; j++ {
		for i := 0; i <= nu; i++ {
			u, v := float64(i)/float64(nu), float64(j)/float64(nv)
			st, ct := math.Sincos(math.Pi * v)
			sp, cp := math.Sincos(2 * math.Pi * float64(i%nu) / float64(nu))
			if j == 0 || j == nv {
				st = 0
			}
			m.P = append(m.P, geom.Vec{X: st * cp, Y: ct, Z: -st * sp})
			m.UV = append(m.UV, geom.UV{U: u, V: v})
		}
	}
	at := func(i, j int) uint32 { return uint32(j*(nu+1) + i) }
	for j := range nv {
		for i := range nu {
			if j > 0 {
				m.Tri = append(m.Tri, [3]uint32{at(i, j), at(i, j+1), at(i+1, j)})
			}
			if j < nv-1 {
				m.Tri = append(m.Tri, [3]uint32{at(i+1, j), at(i, j+1), at(i+1, j+1)})
			}
		}
	}
	return m
}

// soup gives every triangle corners of its own, moved by up to jitter.
func soup(m *Mesh, jitter float64) *Mesh {
	r := rand.New(rand.NewPCG(1, 9))
	out := &Mesh{}
	for i, t := range m.Tri {
		for _, v := range t {
			d := geom.Vec{X: r.Float64() - 0.5, Y: r.Float64() - 0.5, Z: r.Float64() - 0.5}
			out.P = append(out.P, m.P[v].Mad(jitter, d))
			if m.UV != nil {
				out.UV = append(out.UV, m.UV[v])
			}
		}
		out.Tri = append(out.Tri, [3]uint32{uint32(3 * i), uint32(3*i + 1), uint32(3*i + 2)})
	}
	return out
}

// Euler: a closed surface of sphere topology has V - E + F = 2, so 12 corners come back of the 60 of a soup.
func TestWeld(t *testing.T) {
	for _, jitter := range []float64{0, 1e-4} {
		s := soup(icosahedron(), jitter)
		if open, bad := Closed(s); jitter > 0 && open != 60 {
			t.Errorf("a soup with jitter has %d open edges, %d others; want 60", open, bad)
		}
		w := Weld(s, 2*jitter)
		if len(w.P) != 12 || len(w.Tri) != 20 {
			t.Errorf("jitter %g: %d vertices, %d triangles, want 12 and 20", jitter, len(w.P), len(w.Tri))
		}
		if open, bad := Closed(w); open != 0 || bad != 0 {
			t.Errorf("jitter %g: %d open edges, %d others after welding", jitter, open, bad)
		}
	}
	// Seams of texture coordinates stay, closed by position.
	g := globe(16, 8)
	w := Weld(soup(g, 1e-6), 1e-5)
	if want := 17*7 + 16 + 16; len(w.P) != want {
		t.Errorf("globe: %d vertices, want %d", len(w.P), want)
	}
	if open, bad := Closed(w); open != 0 || bad != 0 {
		t.Errorf("globe: %d open edges, %d others", open, bad)
	}
	// Negative zero is zero, unused vertices go, normals are averaged.
	x := Weld(&Mesh{P: []geom.Vec{{X: 9}, {}, {X: 1}, {Y: 1}, {X: math.Copysign(0, -1)}, {Y: 1}, {X: -1}},
		N:   []geom.Vec{{Z: 1}, {Z: 1}, {Z: 1}, {X: 1}, {Z: 1}, {Y: 1}, {Z: 1}},
		Tri: [][3]uint32{{1, 2, 3}, {4, 5, 6}}, Part: []Part{Tissue, Backing}}, 0)
	if len(x.P) != 4 || len(x.Part) != 2 || x.Part[1] != Backing {
		t.Errorf("got %d vertices and parts %v", len(x.P), x.Part)
	}
	near(t, "mean normal", x.N[2].X, math.Sqrt(0.5), 1e-15)
	near(t, "mean normal", x.N[2].Y, math.Sqrt(0.5), 1e-15)
}

func TestClosed(t *testing.T) {
	cut := icosahedron()
	cut.Tri = cut.Tri[1:]
	turned := icosahedron()
	turned.Tri[0][0], turned.Tri[0][1] = turned.Tri[0][1], turned.Tri[0][0]
	fin := icosahedron()
	fin.P = append(fin.P, geom.Vec{Y: 5})
	fin.Tri = append(fin.Tri, [3]uint32{0, 11, 12})
	flat := icosahedron()
	flat.Tri = append(flat.Tri, [3]uint32{0, 0, 11})
	for _, c := range []struct {
		name      string
		m         *Mesh
		open, bad int
	}{
		{"whole", icosahedron(), 0, 0}, {"a triangle missing", cut, 3, 0}, {"a triangle turned", turned, 0, 3},
		{"a fin", fin, 2, 1}, {"a collapsed triangle", flat, 0, 0}, {"empty", &Mesh{}, 0, 0}, {"globe with seam", globe(12, 6), 0, 0},
	} {
		if open, bad := Closed(c.m); open != c.open || bad != c.bad {
			t.Errorf("%s: got %d, %d, want %d, %d", c.name, open, bad, c.open, c.bad)
		}
	}
}

// Volume of the icosahedron with circumradius 1: edge 1/sin(2 pi/5), volume 5 (3 + sqrt 5)/12 edge^3 (Euclid XIII).
func TestVolume(t *testing.T) {
	a := 1 / math.Sin(2*math.Pi/5)
	want := 5 * (3 + math.Sqrt(5)) / 12 * a * a * a
	m := icosahedron()
	near(t, "volume", m.Volume(), want, 1e-14)
	for i := range m.P {
		m.P[i] = m.P[i].Add(geom.Vec{X: 1e4, Y: -3e3})
	}
	near(t, "volume far from the origin", m.Volume(), want, 1e-9)
	for i, tr := range m.Tri {
		m.Tri[i] = [3]uint32{tr[1], tr[0], tr[2]}
	}
	near(t, "inside out", m.Volume(), -want, 1e-9)
	near(t, "empty", (&Mesh{}).Volume(), 0, 0)
}

// The corner of a cube: (1, 1, 1)/sqrt 3 however its faces are cut into triangles (with equal weights the diagonals would
// pull it aside). On a sphere normals are radial, on an even net and on one whose vertices lie anywhere on it:
// closed form. Weights by angle left 0.17 degrees on the net and over one on the uneven one.
func TestNormals(t *testing.T) {
	cube := &Mesh{}
	for i := range 8 {
		cube.P = append(cube.P, geom.Vec{X: float64(i & 1), Y: float64(i >> 1 & 1), Z: float64(i >> 2)})
	}
	for _, q := range [][4]uint32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		cube.Tri = append(cube.Tri, [3]uint32{q[0], q[1], q[2]}, [3]uint32{q[0], q[2], q[3]})
	}
	if open, bad := Closed(cube); open != 0 || bad != 0 || cube.Volume() != 1 {
		t.Fatalf("the test's cube is wrong: %d, %d, %v", open, bad, cube.Volume())
	}
	Normals(cube)
	for i, n := range cube.N {
		want := cube.P[i].Sub(geom.Vec{X: 0.5, Y: 0.5, Z: 0.5}).Unit()
		near(t, "corner of a cube", n.Sub(want).Len(), 0, 1e-14)
	}
	even, uneven := globe(32, 24), icosphere(3)
	r := rand.New(rand.NewPCG(2, 6))
	for i, p := range uneven.P {
		uneven.P[i] = p.Mad(0.05, geom.Vec{X: r.Float64() - 0.5, Y: r.Float64() - 0.5, Z: r.Float64() - 0.5}).Unit()
	}
	for name, g := range map[string]*Mesh{"even": even, "uneven": uneven} {
		for _, size := range []float64{1, 1e-6, 1e7} {
			q := &Mesh{P: make([]geom.Vec, len(g.P)), Tri: g.Tri}
			for i, p := range g.P {
				q.P[i] = p.Mul(size)
			}
			Normals(q)
			worst := 0.0
			for i, n := range q.N {
				worst = max(worst, geom.Degrees(angle(n, g.P[i])))
			}
			t.Logf("%s sphere of radius %g: %.2g degrees off at most", name, size, worst)
			near(t, name+" sphere, degrees", worst, 0, 1e-6)
		}
	}
	Normals(even)
	near(t, "seam", even.N[3*33].Sub(even.N[3*33+32]).Len(), 0, 0)
	// A sliver in single precision, one whose edges are as short as its rounding, turns no normal by much.
	crowd := icosphere(3)
	for i := range crowd.P {
		crowd.P[i] = crowd.P[i].Mul(12)
	}
	p := crowd.P[crowd.Tri[0][0]]
	n := uint32(len(crowd.P))
	crowd.P = append(crowd.P, p.Add(geom.Vec{X: 1e-6}), p.Add(geom.Vec{Y: 2e-6, Z: 1e-6}))
	crowd.Tri = append(crowd.Tri, [3]uint32{crowd.Tri[0][0], n, n + 1})
	Normals(crowd)
	near(t, "beside a sliver, degrees", geom.Degrees(angle(crowd.N[crowd.Tri[0][0]], p)), 0, 2)
	// A vertex whose triangles face both ways takes one of them; one without area takes +Z.
	odd := &Mesh{P: []geom.Vec{{}, {X: 1}, {Y: 1}, {X: 7}}, Tri: [][3]uint32{{0, 1, 2}, {1, 0, 2}, {3, 3, 3}}}
	Normals(odd)
	near(t, "two-faced", math.Abs(odd.N[0].Z), 1, 0)
	near(t, "no area", odd.N[3].Z, 1, 0)
}
