package mesh

import (
	"maps"
	"math"
	"testing"

	"catchlight/scene/geom"
)

// A regular tetrahedron about the origin: Loop's weight for three neighbours is 3/16, so a corner v goes to
// (1 - 9/16) v - 3/16 v = v/4, and the middle of a, b to 3/8 (a + b) - 1/8 (a + b) = (a + b)/4 (by hand; the other two
// corners add up to -(a + b)).
func TestLoopTetrahedron(t *testing.T) {
	p := []geom.Vec{{X: 1, Y: 1, Z: 1}, {X: 1, Y: -1, Z: -1}, {X: -1, Y: 1, Z: -1}, {X: -1, Y: -1, Z: 1}}
	m := &Mesh{P: p, Tri: [][3]uint32{{0, 1, 2}, {0, 3, 1}, {0, 2, 3}, {1, 3, 2}}, Part: []Part{Tissue, Backing, Tissue, Backing}}
	if m.Volume() <= 0 {
		t.Fatal("the test's tetrahedron is inside out")
	}
	near(t, "weight of 3", loopWeight(3), 3./16, 1e-16)
	near(t, "weight of 6", loopWeight(6), 1./16, 1e-16)
	s, err := Subdivide(m, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.P) != 10 || len(s.Tri) != 16 || len(s.Part) != 16 || s.Part[3] != Tissue || s.Part[4] != Backing {
		t.Fatalf("%d vertices, %d triangles, parts %v", len(s.P), len(s.Tri), s.Part)
	}
	corners, middles := 0, 0
	for _, q := range s.P {
		for i, a := range p {
			if q.Sub(a.Mul(0.25)).Len() < 1e-15 {
				corners++
			}
			for _, b := range p[:i] {
				if q.Sub(a.Add(b).Mul(0.25)).Len() < 1e-15 {
					middles++
				}
			}
		}
	}
	if corners != 4 || middles != 6 {
		t.Errorf("%d corners and %d middles are where they should be, want 4 and 6", corners, middles)
	}
}

// A vertex with n neighbours tends to (1 - n g) v + g sum of neighbours, g = 1/(n + 3/(8 b)), b Loop's weight (Loop
// 1987, limit positions). Valences 5 (icosahedron), 3 and 32 (a pole of a globe).
func TestLoopLimit(t *testing.T) {
	for _, c := range []struct {
		name string
		m    *Mesh
		v    uint32
	}{{"icosahedron", icosahedron(), 0}, {"pole of 32", globe(32, 4), 0}, {"pole of 3", globe(3, 4), 0}} {
		ring := map[geom.Vec]bool{}
		for _, tr := range c.m.Tri {
			for k, v := range tr {
				if c.m.P[v] == c.m.P[c.v] {
					ring[c.m.P[tr[(k+1)%3]]], ring[c.m.P[tr[(k+2)%3]]] = true, true
				}
			}
		}
		n := float64(len(ring))
		g := 1 / (n + 3/(8*loopWeight(n)))
		want := c.m.P[c.v].Mul(1 - n*g)
		for q := range ring {
			want = want.Mad(g, q)
		}
		levels := 6
		if len(c.m.Tri) > 100 {
			levels = 5
		}
		s, err := Subdivide(c.m, levels)
		if err != nil {
			t.Fatal(err)
		}
		// The vertex keeps its corner of its triangle; the first triangle's first child keeps corner 0.
		best := math.Inf(1)
		for _, q := range s.P {
			best = min(best, q.Sub(want).Len())
		}
		// The slowest error falls by (3/8 + 1/4)^2 = 0.39 a level at most.
		near(t, c.name, best, 0, 0.2*math.Pow(0.391, float64(levels)))
		if open, bad := Closed(s); open != 0 || bad != 0 {
			t.Errorf("%s: %d open edges, %d others", c.name, open, bad)
		}
	}
}

