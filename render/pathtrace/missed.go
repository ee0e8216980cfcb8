package pathtrace

import (
	"math"

	"catchlight/light"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Missed is what a lattice of rays thrown forward from a small light onto an eye tells about paths that are not found.
type Missed struct {
	Rays, LostRays int     // that came to the iris or the plate, and those of them whose path pathsTo would not find
	Flux, Lost     float64 // of these, in units that are the same for all of one scene
}

const (
	missedRays = 1600 // that come to the iris are asked for
	missedMost = 16   // times as many are thrown at most
)

// lattice4 is the step of an additive lattice in four dimensions: powers of 1/phi, phi^5 = phi + 1.
//
// Source: Roberts, The Unreasonable Effectiveness of Quasirandom Sequences, 2018 (from memory).
var lattice4 = [4]float64{0.8566748838545029, 0.7338918566271260, 0.6287067210378087, 0.5385972572236101}

// Missed throws rays from a light onto an eye's cornea, evenly over a rectangle across the light that holds it, and asks for
// each that comes to the iris whether pathsTo would find its path from there. It depends on the scene alone.
func (t *Tracer) Missed(eye, light int) (m Missed) {
	e := &t.scene.Eyes[eye]
	b := &t.scene.Objects[e.Outer]
	l := t.scene.Lights[light]
	mid := b.ToWorld.Point(geom.Vec{Z: b.Mesh.Bounds().Hi.Z})
	rim, ok := l.Rim(mid)
	if !ok {
		return m
	}
	axis := rim.Points[0]
	if !rim.Distant {
		axis = axis.Sub(mid).Unit()
	}
	f := geom.NewFrame(b.ToLocal.Vector(axis).Unit())
	// The rectangle, in the eye's frame about its origin.
	reach := e.LimbusRadius + e.LimbusWidth
	box := geom.EmptyBox()
	for _, p := range b.Mesh.P {
		if p.Z > 0 && p.X*p.X+p.Y*p.Y < reach*reach {
			box = box.Grow(f.Local(p))
		}
	}
	if box.Empty() {
		return m
	}
	size := box.Size()
	var u [4]float64
	for k := range u {
		u[k] = 0.5
	}
	for range missedRays * missedMost {
		for k := range u {
			if u[k] += lattice4[k]; u[k] >= 1 {
				u[k]--
			}
		}
		at := f.World(geom.Vec{X: box.Lo.X + u[0]*size.X, Y: box.Lo.Y + u[1]*size.Y, Z: box.Hi.Z + 0.1})
		flux, lost, ok := t.throw(eye, light, l, at, f.N, u[2], u[3])
		if !ok {
			continue
		}
		m.Rays++
		m.Flux += flux
		if lost {
			m.LostRays++
			m.Lost += flux
		}
		if m.Rays == missedRays {
			break
		}
	}
	return m
}

// throw follows one ray from a light through the point at of a plane before the cornea, whose normal is n, both in the eye's
// frame. ok is false where it does not come to the iris.
func (t *Tracer) throw(eye, i int, l *light.Light, at, n geom.Vec, u0, u1 float64) (flux float64, lost, ok bool) {
	e := &t.scene.Eyes[eye]
	b := &t.scene.Objects[e.Outer]
	s, ok := l.Sample(b.ToWorld.Point(at), u0, u1)
	if !ok || s.L.Black() || !(s.Pdf > 0) {
		return 0, false, false
	}
	wl := b.ToLocal.Vector(s.Wi).Unit()
	flux = s.L.Luminance() / s.Pdf * max(0, wl.Dot(n))
	var y frozen.ShellPoint
	if flux <= 0 || !t.castOuter(e, at, wl.Neg(), true, &y) {
		return 0, false, false
	}
	tg := target{distant: true, dir: wl}
	if l.Finite() {
		tg = target{point: b.ToLocal.Point(s.P)}
		wl = toward(y.P, tg)
	}
	cos := wl.Dot(y.N)
	d, bent := geom.Refract(wl, y.N, e.Index)
	if cos <= 0 || wl.Dot(y.Ng) <= 0 || !bent || d.Dot(y.Ng) >= 0 {
		return 0, false, false
	}
	// To the plate or the iris.
	step := 4e-6 * y.P.MaxAbs()
	from := y.P.Mad(-step, y.Ng)
	x, in, far, ok := t.receive(eye, from, d)
	if !ok {
		return 0, false, false
	}
	flux *= (1 - t.tearFilm(e, cos)) * frozen.Bend(e.Zone(y.P), in)
	if flux <= 0 || b.BVH.Occluded(t.sc, from, d, 0, far*(1-1e-6)) {
		return 0, false, false
	}
	dist := math.Inf(1)
	if l.Finite() {
		dist = s.P.Sub(b.ToWorld.Point(y.P)).Len() * (1 - 1e-6)
	}
	start := b.ToWorld.Point(y.P).Mad(step*b.Scale, b.ToLocal.Normal(y.Ng).Unit())
	if t.blocked(start, b.ToWorld.Vector(wl).Unit(), dist, i, frozen.ShadowRays) {
		return 0, false, false
	}
	// The path as it is from x, a hair beside the ray.
	p := path{eye: int32(eye), y: y.P, facet: crossing{y.Prim, y.U, y.V}}
	if lo, ok := t.retarget(e, x, &y, tg); ok {
		_, found := t.pathAgain(&p, i, x, lo)
		return flux, !found, true
	}
	return 0, false, false
}

// retarget returns the target that x sees through y: that of the ray, but for how far x was moved off the iris.
func (t *Tracer) retarget(e *frozen.Eye, x geom.Vec, y *frozen.ShellPoint, tg target) (target, bool) {
	var s state
	if !t.trial(e, x, tg, y, &s) {
		return tg, false
	}
	if tg.distant {
		tg.dir = s.wo.Unit()
		return tg, true
	}
	tg.point = y.P.Mad(s.d, s.wo.Unit())
	return tg, true
}

// receive follows light inside an eye to the plate, where the camera is one, or to the iris; x is off its surface as connections
// start there, in is the zone weight there, far the distance.
func (t *Tracer) receive(eye int, o, d geom.Vec) (x geom.Vec, in, far float64, ok bool) {
	e := &t.scene.Eyes[eye]
	b := &t.scene.Objects[e.Outer]
	var h accel.Hit
	far = math.Inf(1)
	hit := t.scene.Objects[e.Inner].BVH.Closest(t.sc, o, d, 0, far, &h)
	if hit {
		far = h.T
	}
	if t.scene.Plate {
		corner, right, down := t.scene.Camera.Film()
		c, r, w := b.ToLocal.Point(corner), b.ToLocal.Vector(right), b.ToLocal.Vector(down)
		n := r.Cross(w)
		k := c.Sub(o).Dot(n) / d.Dot(n)
		x = o.Mad(k, d)
		q := x.Sub(c)
		u, v := q.Dot(r)/r.Len2(), q.Dot(w)/w.Len2()
		in = e.Zone(x)
		return x, in, k, k > 0 && k < far && u >= 0 && u < 1 && v >= 0 && v < 1 && in > 0 && b.ToLocal.Vector(t.scene.PlateNormal).Dot(d) < 0
	}
	m := t.scene.Objects[e.Inner].Mesh
	if !hit || m.Part != nil && m.Part[h.Prim] == mesh.Backing {
		return x, 0, 0, false
	}
	sf := t.scene.Surface(geom.Ray{}, &frozen.Hit{Object: e.Inner, Prim: h.Prim, U: h.U, V: h.V})
	x = b.ToLocal.Point(sf.Leave(sf.Ng))
	in = e.Zone(x)
	return x, in, far, in > 0 && b.ToLocal.Vector(sf.Ng).Dot(d) < 0
}
