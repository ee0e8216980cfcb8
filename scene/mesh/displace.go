package mesh

import "catchlight/scene/geom"

// Displace moves each vertex i along its normal by by(i) mm and makes new normals. Vertices in one place move together,
// by the mean of what they are given, so that seams stay shut.
func Displace(m *Mesh, by func(i int) float64) {
	place, at := places(m.P, 0)
	sum := make([]geom.Vec, len(at))
	count := make([]float64, len(at))
	for i, k := range place {
		sum[k] = sum[k].Mad(by(i), m.N[i])
		count[k]++
	}
	for i, k := range place {
		m.P[i] = at[k].Mad(1/count[k], sum[k])
	}
	Normals(m)
}
