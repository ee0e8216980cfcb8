package bake

import (
	"math"
	"sync"

	"catchlight/render/accel"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Base is a low mesh that maps are made for. It does not change once it is made.
type Base struct {
	Mesh   *mesh.Mesh // with N and UV
	Way    []geom.Vec // a vertex each: unit, smooth over all that lies in one place whatever its own normals are; rays run against it
	Frames *mesh.Tangents
	Cage   []float64 // a vertex each: mm that rays begin outside it
	Depth  float64   // mm that they run beneath it

	seen sync.Once
	bvh  *accel.BVH
}

// Seen is the first place of the low mesh along a ray, with its texture coordinates.
func (b *Base) Seen(o, d geom.Vec) (p geom.Vec, uv geom.UV, ok bool) {
	b.seen.Do(func() { b.bvh, _ = accel.Build(b.Mesh.P, b.Mesh.Tri, accel.Options{}) })
	var h accel.Hit
	if b.bvh == nil || !b.bvh.Closest(accel.NewScratch(), o, d, 0, math.Inf(1), &h) {
		return p, uv, false
	}
	t := b.Mesh.Tri[h.Prim]
	for i, w := range [3]float64{1 - h.U - h.V, h.U, h.V} {
		q := b.Mesh.UV[t[i]]
		uv.U, uv.V = uv.U+w*q.U, uv.V+w*q.V
	}
	return geom.Mix(b.Mesh.P[t[0]], b.Mesh.P[t[1]], b.Mesh.P[t[2]], h.U, h.V), uv, true
}

// NewBase prepares a mesh with normals and texture coordinates; cage is the distance of all its vertices, and the depth.
func NewBase(m *mesh.Mesh, cage float64) *Base {
	q := &mesh.Mesh{P: m.P, Tri: m.Tri}
	mesh.Normals(q)
	b := &Base{Mesh: m, Way: q.N, Frames: mesh.MakeTangents(m), Cage: make([]float64, len(m.P)), Depth: cage}
	for i := range b.Cage {
		b.Cage[i] = cage
	}
	return b
}

// ray returns the place at barycentrics of a triangle, the ray that is cast for it, and the place's parameter on the ray.
func (b *Base) ray(tri uint32, u, v float64) (p, o, d geom.Vec, at float64) {
	t := b.Mesh.Tri[tri]
	w := 1 - u - v
	p = geom.Mix(b.Mesh.P[t[0]], b.Mesh.P[t[1]], b.Mesh.P[t[2]], u, v)
	n := geom.Mix(b.Way[t[0]], b.Way[t[1]], b.Way[t[2]], u, v).Unit()
	if !n.Finite() {
		n = b.Way[t[0]]
	}
	at = w*b.Cage[t[0]] + u*b.Cage[t[1]] + v*b.Cage[t[2]]
	return p, p.Mad(at, n), n.Neg(), at
}

// encode takes a direction into the tangent space at a place: the exact inverse of mesh.Tangents.Decode, made unit. ok is false where
// the frame there has no volume.
func (b *Base) encode(tri uint32, u, v float64, n geom.Vec) (out geom.Vec, ok bool) {
	f := b.Frames
	c, t := f.Corner[tri], b.Mesh.Tri[tri]
	var x, y, z geom.Vec
	for k, w := range [3]float64{1 - u - v, u, v} {
		m, d := b.Mesh.N[t[k]], f.T[c[k]]
		x, y, z = x.Mad(w, d), y.Mad(w*float64(f.Sign[c[k]]), m.Cross(d)), z.Mad(w, m)
	}
	r0, r1, r2 := y.Cross(z), z.Cross(x), x.Cross(y)
	det := x.Dot(r0)
	if !(det > 1e-9 || det < -1e-9) {
		return geom.Vec{Z: 1}, false
	}
	out = geom.Vec{X: r0.Dot(n), Y: r1.Dot(n), Z: r2.Dot(n)}
	if det < 0 {
		out = out.Neg()
	}
	return out.Unit(), true
}
