package mesh

import (
	"math"

	"catchlight/scene/geom"
)

// sound drops triangles with two corners in one place.
func sound(tri [][3]uint32) [][3]uint32 {
	out := make([][3]uint32, 0, len(tri))
	for _, t := range tri {
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			out = append(out, t)
		}
	}
	return out
}

// FacetError returns how far in mm the facets of m lie from the smooth surface that they stand for, at their worst: a
// chord c whose neighbours turn by an angle t lies c tan(t/4)/2 beneath its arc. The chord is the mean height of the
// two triangles over their edge. Edges that turn by more than crease (rad) are meant to be sharp and do not count.
//
// Source: the sagitta of a circular arc.
func FacetError(m *Mesh, crease float64) float64 {
	tri, at, _ := topology(m)
	tri = sound(tri)
	type side struct {
		n      geom.Vec
		height float64
	}
	id, count := edgesOf(tri)
	first := make([]side, count) // of a height above 0
	worst := 0.0
	for i, t := range tri {
		a, b, c := at[t[0]], at[t[1]], at[t[2]]
		n := b.Sub(a).Cross(c.Sub(a))
		l := n.Len()
		if !(l > 0) {
			continue
		}
		for k := range 3 {
			s := side{n.Mul(1 / l), l / at[t[k]].Sub(at[t[(k+1)%3]]).Len()}
			o := first[id[i][k]]
			if o.height == 0 {
				first[id[i][k]] = s
				continue
			}
			if turn := angle(o.n, s.n); turn < crease {
				worst = max(worst, (o.height+s.height)/2*math.Tan(turn/4)/2)
			}
		}
	}
	return worst
}

// LevelsFor returns how many levels of subdivision bring FacetError to at most want mm (each level quarters it), no
// more than most, and none that would give over limit triangles.
func LevelsFor(m *Mesh, crease, want float64, most, limit int) (levels int, err0 float64) {
	err0 = FacetError(m, crease)
	n := len(m.Tri)
	for e := err0; e > want && levels < most && 4*n <= limit; e /= 4 {
		levels++
		n *= 4
	}
	return levels, err0
}
