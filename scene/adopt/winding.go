package adopt

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// winding returns the winding number of the mesh about q: about 1 inside a closed mesh wound outward, -1 when wound
// inward, 0 outside, and between them for an open one.
//
// Sources: the solid angle of a triangle, van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30 (1983), 125; its sum
// over open meshes, Jacobson, Kavan and Sorkine-Hornung, ACM Trans. Graph. 32 (2013), 33.
func winding(m *mesh.Mesh, q geom.Vec) float64 {
	sum := 0.0
	for _, t := range m.Tri {
		a, b, c := m.P[t[0]].Sub(q), m.P[t[1]].Sub(q), m.P[t[2]].Sub(q)
		la, lb, lc := a.Len(), b.Len(), c.Len()
		num := a.Dot(b.Cross(c))
		den := la*lb*lc + a.Dot(b)*lc + b.Dot(c)*la + c.Dot(a)*lb
		if num != 0 || den != 0 {
			sum += math.Atan2(num, den)
		}
	}
	return sum / (2 * math.Pi)
}

// within returns the share of some vertices of in that lie inside m.
func within(in, m *mesh.Mesh) float64 {
	box := m.Bounds()
	// At most some 20 million triangle terms, and at least eight points.
	n := max(8, min(64, 20_000_000/max(1, len(m.Tri))))
	step := max(1, len(in.P)/n)
	inside, of := 0, 0
	for i := 0; i < len(in.P); i += step {
		of++
		q := in.P[i]
		if q.X < box.Lo.X || q.Y < box.Lo.Y || q.Z < box.Lo.Z || q.X > box.Hi.X || q.Y > box.Hi.Y || q.Z > box.Hi.Z {
			continue
		}
		if math.Abs(winding(m, q)) > 0.5 {
			inside++
		}
	}
	if of == 0 {
		return 0
	}
	return float64(inside) / float64(of)
}
