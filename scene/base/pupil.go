package base

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/layout"
	"catchlight/scene/mesh"
)

// Weight is that of the last morph target at which the pupil is that wide, mm: below 0 for one narrower than at rest.
func (s *Set) Weight(diameter float64) float64 {
	return (diameter - s.Pupils[0]) / (s.Pupils[2] - s.Pupils[0])
}

// Remap takes a map that was baked for the pupil at rest to that of the same iris, flat, with another one: for programs that move no
// vertices. Every place of the iris keeps its angle and its share of the way from margin to root, as tissue does (Pamplona et al., ACM
// TOG 28, 2009), and texels are filtered by how much that way is squeezed or drawn out, so that fibres stay fibres. What lies outside the
// limbus stays as it is. chart says where the built eye's maps have a place.
func (s *Set) Remap(m *layout.Source, diameter float64, chart func(p geom.Vec) geom.UV) *layout.Picture {
	w := s.Weight(diameter)
	from, to := &mesh.Mesh{}, &mesh.Mesh{}
	add := func(p, q geom.Vec, n geom.Vec) uint32 {
		from.P, from.N, from.UV = append(from.P, p), append(from.N, n), append(from.UV, chart(p))
		to.P, to.N, to.UV = append(to.P, q), append(to.N, n), append(to.UV, chart(q))
		return uint32(len(from.P) - 1)
	}
	moved := func(k uint32) geom.Vec { return geom.Lerp(s.Inner.P[k], s.Wide[k], w) }
	at := map[uint32]uint32{}
	vertex := func(k uint32) uint32 {
		i, ok := at[k]
		if !ok {
			i = add(s.Inner.P[k], moved(k), s.Inner.N[k])
			at[k] = i
		}
		return i
	}
	edge := s.Inner.Loops[0].Places
	end := 0.0 // of what moves, in the plane
	for _, q := range s.Inner.Quads {
		if q[0].P < edge[0] || s.Inner.P[q[2].P].Z < 0.3*s.Inner.P[edge[0]].Z {
			continue // what lies behind the pupil; the white
		}
		a, b, c, d := vertex(q[0].P), vertex(q[1].P), vertex(q[2].P), vertex(q[3].P)
		for _, t := range [][3]uint32{{a, b, c}, {a, c, d}} {
			from.Tri, to.Tri = append(from.Tri, t), append(to.Tri, t)
		}
		if s.Inner.P[q[2].P].Sub(moved(q[2].P)).Len() > 1e-9 {
			end = max(end, math.Hypot(to.UV[c].U-0.5, to.UV[c].V-0.5))
		}
	}
	// The pupil itself: a fan over its edge.
	var mid, now geom.Vec
	for _, k := range edge {
		mid, now = mid.Mad(1/float64(len(edge)), s.Inner.P[k]), now.Mad(1/float64(len(edge)), moved(k))
	}
	o := add(mid, now, geom.Vec{Z: 1})
	for j, k := range edge {
		t := [3]uint32{o, vertex(k), vertex(edge[(j+1)%len(edge)])}
		from.Tri, to.Tri = append(from.Tri, t), append(to.Tri, t)
	}
	was := m.First()
	out := (&layout.Carry{From: from, To: to}).Map(m, 0, was.W, was.H)
	for y := range was.H {
		for x := range was.W {
			if math.Hypot((float64(x)+0.5)/float64(was.W)-0.5, (float64(y)+0.5)/float64(was.H)-0.5) > end {
				i := (y*was.W + x) * was.C
				copy(out.Pix[i:i+was.C], was.Pix[i:i+was.C])
			}
		}
	}
	return out
}
