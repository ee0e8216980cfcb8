package frozen

import (
	"math"

	"catchlight/material/hair"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Surface is a point of an object, rebuilt in float64 from the hit.
type Surface struct {
	P      geom.Vec // world, mm
	Ng     geom.Vec // unit geometric normal, outward
	Ns     geom.Vec // unit shading normal, outward: interpolated; before the normal map of an eye, with that of a plain mesh
	UV     geom.UV
	Object int32
	Prim   uint32
	U, V   float64   // barycentrics of a mesh; of a hair as in Hit
	Part   mesh.Part // of an inner shell
	Eps    float64   // mm by which a ray leaving here is moved along Ng
}

// Along returns the frame of hair i at u for a ray along d, in the object's frame: S toward the tip, N across the hair toward the
// viewer, T across the ray.
func (b *Object) Along(i uint32, u float64, d geom.Vec) geom.Frame {
	x := b.Hair.Tangent(i, u)
	y := x.Cross(d)
	if l := y.Len(); l > 1e-9*d.Len() {
		y = y.Mul(1 / l)
	} else {
		y = geom.NewFrame(x).S
	}
	return geom.Frame{S: x, T: y, N: x.Cross(y)}
}

// Pigment returns what hair i absorbs at u, per radius.
func (b *Object) Pigment(i uint32, u float64) colour.RGB {
	s := b.Hair.Set()
	return hair.Absorption(float64(s.Eu[i]), float64(s.Ph[i])).Scale(hair.Worn(u))
}

// originUlps is how far a new ray starts off the surface, as a share of the largest coordinate: about 34 units in
// the last place of the hierarchy's float32.
const originUlps = 4e-6

// Surface rebuilds the point of an object's hit. r is the ray that found it.
func (s *Scene) Surface(r geom.Ray, h *Hit) Surface {
	b := &s.Objects[h.Object]
	out := Surface{Object: h.Object, Prim: h.Prim, U: h.U, V: h.V}
	var p, ng, ns geom.Vec // local
	if b.Shape == Mesh {
		m := b.Mesh
		t := m.Tri[h.Prim]
		p0, p1, p2 := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		p = geom.Mix(p0, p1, p2, h.U, h.V)
		ng = p1.Sub(p0).Cross(p2.Sub(p0)).Unit()
		ns = ng
		if m.N != nil {
			ns = geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], h.U, h.V).Unit()
		}
		if m.UV != nil {
			a, c, e := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
			w := 1 - h.U - h.V
			out.UV = geom.UV{U: w*a.U + h.U*c.U + h.V*e.U, V: w*a.V + h.U*c.V + h.V*e.V}
		}
		if m.Part != nil {
			out.Part = m.Part[h.Prim]
		}
	} else if b.Shape == Strands {
		p = b.ToLocal.Point(r.At(h.T))
		f := b.Along(h.Prim, h.U, b.ToLocal.Vector(r.D))
		ng = f.T.Mul(h.V).Mad(math.Sqrt(max(0, 1-h.V*h.V)), f.N)
		ns = ng
		out.UV = geom.UV{U: h.U, V: h.V}
	} else {
		p = b.ToLocal.Point(r.At(h.T))
		switch b.Shape {
		case Sphere:
			ng = p.Unit()
			p = ng.Mul(b.Size.X)
			out.UV = geom.UV{U: 0.5 + math.Atan2(p.X, p.Z)/(2*math.Pi), V: math.Acos(max(-1, min(1, ng.Y))) / math.Pi}
		case Rectangle:
			ng, p.Z = geom.Vec{Z: 1}, 0
			out.UV = geom.UV{U: 0.5 + p.X/(2*b.Size.X), V: 0.5 - p.Y/(2*b.Size.Y)}
		case Disc:
			ng, p.Z = geom.Vec{Z: 1}, 0
			out.UV = geom.UV{U: 0.5 + p.X/(2*b.Size.X), V: 0.5 - p.Y/(2*b.Size.X)}
		case Slab:
			ng, p.Z = geom.Vec{Z: 1}, 0
			if h.Prim == 1 {
				ng, p.Z = geom.Vec{Z: -1}, -b.Size.Z
			}
		case Box:
			sign := float64(h.Prim&1)*2 - 1
			switch h.Prim / 2 {
			case 0:
				ng.X, p.X = sign, sign*b.Size.X
			case 1:
				ng.Y, p.Y = sign, sign*b.Size.Y
			default:
				ng.Z, p.Z = sign, sign*b.Size.Z
			}
		}
		ns = ng
	}
	out.P = b.ToWorld.Point(p)
	out.Ng = b.ToLocal.Normal(ng).Unit()
	out.Ns = b.ToLocal.Normal(ns).Unit()
	if b.Bump.Valid() {
		out.Ns = s.MappedNormal(&out, &b.Bump, b.BumpGain)
	}
	out.Eps = originUlps * b.Scale * max(p.MaxAbs(), 1e-3)
	return out
}

// Leave returns where a ray that goes along d from the surface starts: off the surface on d's side.
func (s *Surface) Leave(d geom.Vec) geom.Vec {
	e := s.Eps
	if d.Dot(s.Ng) < 0 {
		e = -e
	}
	return s.P.Mad(e, s.Ng)
}

// Round returns the point above a bulging facet of a smooth mesh where the smooth surface would be, in the world and off the
// facet on the side of ng, and whether there is one: a point where each corner's tangent plane passes above the facet or
// through it. Rays toward lights that start there see neither the facet nor its neighbours, so that the edge of light and
// shadow on a coarse mesh is smooth; the shading normal stands for the true one. ng is the geometric normal, on either side.
//
// Source: Hanika, Hacking the Shadow Terminator, Ray Tracing Gems II, 2021, chapter 4.
func (s *Scene) Round(sf *Surface, ng geom.Vec) (p geom.Vec, ok bool) {
	b := &s.Objects[sf.Object]
	if b.Shape != Mesh || b.Mesh.N == nil {
		return geom.Vec{}, false
	}
	m := b.Mesh
	t := m.Tri[sf.Prim]
	side := 1.0
	if ng.Dot(sf.Ng) < 0 {
		side = -1
	}
	at := geom.Mix(m.P[t[0]], m.P[t[1]], m.P[t[2]], sf.U, sf.V)
	var lift geom.Vec
	for k, w := range [3]float64{1 - sf.U - sf.V, sf.U, sf.V} {
		n := m.N[t[k]].Mul(side)
		d := at.Sub(m.P[t[k]]).Dot(n) / n.Len2()
		if d > 0 {
			return geom.Vec{}, false
		}
		lift = lift.Mad(-w*d, n)
	}
	if lift.Len2() == 0 {
		return geom.Vec{}, false
	}
	return sf.Leave(ng).Add(b.ToWorld.Vector(lift)), true
}
