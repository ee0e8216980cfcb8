package measure

import (
	"fmt"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Point is a vertex: each place of a mesh once.
type Point struct {
	P, N geom.Vec // place and unit normal, outward
	A    float64  // area about it
}

// most is how many vertices are looked at, evenly picked.
const most = 100_000

// Points returns the vertices of a mesh that have area about them, each place once, with normals from the triangles'
// corners by weights that are exact on spheres however they are cut. It reports vertices that are no numbers.
//
// Source of the weights: Max, Weights for Computing Vertex Normals from Facet Normals, JGT 4(2), 1999.
func Points(m *mesh.Mesh) ([]Point, error) {
	lost, first := 0, 0
	for i, p := range m.P {
		if !p.Finite() {
			if lost == 0 {
				first = i
			}
			lost++
		}
	}
	if lost > 0 {
		return nil, fmt.Errorf("%d of %d vertices are no numbers, the first is vertex %d", lost, len(m.P), first)
	}
	at := make(map[geom.Vec]int, len(m.P))
	var out []Point
	for _, t := range m.Tri {
		a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		n := b.Sub(a).Cross(c.Sub(a)) // twice the area
		for j, k := range t {
			p := m.P[k].Add(geom.Vec{}) // -0 becomes 0
			l := m.P[t[(j+1)%3]].Sub(p).Len2() * m.P[t[(j+2)%3]].Sub(p).Len2()
			i, ok := at[p]
			if !ok {
				i = len(out)
				at[p] = i
				out = append(out, Point{P: p})
			}
			out[i].A += n.Len() / 6
			if l > 0 {
				out[i].N = out[i].N.Mad(1/l, n)
			}
		}
	}
	keep := out[:0]
	for _, q := range out {
		if l := q.N.Len(); q.A > 0 && l > 0 {
			q.N = q.N.Mul(1 / l)
			keep = append(keep, q)
		}
	}
	if len(keep) == 0 {
		return nil, fmt.Errorf("every triangle has no area: the mesh is scaled to nothing, or is a line or a point")
	}
	if step := (len(keep) + most - 1) / most; step > 1 {
		few := keep[:0]
		for i := 0; i < len(keep); i += step {
			few = append(few, keep[i])
		}
		keep = few
	}
	return keep, nil
}
