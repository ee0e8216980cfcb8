package mesh

import (
	"cmp"
	"slices"
)

// Islands returns the connected parts of m, the largest box first; triangles are joined where they share a position
// (within eps mm; 0: exactly). Each keeps its own vertices only. A mesh of one part is returned itself. Triangles that lie in one place
// are no part of their own: they go with the part of the most triangles.
func Islands(m *Mesh, eps float64) []*Mesh {
	place, at := places(m.P, eps)
	up := make([]int32, len(at)) // union of places
	for i := range up {
		up[i] = int32(i)
	}
	find := func(i int32) int32 {
		for up[i] != i {
			up[i] = up[up[i]]
			i = up[i]
		}
		return i
	}
	for _, t := range m.Tri {
		a := find(int32(place[t[0]]))
		for _, v := range t[1:] {
			if b := find(int32(place[v])); b != a {
				up[b] = a
			}
		}
	}
	of := map[int32]int{}
	var tris [][]int
	for i, t := range m.Tri {
		r := find(int32(place[t[0]]))
		k, ok := of[r]
		if !ok {
			k = len(tris)
			of[r] = k
			tris = append(tris, nil)
		}
		tris[k] = append(tris[k], i)
	}
	tris = joinPoints(m, place, tris)
	if len(tris) <= 1 {
		return []*Mesh{m}
	}
	out := make([]*Mesh, len(tris))
	to := make([]uint32, len(m.P))
	for k, list := range tris {
		q := &Mesh{Tri: make([][3]uint32, len(list))}
		// An island owns its vertices, so one table serves all: 0 is not met yet.
		for j, i := range list {
			for c, v := range m.Tri[i] {
				if to[v] == 0 {
					q.P = append(q.P, m.P[v])
					if m.N != nil {
						q.N = append(q.N, m.N[v])
					}
					if m.UV != nil {
						q.UV = append(q.UV, m.UV[v])
					}
					to[v] = uint32(len(q.P))
				}
				q.Tri[j][c] = to[v] - 1
			}
			if m.Part != nil {
				q.Part = append(q.Part, m.Part[i])
			}
		}
		out[k] = q
	}
	slices.SortStableFunc(out, func(a, b *Mesh) int {
		return cmp.Compare(b.Bounds().Size().Len2(), a.Bounds().Size().Len2())
	})
	return out
}

// Touching reports for each vertex whether a triangle of that part has a corner in its place.
func Touching(m *Mesh, part Part) []bool {
	place, at := places(m.P, 0)
	met := make([]bool, len(at))
	for i, t := range m.Tri {
		if m.Part[i] == part {
			met[place[t[0]]], met[place[t[1]]], met[place[t[2]]] = true, true, true
		}
	}
	out := make([]bool, len(m.P))
	for v, q := range place {
		out[v] = met[q]
	}
	return out
}

// joinPoints adds lists of triangles that each lie in one place to the longest list.
func joinPoints(m *Mesh, place []uint32, tris [][]int) [][]int {
	point := func(list []int) bool {
		for _, i := range list {
			if t := m.Tri[i]; place[t[0]] != place[t[1]] || place[t[1]] != place[t[2]] {
				return false
			}
		}
		return true
	}
	if len(tris) < 2 {
		return tris
	}
	longest := 0
	for k := range tris {
		if len(tris[k]) > len(tris[longest]) {
			longest = k
		}
	}
	out := tris[:0:0]
	var points []int
	at := 0
	for k, list := range tris {
		if k != longest && point(list) {
			points = append(points, list...)
			continue
		}
		if k == longest {
			at = len(out)
		}
		out = append(out, list)
	}
	out[at] = append(slices.Clip(out[at]), points...)
	return out
}
