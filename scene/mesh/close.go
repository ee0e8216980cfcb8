package mesh

import (
	"fmt"

	"catchlight/scene/geom"
)

// maxHoles is how many holes Close shuts; a mesh with more is no shell with openings but a torn one.
const maxHoles = 64

// Close returns m with a cap over each hole: a fan about the middle of the hole's rim, marked as Backing; holes says
// how many. Normals are kept on the tissue, so that rims stay smooth; the rim has vertices of its own on the cap. The
// error says why a mesh can't be closed: edges of more than two triangles or of clashing winding, rims that cross
// themselves, too many holes.
func Close(m *Mesh) (out *Mesh, holes int, err error) {
	open, odd := Closed(m)
	if odd > 0 {
		return nil, 0, fmt.Errorf("%d edges do not join two triangles of one winding", odd)
	}
	if open == 0 {
		return m, 0, nil
	}
	tri, at, _ := topology(m)
	tri = sound(tri)
	id, n := edgesOf(tri)
	sides := make([]int32, n)
	for _, t := range id {
		for _, e := range t {
			sides[e]++
		}
	}
	run := make(map[edge]bool, open) // open edges: whether the triangle runs from the smaller to the larger number
	for i, t := range tri {
		for k := range 3 {
			if sides[id[i][k]] == 1 {
				run[edgeOf(t[k], t[(k+1)%3])] = t[k] < t[(k+1)%3]
			}
		}
	}
	// The cap runs along each open edge the other way.
	next := make(map[uint32]uint32, len(run))
	start := uint32(0)
	for e, up := range run {
		from, to := e[1], e[0]
		if !up {
			from, to = e[0], e[1]
		}
		if _, twice := next[from]; twice {
			return nil, 0, fmt.Errorf("the rims of its holes touch each other at (%.4g, %.4g, %.4g)", at[from].X, at[from].Y, at[from].Z)
		}
		next[from] = to
	}
	out = &Mesh{P: append([]geom.Vec(nil), m.P...), N: append([]geom.Vec(nil), m.N...), UV: append([]geom.UV(nil), m.UV...),
		Tri: append([][3]uint32(nil), m.Tri...), Part: make([]Part, len(m.Tri), len(m.Tri)+len(run))}
	copy(out.Part, m.Part)
	for len(next) > 0 {
		if holes++; holes > maxHoles {
			return nil, 0, fmt.Errorf("it has more than %d holes", maxHoles)
		}
		for ; ; start++ { // the lowest number first, so that the result does not depend on the order of a map
			if _, ok := next[start]; ok {
				break
			}
		}
		var rim []uint32
		for v := start; ; {
			rim = append(rim, v)
			w, ok := next[v]
			if !ok {
				return nil, 0, fmt.Errorf("the rim of a hole does not close at (%.4g, %.4g, %.4g)", at[v].X, at[v].Y, at[v].Z)
			}
			delete(next, v)
			if v = w; v == start {
				break
			}
		}
		out.fan(rim, at)
	}
	return out, holes, nil
}

// fan lays a cap over a rim, about its middle; at is where the rim's numbers are.
func (m *Mesh) fan(rim []uint32, at []geom.Vec) {
	add := func(p, n geom.Vec) uint32 {
		m.P = append(m.P, p)
		if m.N != nil {
			m.N = append(m.N, n)
		}
		if m.UV != nil {
			m.UV = append(m.UV, geom.UV{})
		}
		return uint32(len(m.P) - 1)
	}
	var middle, normal geom.Vec
	for i, v := range rim {
		a, b := at[v], at[rim[(i+1)%len(rim)]]
		middle = middle.Mad(1/float64(len(rim)), a)
		normal = normal.Add(a.Sub(at[rim[0]]).Cross(b.Sub(at[rim[0]])))
	}
	if normal.Len2() > 0 {
		normal = normal.Unit()
	} else {
		normal = geom.Vec{Z: 1}
	}
	hub := add(middle, normal)
	first := hub + 1
	for _, v := range rim {
		add(at[v], normal)
	}
	for i := range rim {
		m.Tri = append(m.Tri, [3]uint32{first + uint32(i), first + uint32((i+1)%len(rim)), hub})
		m.Part = append(m.Part, Backing)
	}
}
