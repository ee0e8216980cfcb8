package mesh

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"catchlight/scene/geom"
)

// Places against the plain way: each vertex looks at all places found before it. Points lie in clumps about the width of
// the reach, on lattices whose spacing is the reach itself, and far from the origin.
func TestPlacesAgainstAllPairs(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	for _, eps := range []float64{0, 1e-3, 0.5} {
		var p []geom.Vec
		for range 400 {
			c := geom.Vec{X: 10 * r.NormFloat64(), Y: 10 * r.NormFloat64(), Z: 1e4}
			for range 1 + r.IntN(4) {
				p = append(p, c.Mad(2*eps, geom.Vec{X: r.Float64() - 0.5, Y: r.Float64() - 0.5, Z: r.Float64() - 0.5}))
			}
			p = append(p, geom.Vec{X: eps * float64(r.IntN(9)-4), Y: eps * float64(r.IntN(3)-1), Z: math.Copysign(0, r.Float64()-0.5)})
		}
		place, at := places(p, eps)
		var want []geom.Vec
		for v, x := range p {
			id := slices.IndexFunc(want, func(q geom.Vec) bool { return q.Sub(x).Len2() <= eps*eps })
			if id < 0 {
				id = len(want)
				want = append(want, x)
			}
			if int(place[v]) != id {
				t.Fatalf("reach %g: vertex %d is in place %d, want %d", eps, v, place[v], id)
			}
		}
		if len(at) != len(want) {
			t.Errorf("reach %g: %d places, want %d", eps, len(at), len(want))
		}
	}
	// NaN is not itself.
	nan := geom.Vec{X: math.NaN()}
	if place, at := places([]geom.Vec{nan, {}, nan, {}}, 0); len(at) != 3 || place[1] != place[3] || place[0] == place[2] {
		t.Errorf("NaN: %v", place)
	}
}

// Edges against a map of them, in the order in which they come: a triangle soup with edges of many triangles, collapsed
// ones, and a hub of 3000.
func TestEdgesAgainstMap(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	var tri [][3]uint32
	for range 4000 {
		tri = append(tri, [3]uint32{uint32(r.IntN(300)), uint32(r.IntN(300)), uint32(r.IntN(300))})
	}
	for i := range uint32(3000) {
		tri = append(tri, [3]uint32{40, 1000 + i, 1000 + (i+1)%3000})
	}
	id, count := edgesOf(tri)
	want := map[edge]uint32{}
	for i, c := range tri {
		for k := range 3 {
			e := edgeOf(c[k], c[(k+1)%3])
			if _, ok := want[e]; !ok {
				want[e] = uint32(len(want))
			}
			if id[i][k] != want[e] {
				t.Fatalf("triangle %d, side %d: edge %d, want %d", i, k, id[i][k], want[e])
			}
		}
	}
	if count != len(want) {
		t.Errorf("%d edges, want %d", count, len(want))
	}
	if id, count := edgesOf(nil); len(id) != 0 || count != 0 {
		t.Error("no triangles have edges")
	}
}

// A fan of 200,000 triangles about one place, each with texture coordinates of its own there: lists searched from end to end
// would take minutes.
func TestHubOfManyTriangles(t *testing.T) {
	const n = 200000
	m := &Mesh{}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		m.P = append(m.P, geom.Vec{Z: 1}, geom.Vec{X: c, Y: s})
		m.UV = append(m.UV, geom.UV{U: float64(i) / n}, geom.UV{U: float64(i) / n, V: 1})
		m.Tri = append(m.Tri, [3]uint32{uint32(2 * i), uint32(2*i + 1), uint32((2*i + 3) % (2 * n))})
	}
	m = Weld(m, 1e-9)
	if open, odd := Closed(m); open != n || odd != 0 {
		t.Errorf("%d open edges, %d odd", open, odd)
	}
	Normals(m)
	if f := MakeTangents(m); len(f.T) == 0 {
		t.Error("no frames")
	}
}
