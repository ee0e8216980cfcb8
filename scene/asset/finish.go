package asset

import "catchlight/scene/mesh"

// Words of the notes that speak of a fault of a whole mesh, by which they are known again.
const (
	NormalsNegated  = "normals are negated"
	WoundInward     = "its triangles are turned"
	ScaledToNothing = "scaled to nothing"
)

// Finish makes missing normals, turns what is wound against its normals or inside out, and notes what is odd.
func Finish(m *mesh.Mesh, name string, note func(format string, args ...any)) {
	flat, area, against := 0, 0.0, 0.0
	for _, t := range m.Tri {
		a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		n := b.Sub(a).Cross(c.Sub(a))
		l := n.Len()
		if longest := max(b.Sub(a).Len2(), c.Sub(b).Len2(), a.Sub(c).Len2()); l <= 1e-9*longest {
			flat++
			continue
		}
		area += l
		if m.N != nil && n.Dot(m.N[t[0]].Add(m.N[t[1]]).Add(m.N[t[2]])) < 0 {
			against += l
		}
	}
	if flat > 0 {
		note("%s: %d of %d triangles have no area", name, flat, len(m.Tri))
	}
	inside := false
	if m.N == nil {
		if open, bad := mesh.Closed(m); open == 0 && bad == 0 && m.Volume() < 0 {
			note("%s: the closed mesh is inside out; "+WoundInward, name)
			inside = true
		}
	} else if against > 0.9*area && outward(m) {
		note("%s: its "+NormalsNegated+": they point inward, though its triangles wind outward; the normals are turned", name)
		for i := range m.N {
			m.N[i] = m.N[i].Neg()
		}
	} else if against > 0.9*area {
		note("%s: the triangles wind clockwise, against its normals; "+WoundInward, name)
		inside = true
	} else if against > 0.01*area {
		note("%s: %.0f %% of the area winds against its normals", name, 100*against/area)
	}
	if inside {
		for k := range m.Tri {
			m.Tri[k][1], m.Tri[k][2] = m.Tri[k][2], m.Tri[k][1]
		}
	}
	if m.N == nil {
		mesh.Normals(m)
	}
}

// outward says whether a mesh is closed and its triangles wind outward.
func outward(m *mesh.Mesh) bool {
	open, bad := mesh.Closed(m)
	return open == 0 && bad == 0 && m.Volume() > 0
}
