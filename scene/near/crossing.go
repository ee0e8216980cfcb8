package near

import (
	"context"
	"sync"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// Crossing is a place where an edge of one mesh pierces a triangle of the other.
type Crossing struct {
	P    geom.Vec
	Tri  int // that is pierced
	Edge [2]uint32
}

// Crossings returns the places where edges of m pierce the tree's mesh, and how many edges were tried. An edge that only touches
// pierces nothing: its ends must lie on both sides, by more than eps of its own length.
func (t *Tree) Crossings(ctx context.Context, m *mesh.Mesh, workers int) (list []Crossing, edges int) {
	const run = 4096
	var mu sync.Mutex
	rim := rims(m)
	parts := make([][]Crossing, (len(m.Tri)+run-1)/run)
	parallel.Each(len(parts), workers, func(k int) {
		if ctx.Err() != nil {
			return
		}
		n := 0
		var some []Crossing
		for _, c := range m.Tri[k*run : min(len(m.Tri), (k+1)*run)] {
			for e := range 3 {
				a, b := c[e], c[(e+1)%3]
				// Each edge once: its other triangle has it the other way. Whether it has one is not asked: an edge of an open
				// rim that only runs against the order of its vertices is tried for its triangle's sake below.
				if a > b && !rim[edge{b, a}] {
					continue
				}
				n++
				some = t.along(some, m, a, b)
			}
		}
		parts[k] = some
		mu.Lock()
		edges += n
		mu.Unlock()
	})
	for _, p := range parts {
		list = append(list, p...)
	}
	return list, edges
}

// edge is a pair of vertices.
type edge struct{ a, b uint32 }

// rims returns the edges that only one triangle has, as that has them, lesser vertex first, where it runs against that order.
func rims(m *mesh.Mesh) map[edge]bool {
	forward := make(map[edge]bool)
	out := make(map[edge]bool)
	for _, c := range m.Tri {
		for e := range 3 {
			if a, b := c[e], c[(e+1)%3]; a < b {
				forward[edge{a, b}] = true
			}
		}
	}
	for _, c := range m.Tri {
		for e := range 3 {
			if a, b := c[e], c[(e+1)%3]; a > b && !forward[edge{b, a}] {
				out[edge{b, a}] = true
			}
		}
	}
	return out
}

// along adds where an edge pierces.
func (t *Tree) along(list []Crossing, m *mesh.Mesh, a, b uint32) []Crossing {
	const eps = 1e-9
	o := m.P[a]
	d := m.P[b].Sub(o)
	if d.Len2() == 0 {
		return list
	}
	t0 := eps
	for range 8 {
		h, ok := t.Ray(o, d, t0, 1-eps, -1)
		if !ok {
			break
		}
		list = append(list, Crossing{P: o.Mad(h.T, d), Tri: h.Tri, Edge: [2]uint32{a, b}})
		t0 = h.T * (1 + 1e-12)
	}
	return list
}