// A flat patch stays flat and its border becomes the uniform cubic B-spline of its border vertices: a vertex between
// a and b goes to (a + 6 v + b)/8. Ends of a border that meet others keep their place.
func TestLoopBorder(t *testing.T) {
	m := &Mesh{}
	for j := range 4 {
		for i := range 4 {
			m.P = append(m.P, geom.Vec{X: float64(i * i), Y: float64(j), Z: 7})
			m.UV = append(m.UV, geom.UV{U: float64(i * i), V: float64(j)})
		}
	}
	for j := range uint32(3) {
		for i := range uint32(3) {
			a := j*4 + i
			m.Tri = append(m.Tri, [3]uint32{a, a + 1, a + 5}, [3]uint32{a, a + 5, a + 4})
		}
	}
	s, err := Subdivide(m, 1)
	if err != nil {
		t.Fatal(err)
	}
	found, border, inside := false, false, 0
	for i, p := range s.P {
		near(t, "flat", p.Z, 7, 1e-12)
		if p.X > 2 && p.X < 4 && p.Y > 1 && p.Y < 2 { // the inner vertices next to no border
			near(t, "texture coordinates inside", math.Hypot(s.UV[i].U-p.X, s.UV[i].V-p.Y), 0, 1e-12)
			inside++
		}
		border = border || s.UV[i] == (geom.UV{U: 1}) && p.Sub(geom.Vec{X: 10. / 8, Z: 7}).Len() < 1e-12
		found = found || p.Sub(geom.Vec{X: (0 + 6*1 + 4) / 8., Z: 7}).Len() < 1e-12
	}
	if !found {
		t.Error("the border vertex at 1 between 0 and 4 does not go to 10/8")
	}
	if !border || inside == 0 {
		t.Errorf("texture coordinates: linear on the border %v, %d vertices inside", border, inside)
	}
	if open, bad := Closed(s); open != 24 || bad != 0 {
		t.Errorf("%d open edges, %d others, want 24 and 0", open, bad)
	}
}

// A texture seam does not show in the shape: with and without texture coordinates positions are the same, the surface
// stays closed, and both sides of the seam keep u = 0 and u = 1.
func TestSubdivideAcrossSeam(t *testing.T) {
	g := globe(12, 6)
	bare := &Mesh{P: g.P, Tri: g.Tri}
	a, err := Subdivide(g, 2)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Subdivide(bare, 2)
	if err != nil {
		t.Fatal(err)
	}
	if b.UV != nil || len(a.UV) != len(a.P) || len(a.N) != len(a.P) {
		t.Fatalf("%d texture coordinates and %d normals for %d vertices", len(a.UV), len(a.N), len(a.P))
	}
	for i := range a.Tri {
		for k := range 3 {
			near(t, "position", a.P[a.Tri[i][k]].Sub(b.P[b.Tri[i][k]]).Len(), 0, 1e-12)
		}
	}
	if open, bad := Closed(a); open != 0 || bad != 0 {
		t.Errorf("%d open edges, %d others", open, bad)
	}
	// Each place on the seam, from the first ring to the last, has u = 0 on one side and u = 1 on the other.
	left, right := map[geom.Vec]float64{}, map[geom.Vec]float64{}
	for i, p := range a.P {
		if v := a.UV[i].V; v > 1./6-1e-9 && v < 5./6+1e-9 {
			switch a.UV[i].U {
			case 0:
				left[p] = v
			case 1:
				right[p] = v
			}
		}
	}
	if !maps.Equal(left, right) || len(left) != 17 {
		t.Errorf("%d places with u = 0 and %d with u = 1, want the same 17", len(left), len(right))
	}
	// Smooth and of the right size: the limit of this coarse globe is within a few per cent of a sphere.
	for _, p := range a.P {
		if r := p.Len(); r < 0.85 || r > 1 {
			t.Errorf("radius %v", r)
		}
	}
}

func TestSubdivideEdges(t *testing.T) {
	for _, levels := range []int{-1, 12} {
		if _, err := Subdivide(icosahedron(), levels); err == nil {
			t.Errorf("%d levels are accepted", levels)
		}
	}
	s, err := Subdivide(icosahedron(), 0)
	if err != nil || len(s.P) != 12 || len(s.N) != 12 {
		t.Errorf("no levels: %v, %d vertices", err, len(s.P))
	}
	flat := icosahedron()
	flat.Tri = append(flat.Tri, [3]uint32{0, 0, 11})
	if s, err = Subdivide(flat, 1); err != nil || len(s.Tri) != 80 {
		t.Errorf("a collapsed triangle: %v, %d triangles, want 80", err, len(s.Tri))
	}
	fin := icosahedron()
	fin.P = append(fin.P, geom.Vec{Y: 5})
	fin.Tri = append(fin.Tri, [3]uint32{0, 11, 12})
	if s, err = Subdivide(fin, 2); err != nil || len(s.Tri) != 21*16 {
		t.Errorf("a fin: %v, %d triangles", err, len(s.Tri))
	}
	for _, p := range s.P {
		if !p.Finite() {
			t.Error("a fin gives positions that are not finite")
		}
	}
	if s, err = Subdivide(&Mesh{}, 3); err != nil || len(s.Tri) != 0 {
		t.Errorf("empty: %v", err)
	}
}
