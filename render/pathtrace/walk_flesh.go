package pathtrace

import (
	"math"

	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// within answers a hit of flesh from within: the ray came out of an eye, or of other flesh, where that lies in this one. The
// walk goes on from where the ray started. Plain flesh lets the light out where it was met, weakened by its colour.
func (t *Tracer) within(p *path, sf *frozen.Surface, out *film.Sample) bool {
	t.Stats.Within++
	if !p.sharp && !t.spare(p) {
		return false
	}
	p.settle(BodyDirect)
	if fl := t.scene.Objects[sf.Object].Material.Flesh; !t.set.Scattering || fl.Solid {
		p.beta = p.beta.Mul(fl.Top)
		return t.leaveFlesh(p, sf, out)
	}
	return t.walkFlesh(p, sf.Object, sf.Prim, p.ray.O, p.ray.D, sf.Ns, out)
}

// walkFlesh follows a random walk in flesh, in the world, from a point in an object below a triangle along d, until it leaves; up is the way out
// that guided walks seek. It multiplies the path by the walk's weight and sends it on; it is false where the path ended.
//
// Where objects overlap, one of them takes precedence over the others: eyes over flesh, and of flesh what comes first in the scene.
// The borders between flesh and flesh change the coefficients and nothing else: only where flesh borders on air does light
// leave by the coat's law. What meets an eye's outer shell goes on as a ray from outside it. Where an object's surface folds into
// itself, a walk is out once it has left as often as it has entered.
//
// Long: one loop whose state (flight, coefficients, folds) every case of what a flight meets changes.
func (t *Tracer) walkFlesh(p *path, object int32, prim uint32, pos, d, up geom.Vec, out *film.Sample) bool {
	t.Stats.Walks++
	rng := t.smp.Stream(p.vertex, sampler.Walk, p.branch)
	beta := colour.Grey(1)
	var fl flight
	var b *frozen.Object
	folds := 0 // how many times more than once the walk is in its object
	enter := func(i int32) {
		object, b, folds = i, &t.scene.Objects[i], 0
		fl.sigma, fl.fresh = &b.Material.Flesh.Sigma, false
		if t.set.Guided && fl.from != nil {
			fl.steer(fl.sigma, &b.Material.Flesh.Guide)
		}
	}
	enter(object)
	for step := 0; ; step++ {
		t.Stats.WalkSteps++
		t.Stats.WalkRays++
		carried := beta.Mul(p.beta) // by the whole path
		if !(carried.Max() > 0) {
			return false
		}
		var h frozen.Hit
		if step == 0 && t.set.Guided {
			half := t.thickness(b, pos, d, up, prim)
			f := b.Material.Flesh
			fl.aim(up, up, b.Lit.At(up), nil, half, &f.Sigma, &f.Guide)
			fl.steer(&f.Sigma, &f.Guide)
		}
		t.choose(&fl, p, step, &rng, carried, &d)
		met := b.Closest(t.sc, geom.Ray{O: pos, D: d}, 0, fl.dist, &h)
		r := geom.Ray{O: pos, D: d}
		h.Object = object
		met = t.meets(b, r, met, fl.dist, &h)
		fly := fl.dist
		if met {
			fly = h.T
		}
		if !met && !b.Bounds.Holds(pos.Mad(fly, d)) { // out through a crack
			t.lose(p, beta)
			return false
		}
		beta = beta.Mul(fl.weight(fly, !met))
		fl.fresh = false
		if !met {
			pos = pos.Mad(fly, d)
			beta = beta.Mul(b.Material.Flesh.Alpha)
			if !survives(&beta, step, &rng) {
				return false
			}
			fl.fresh = true
			continue
		}
		sf := t.scene.Surface(r, &h)
		outward := sf.Ng.Dot(d) > 0
		pos = sf.Leave(d)
		switch m := &t.scene.Objects[h.Object].Material; {
		case h.Object == object && !outward:
			folds++
			continue
		case h.Object == object && folds > 0:
			folds--
			continue
		case outward && m.Kind != frozen.Soft: // out of an eye that the walk came into by rounding
			continue
		case outward:
			if next := t.beneath(&t.scene.Objects[h.Object], pos, d); next >= 0 {
				enter(next)
				continue
			}
			p.beta = p.beta.Mul(beta)
			return t.leaveFlesh(p, &sf, out)
		case m.Kind == frozen.Soft && !m.Flesh.Solid:
			enter(h.Object)
			continue
		default:
			p.beta = p.beta.Mul(beta)
			p.ray = r
			p.chain, p.sharp, p.seen, p.past, p.mask = unconnected, false, false, false, frozen.ShadowRays
			p.vertex++
			if m.Kind == frozen.Soft {
				return t.flesh(p, &sf, false, out)
			}
			return t.outer(p, &sf, false, out)
		}
	}
}

// thickness returns half of how thick an object is where a walk comes in below a triangle. An object without a table is measured by
// a ray along the first flight, as if it were a ball.
func (t *Tracer) thickness(b *frozen.Object, pos, d, up geom.Vec, prim uint32) float64 {
	if b.Depth != nil {
		return b.Thickness(prim)
	}
	var h frozen.Hit
	if !b.Closest(t.sc, geom.Ray{O: pos, D: d}, 0, math.Inf(1), &h) {
		return math.Inf(1)
	}
	return h.T / 2 / max(0.2, -d.Dot(up))
}

// meets finds what a flight in an object meets first: the object's own surface, if h holds that already, or one that takes precedence over it.
func (t *Tracer) meets(b *frozen.Object, r geom.Ray, met bool, far float64, h *frozen.Hit) bool {
	if met {
		far = h.T
	}
	if len(b.Before) == 0 {
		return met
	}
	inv := geom.Vec{X: 1 / r.D.X, Y: 1 / r.D.Y, Z: 1 / r.D.Z}
	for _, i := range b.Before {
		q := &t.scene.Objects[i]
		if _, _, ok := q.Bounds.Hit(r.O, inv, 0, far); !ok {
			continue
		}
		t.Stats.WalkRays++
		if q.Closest(t.sc, r, 0, far, h) {
			h.Object, far, met = i, h.T, true
		}
	}
	return met
}

// beneath returns the first of the objects behind b that pos lies in, or -1. The border that a ray along d from there meets
// first tells.
func (t *Tracer) beneath(b *frozen.Object, pos, d geom.Vec) int32 {
	for _, i := range b.Behind {
		q := &t.scene.Objects[i]
		if q.Material.Flesh.Solid || !q.Bounds.Holds(pos) {
			continue
		}
		t.Stats.WalkRays++
		var h frozen.Hit
		r := geom.Ray{O: pos, D: d}
		if q.Closest(t.sc, r, 0, math.Inf(1), &h) {
			h.Object = i
			if sf := t.scene.Surface(r, &h); sf.Ng.Dot(d) > 0 {
				return i
			}
		}
	}
	return -1
}

// lose books a path that ends though nothing absorbs it, with what it carries beside beta.
func (t *Tracer) lose(p *path, beta colour.RGB) {
	t.Stats.WalkLeaks++
	t.Lost += p.beta.Mul(beta).Luminance()
}
