package layout

import (
	"cmp"
	"math"
	"slices"

	"catchlight/scene/mesh"
)

// weighed is a value of a part of a surface.
type weighed struct{ v, area float64 }

// share is the value up to which that much of the area lies.
func share(list []weighed, area float64) float64 {
	slices.SortFunc(list, func(a, b weighed) int { return cmp.Compare(a.v, b.v) })
	sum := 0.0
	for _, q := range list {
		if sum += q.area; sum >= area {
			return q.v
		}
	}
	return 0
}

// Texels is how a map lies on a part of a shell.
type Texels struct {
	PerMM2  float64 // texels a mm^2 in the mean, for a map of the given side
	Stretch float64 // ratio of the densities in the two directions, of which 99 parts in a hundred of the area have at most this
}

// TexelsOf measures a mesh for maps of px by px texels over the triangles that keep takes.
func TexelsOf(m *mesh.Mesh, px float64, keep func(tri int) bool) Texels {
	var list []weighed
	area, texels := 0.0, 0.0
	for i, t := range m.Tri {
		if !keep(i) {
			continue
		}
		e1, e2 := m.P[t[1]].Sub(m.P[t[0]]), m.P[t[2]].Sub(m.P[t[0]])
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		u1, v1, u2, v2 := b.U-a.U, b.V-a.V, c.U-a.U, c.V-a.V
		n := e1.Cross(e2).Len()
		if n == 0 {
			continue
		}
		area += n / 2
		texels += math.Abs(u1*v2-u2*v1) / 2 * px * px
		// Coordinates over an orthonormal frame of the triangle.
		x := e1.Unit()
		y := e2.Sub(x.Mul(e2.Dot(x))).Unit()
		l, p, q := e1.Len(), e2.Dot(x), e2.Dot(y)
		j := [4]float64{u1 / l, (u2 - u1*p/l) / q, v1 / l, (v2 - v1*p/l) / q}
		big := singular(j)
		if small := math.Abs(j[0]*j[3]-j[1]*j[2]) / max(big, 1e-300); small > 0 {
			list = append(list, weighed{big / small, n / 2})
		}
	}
	return Texels{PerMM2: texels / max(area, 1e-12), Stretch: share(list, 0.99*area)}
}

// TimesPlanar is how many texels the triangles that keep takes have for one of a projection along the axis, in which the globe fills
// the map's side.
func TimesPlanar(m *mesh.Mesh, globe float64, keep func(tri int) bool) float64 {
	own, planar := 0.0, 0.0
	for i, t := range m.Tri {
		if !keep(i) {
			continue
		}
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		own += math.Abs((b.U-a.U)*(c.V-a.V) - (b.V-a.V)*(c.U-a.U))
		planar += math.Abs(m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Z) / (4 * globe * globe)
	}
	return own / max(planar, 1e-12)
}

// OnIris tells the triangles of the front of the iris: within the limbus, not the pupil's well nor upright walls.
func OnIris(m *mesh.Mesh, e Eye) func(tri int) bool {
	return func(i int) bool {
		t := m.Tri[i]
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		if math.Abs(n.Z) < 0.5*n.Len() {
			return false
		}
		for _, v := range t {
			if p := m.P[v]; p.Z < e.Plane-0.1*e.Limbus || math.Hypot(p.X, p.Y) > 0.92*e.Limbus {
				return false
			}
		}
		return true
	}
}

// OnWhite tells the triangles of the white whose corners lie within an angle of the axis.
func OnWhite(m *mesh.Mesh, e Eye, angle float64) func(tri int) bool {
	return func(i int) bool {
		for _, v := range m.Tri[i] {
			p := m.P[v]
			if r := math.Hypot(p.X, p.Y); math.Atan2(r, p.Z) > angle || p.Z > 0 && r < e.Limbus+e.Width/2 {
				return false
			}
		}
		return true
	}
}
