package mesh

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
)

// MaxTriangles is the most that Subdivide makes.
const MaxTriangles = 1 << 24

// Subdivide splits each triangle in four, levels times (0 or more), and smooths the positions by the rules of Loop;
// vertices of exactly equal position count as one, so texture seams do not tear (Weld first where they are only
// close). Open edges follow the boundary rules, edges of more than two triangles are treated as open.
//
// Texture coordinates are smoothed by the same rules on their own connectivity inside a chart, so that they follow the
// surface. On the border of a chart they are interpolated linearly, so that what was painted to match on both sides of
// a seam still does. Normals are new; Part is inherited. Triangles with two corners in one place are left out. The error reports more than MaxTriangles.
//
// Source: Loop, Smooth Subdivision Surfaces Based on Triangles, MSc thesis, University of Utah, 1987; boundary rules
// of Hoppe et al., Piecewise Smooth Surface Reconstruction, SIGGRAPH 1994; texture coordinates as in DeRose, Kass and
// Truong, Subdivision Surfaces in Character Animation, SIGGRAPH 1998.
func Subdivide(m *Mesh, levels int) (*Mesh, error) {
	if n := float64(len(m.Tri)) * math.Pow(4, float64(levels)); levels < 0 || n > MaxTriangles {
		return nil, fmt.Errorf("%d levels of subdivision of %d triangles: levels must be 0 or more and give at most %d triangles", levels, len(m.Tri), MaxTriangles)
	}
	place, at := places(m.P, 0)
	var uv []geom.UV
	var placeOf []uint32 // of each wedge
	var tri, wedges [][3]uint32
	var part []Part
	seen := newTable[wedge](len(m.P))
	for i, t := range m.Tri {
		p := [3]uint32{place[t[0]], place[t[1]], place[t[2]]}
		if p[0] == p[1] || p[1] == p[2] || p[2] == p[0] {
			continue
		}
		var w [3]uint32
		for k, v := range t {
			q := wedge{place: place[v]}
			if m.UV != nil {
				q.uv = m.UV[v]
			}
			id := seen.number(q, hashWedge(q))
			if int(id) == len(uv) {
				uv, placeOf = append(uv, q.uv), append(placeOf, q.place)
			}
			w[k] = id
		}
		tri, wedges = append(tri, p), append(wedges, w)
		if m.Part != nil {
			part = append(part, m.Part[i])
		}
	}
	for range levels {
		p := refine(tri, len(at))
		w := refine(wedges, len(uv))
		// The same corner of the same triangle is the same point in both.
		next := make([]uint32, w.count)
		for i := range p.tri {
			for k := range 3 {
				next[w.tri[i][k]] = p.tri[i][k]
			}
		}
		at, uv = apply(p, at, mixVec, true), apply(w, uv, mixUV, false)
		tri, wedges, placeOf = p.tri, w.tri, next
		if part != nil {
			old := part
			part = make([]Part, 4*len(old))
			for i := range part {
				part[i] = old[i/4]
			}
		}
	}
	out := &Mesh{P: make([]geom.Vec, len(uv)), Tri: wedges, Part: part}
	for i, q := range placeOf {
		out.P[i] = at[q]
	}
	if m.UV != nil {
		out.UV = uv
	}
	Normals(out)
	return out, nil
}

// refinement is one level of subdivision of a triangle list: the new triangles, four for each old one, and what is
// needed to place the new vertices. Old vertices keep their numbers; edge e gets the number old + e.
type refinement struct {
	tri        [][3]uint32
	old, count int
	edges      []edgeInfo
	corner     []cornerInfo
}

type edgeInfo struct {
	a, b, c, d uint32 // ends, and the corners opposite on both sides
	sides      int    // triangles at the edge
}

// cornerInfo counts the edges at an old vertex.
type cornerInfo struct {
	edges, border int
}

func refine(tri [][3]uint32, old int) *refinement {
	r := &refinement{old: old, corner: make([]cornerInfo, old), tri: make([][3]uint32, 0, 4*len(tri))}
	mid, count := edgesOf(tri)
	r.edges = make([]edgeInfo, count)
	for i, t := range tri {
		for k := range 3 {
			a, b, c := t[k], t[(k+1)%3], t[(k+2)%3]
			e := &r.edges[mid[i][k]]
			if e.sides == 0 {
				*e = edgeInfo{a: a, b: b, c: c, sides: 1}
			} else {
				e.d = c
				e.sides++
			}
			mid[i][k] += uint32(old)
		}
	}
	for i, t := range tri {
		m := mid[i]
		r.tri = append(r.tri, [3]uint32{t[0], m[0], m[2]}, [3]uint32{m[0], t[1], m[1]}, [3]uint32{m[2], m[1], t[2]}, m)
	}
	for _, e := range r.edges {
		for _, v := range [2]uint32{e.a, e.b} {
			r.corner[v].edges++
			if e.sides != 2 {
				r.corner[v].border++
			}
		}
	}
	r.count = old + len(r.edges)
	return r
}

// apply places the vertices of the next level. mix returns a + s b. round says whether border vertices are smoothed
// along the border or keep their place.
func apply[T any](r *refinement, v []T, mix func(a T, s float64, b T) T, round bool) []T {
	var zero T
	out := make([]T, r.count)
	ring := make([]T, r.old) // sum over the neighbours, for a border vertex over the two along the border
	for i, e := range r.edges {
		inside := e.sides == 2
		for _, run := range [2][2]uint32{{e.a, e.b}, {e.b, e.a}} {
			if border := r.corner[run[0]].border; inside && border == 0 || !inside && border == 2 {
				ring[run[0]] = mix(ring[run[0]], 1, v[run[1]])
			}
		}
		if inside {
			out[r.old+i] = mix(mix(mix(mix(zero, 3./8, v[e.a]), 3./8, v[e.b]), 1./8, v[e.c]), 1./8, v[e.d])
		} else {
			out[r.old+i] = mix(mix(zero, 1./2, v[e.a]), 1./2, v[e.b])
		}
	}
	for i, c := range r.corner {
		switch {
		case c.edges > 0 && c.border == 0:
			n := float64(c.edges)
			b := loopWeight(n)
			out[i] = mix(mix(zero, 1-n*b, v[i]), b, ring[i])
		case c.border == 2 && round:
			out[i] = mix(mix(zero, 3./4, v[i]), 1./8, ring[i])
		default: // a corner where borders meet, a border that stays, or unused
			out[i] = v[i]
		}
	}
	return out
}

// loopWeight returns the weight of each of n neighbours of an inner vertex. Source: Loop 1987.
func loopWeight(n float64) float64 {
	a := 3./8 + math.Cos(2*math.Pi/n)/4
	return (5./8 - a*a) / n
}

func mixVec(a geom.Vec, s float64, b geom.Vec) geom.Vec { return a.Mad(s, b) }
func mixUV(a geom.UV, s float64, b geom.UV) geom.UV     { return geom.UV{U: a.U + s*b.U, V: a.V + s*b.V} }
