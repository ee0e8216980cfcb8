package measure

import (
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Coordinates is what a shell's texture coordinates are like, by area.
type Coordinates struct {
	None     bool    // there are none
	Empty    float64 // share of the area that has no area in the picture
	Mirrored float64 // share of the rest that shows the picture as in a mirror, seen from outside
	Stretch  float64 // median of the longer over the shorter scale of a square picture
	Lost     int     // coordinates that are no numbers
}

// Texture looks at the texture coordinates of the triangles that keep takes (all for nil), with v down: seen from
// outside, a picture that is not mirrored has u to the right of v turned up. The scales are the singular values of the
// map from picture to surface. Source: Sander, Snyder, Gortler and Hoppe, SIGGRAPH 2001, 409.
func Texture(m *mesh.Mesh, keep func(middle, normal geom.Vec) bool) Coordinates {
	if m.UV == nil {
		return Coordinates{None: true}
	}
	var c Coordinates
	for _, q := range m.UV {
		if math.IsNaN(q.U+q.V) || math.IsInf(q.U+q.V, 0) {
			c.Lost++
		}
	}
	type part struct{ stretch, a float64 }
	var list []part
	all, sound, empty, mirrored := 0.0, 0.0, 0.0, 0.0
	for _, t := range m.Tri {
		p, q, r := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		n := q.Sub(p).Cross(r.Sub(p))
		l := n.Len()
		if !(l > 0) || keep != nil && !keep(p.Add(q).Add(r).Mul(1.0/3), n.Mul(1/l)) {
			continue
		}
		all += l
		u1, v1 := m.UV[t[1]].U-m.UV[t[0]].U, m.UV[t[1]].V-m.UV[t[0]].V
		u2, v2 := m.UV[t[2]].U-m.UV[t[0]].U, m.UV[t[2]].V-m.UV[t[0]].V
		det := u1*v2 - u2*v1
		if !(math.Abs(det) > 1e-12*(u1*u1+v1*v1+u2*u2+v2*v2)) || math.IsInf(det, 0) {
			empty += l
			continue
		}
		sound += l
		if det > 0 {
			mirrored += l
		}
		pu := q.Sub(p).Mul(v2/det).Mad(-v1/det, r.Sub(p))
		pv := r.Sub(p).Mul(u1/det).Mad(-u2/det, q.Sub(p))
		E, F, G := pu.Dot(pu), pu.Dot(pv), pv.Dot(pv)
		d := math.Sqrt((E-G)*(E-G) + 4*F*F)
		list = append(list, part{math.Sqrt((E + G + d) / max(1e-300, E+G-d)), l})
	}
	if all > 0 {
		c.Empty = empty / all
	}
	if sound > 0 {
		c.Mirrored = mirrored / sound
		slices.SortFunc(list, func(a, b part) int {
			if a.stretch < b.stretch {
				return -1
			}
			return 1
		})
		sum := 0.0
		for _, q := range list {
			if sum += q.a; sum >= sound/2 {
				c.Stretch = q.stretch
				break
			}
		}
	}
	return c
}
