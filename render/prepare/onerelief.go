package prepare

import (
	"fmt"
	"math"

	"catchlight/render/frozen"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// raised is what a height map did to a shell.
type raised struct {
	base   *mesh.Mesh // before
	after  []geom.Vec // its normals afterwards
	height texture.Map
	scale  float64 // mm per unit of the map
}

// sameRelief is the correlation of slopes from which a height map and a normal map count as one relief: our own choice, well
// above what unrelated maps reach by chance and below what is left when one of them holds finer detail.
const sameRelief = 0.5

// compare returns how the slopes of the height map correlate with those of a normal map over the surface, and what share
// of the normal map's slopes the displaced shell's own normals already show (least squares; 1: all of it).
//
// Slopes are those of glTF 2.0's tangent space; a normal (x, y, z) there stands for the slopes -x/z, -y/z. Many a normal map is
// made from its height map in the picture, where a stretched mapping plays no part: the correlation is the larger one of that on
// the surface and that in the picture.
func (r *raised) compare(bump *texture.Map) (correlation, carried float64) {
	f := mesh.MakeTangents(r.base)
	m := r.base
	// Over the coarser map's texels, so that finer detail of the other does not hide what they share.
	side := 1 << 20
	for _, im := range []*texture.Image{r.height.Image(), bump.Image()} {
		if im != nil {
			w, h, _ := im.Size()
			side = min(side, max(w, h))
		}
	}
	width := 2 / float64(side)
	const most = 20000
	step := max(1, len(m.Tri)/most)
	var hh, nn, hn, mn float64
	var flatH, flatN, flatHN float64 // in the picture
	for i := 0; i < len(m.Tri); i += step {
		t := m.Tri[i]
		e1, e2 := m.P[t[1]].Sub(m.P[t[0]]), m.P[t[2]].Sub(m.P[t[0]])
		area := e1.Cross(e2).Len()
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		uv := geom.UV{U: (a.U + b.U + c.U) / 3, V: (a.V + b.V + c.V) / 3}
		tu, tv := f.Decode(m, uint32(i), 1./3, 1./3, 1, 0, 0), f.Decode(m, uint32(i), 1./3, 1./3, 0, 1, 0)
		n0 := geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], 1./3, 1./3)
		n1 := geom.Mix(r.after[t[0]], r.after[t[1]], r.after[t[2]], 1./3, 1./3)
		if !(area > 0) || tu.Len2() < 1e-6 || tv.Len2() < 1e-6 || n0.Len2() < 1e-6 {
			continue
		}
		tu, tv = tu.Unit(), tv.Unit()
		// The height's gradient in the triangle's plane, from its changes along the two edges.
		du, dv := r.height.Grad(uv, width)
		d1 := r.scale * (du*(b.U-a.U) + dv*(b.V-a.V))
		d2 := r.scale * (du*(c.U-a.U) + dv*(c.V-a.V))
		g11, g12, g22 := e1.Len2(), e1.Dot(e2), e2.Len2()
		det := g11*g22 - g12*g12
		grad := e1.Mul((d1*g22-d2*g12)/det).Mad((d2*g11-d1*g12)/det, e2)
		q := bump.Normal(uv, width)
		z := max(0.02, q.Z)
		bx, by := -q.X/z, -q.Y/z
		hx, hy := grad.Dot(tu), grad.Dot(tv)
		up := n1.Dot(n0.Unit())
		if !(math.Abs(hx)+math.Abs(hy) < 1e6) || !(up > 0.02*n1.Len()) {
			continue
		}
		mx, my := -n1.Dot(tu)/up, -n1.Dot(tv)/up
		share := math.Abs((b.U-a.U)*(c.V-a.V) - (b.V-a.V)*(c.U-a.U))
		flatH += share * (du*du + dv*dv)
		flatN += share * (bx*bx + by*by)
		flatHN += share * (du*bx - dv*by) // v runs down
		hh += area * (hx*hx + hy*hy)
		nn += area * (bx*bx + by*by)
		hn += area * (hx*bx + hy*by)
		mn += area * (mx*bx + my*by)
	}
	if !(hh > 0 && nn > 0 && flatH > 0 && flatN > 0) {
		return 0, 0
	}
	correlation = hn / math.Sqrt(hh*nn)
	if k := math.Copysign(1, r.scale) * flatHN / math.Sqrt(flatH*flatN); math.Abs(k) > math.Abs(correlation) {
		correlation = k
	}
	return correlation, mn / nn
}

// once returns the strength that a normal map is left with where it shows the relief that a height map of the same shell
// already gave its surface, so that no slope counts twice, and a note; key is "cornea" or "iris".
func (r *raised) once(key string, bump *texture.Map, gain float64) (float64, string) {
	if r == nil || !bump.Valid() || !bump.Varies() || r.base.UV == nil || gain == 0 {
		return gain, ""
	}
	k, carried := r.compare(bump)
	switch {
	case k >= sameRelief:
		left := max(0, gain-max(0, carried))
		return left, fmt.Sprintf("%s.height and the normal map show one relief (their slopes correlate by %.2f): the displaced surface has %.2f of the map's slopes, so its strength goes from %.3g to %.3g",
			key, k, carried, gain, left)
	case k <= -sameRelief:
		return gain, fmt.Sprintf("%s.height and the normal map contradict each other (their slopes correlate by %.2f): one of them is inside out", key, k)
	}
	return gain, ""
}

// oneRelief has an eye's normal maps count once beside the height maps of its shells; key is its place in the scene, for notes.
func (p *preparer) oneRelief(key string, s *eyeball, e *frozen.Eye) {
	for _, q := range []struct {
		what string
		r    *raised
		bump *texture.Map
		gain *float64
	}{{"cornea", s.outerRelief, &e.Normal, &e.NormalGain}, {"iris", s.innerRelief, &e.InnerNormal, &e.InnerNormalGain}} {
		var note string
		if *q.gain, note = q.r.once(q.what, q.bump, *q.gain); note != "" {
			p.warnf("%s.%s", key, note)
		}
	}
}
