package lids

import (
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// lake makes the surface of the water in the inner corner: one sheet over fold, caruncle and floor up to the rims, which goes under the
// globe's surface beside the fold, and under the strip of tears where the rims lie on the globe.
func (s *socket) lake(k *hollow) *mesh.Mesh {
	n := len(k.water)
	pts := make([]geom.Vec, n)
	keep := make([]bool, n)
	for i := range pts {
		x, y := k.at(i)
		proud := k.water[i] - k.globe[i]
		z := k.water[i] + filmThick - 0.09*(1-smoothstep5(0, 0.04, proud)) - 0.4*(1-smoothstep5(k.tip.X-hollowOut+0.3, k.tip.X-hollowOut+1.3, x))
		pts[i] = s.head(geom.Vec{X: x, Y: y, Z: z})
		keep[i] = k.in[i] > -0.35 && z > k.globe[i]-0.1
	}
	// All cells give normals, but only those that may be seen become facets.
	m := s.surface(flip(pts, k.w), k.w)
	keep = flip(keep, k.w)
	tri := m.Tri[:0]
	for _, t := range m.Tri {
		if keep[t[0]] || keep[t[1]] || keep[t[2]] {
			tri = append(tri, t)
		}
	}
	m.Tri = tri
	return compact(m)
}

// flip turns a list of rows of w upside down: rows from above, as surface wants them.
func flip[T any](list []T, w int) []T {
	out := make([]T, 0, len(list))
	for i := len(list) - w; i >= 0; i -= w {
		out = append(out, list[i:i+w]...)
	}
	return out
}

// compact drops the vertices that no facet has.
func compact(m *mesh.Mesh) *mesh.Mesh {
	to := make([]uint32, len(m.P))
	out := &mesh.Mesh{Tri: m.Tri}
	for i := range out.Tri {
		for c, v := range out.Tri[i] {
			if to[v] == 0 {
				out.P, out.N, out.UV = append(out.P, m.P[v]), append(out.N, m.N[v]), append(out.UV, m.UV[v])
				to[v] = uint32(len(out.P))
			}
			out.Tri[i][c] = to[v] - 1
		}
	}
	return out
}
