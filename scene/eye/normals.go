package eye

import (
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// faceNormals replaces the normals of the first n vertices by the area-weighted mean of the faces about each.
func faceNormals(m *mesh.Mesh, n int) {
	sum := make([]geom.Vec, n)
	for _, t := range m.Tri {
		if int(min(t[0], t[1], t[2])) >= n {
			continue
		}
		a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		f := b.Sub(a).Cross(c.Sub(a))
		for _, i := range t {
			if int(i) < n {
				sum[i] = sum[i].Add(f)
			}
		}
	}
	for i, s := range sum {
		if l := s.Len(); l > 0 {
			m.N[i] = s.Mul(1 / l)
		}
	}
}
