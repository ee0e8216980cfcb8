package gltfio

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// tangents returns for each vertex the unit direction along its surface in which u grows and, fourth, the sign s of
// s (N x T), which is where green points: against v, which runs down. Source: glTF 2.0, 3.7.2.1.
func tangents(m *mesh.Mesh) [][4]float32 {
	along, down := make([]geom.Vec, len(m.P)), make([]geom.Vec, len(m.P))
	for _, t := range m.Tri {
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		e1, e2 := m.P[t[1]].Sub(m.P[t[0]]), m.P[t[2]].Sub(m.P[t[0]])
		u1, v1, u2, v2 := b.U-a.U, b.V-a.V, c.U-a.U, c.V-a.V
		det := u1*v2 - u2*v1
		if det == 0 {
			continue
		}
		// Each triangle counts by its area: directions are made unit first.
		area := e1.Cross(e2).Len()
		s := math.Copysign(1, det)
		tu, tv := e1.Mul(s*v2).Mad(-s*v1, e2), e2.Mul(s*u1).Mad(-s*u2, e1)
		if tu.Len() == 0 || tv.Len() == 0 {
			continue
		}
		tu, tv = tu.Unit(), tv.Unit()
		for _, i := range t {
			along[i], down[i] = along[i].Mad(area, tu), down[i].Mad(area, tv)
		}
	}
	out := make([][4]float32, len(m.P))
	for i := range out {
		n := m.N[i]
		if n.Len2() == 0 {
			n = geom.Vec{Z: 1}
		}
		n = n.Unit()
		t := along[i].Mad(-along[i].Dot(n), n)
		if l := along[i].Len(); l == 0 || t.Len() < 1e-6*l {
			t = geom.NewFrame(n).S
		}
		t = t.Unit()
		w := float32(1)
		if n.Cross(t).Dot(down[i]) > 0 {
			w = -1
		}
		out[i] = [4]float32{float32(t.X), float32(t.Y), float32(t.Z), w}
	}
	return out
}
