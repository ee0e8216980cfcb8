package pathtrace

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// evenPhase is the phase function of the tissue's reduced scattering, in 1/sr.
const evenPhase = 1 / (4 * math.Pi)

// connectDeep connects a collision of a walk, at pos of the eye's frame, to one light that is no even sky: straight out through the coat, and bent
// through the cornea. The walk's weight there is beta. Hits by chance of what leaves without another collision are weighted
// against it by the even phase function alone, whatever guided the walk: any weights that add up to 1 for each path are unbiased.
// Collisions from which little gets out are connected seldom.
func (t *Tracer) connectDeep(p *path, b *frozen.Object, e *frozen.Eye, pos geom.Vec, beta colour.RGB, rng *sampler.Stream, out *film.Sample) {
	if !t.set.LightSamples {
		return
	}
	i, q := t.pickLight(rng.Float64())
	if q <= 0 {
		return
	}
	l := t.scene.Lights[i]
	v := vertex{p: b.ToWorld.Point(pos), eye: b.Eye, solve: t.set.Manifold, class: p.class}
	s, ok := l.Sample(v.p, rng.Float64(), rng.Float64())
	if !ok || s.L.Black() || s.Pdf <= 0 {
		return
	}
	beta = beta.Mul(p.beta)
	d := b.ToLocal.Vector(s.Wi).Unit()
	var exit frozen.Surface
	tr, ok := t.outOfTissue(b, e, pos, d, rng, &exit)
	const least = 0.05
	keep := least
	if ok {
		keep = min(1, max(least, 4*tr.Max()))
	}
	invariant.Share("a connection out of tissue", keep)
	if rng.Float64() >= keep {
		return
	}
	beta = beta.Scale(1 / keep)
	if ok {
		far := s.Dist
		if !math.IsInf(far, 0) {
			far *= 1 - 1e-6
		}
		w := vertex{p: exit.Leave(s.Wi), eye: b.Eye}
		far -= w.p.Sub(v.p).Len()
		in := p.nest
		pass, start, rest := t.throughCoat(&w, &in, s.Wi, far)
		if pass.Max() > 0 && !t.blocked(start, s.Wi, rest, i, frozen.ShadowRays) {
			pass = pass.Mul(t.transmittance(&in, start, s.Wi, rest, frozen.ShadowRays))
			t.add(i, p.class, Plainly, s.Wi, beta.Mul(tr).Mul(s.L).Mul(pass).Scale(evenPhase/(s.Pdf*q+evenPhase)), out)
		}
	}
	if v.solve && t.set.Caustic {
		t.connectBent(p, &v, i, l, &s, q, beta, rng, out)
	}
}

// outOfTissue follows a line from a point in the tissue, in the eye's frame, to where it leaves the inner shell. It returns the
// share that gets there, what lies on top included, and fills the surface; ok is false where it ends at the backing.
// Where zones blend the share is an unbiased estimate (ratio tracking; Novak, Selle, Jarosz, Residual Ratio Tracking, 2014).
func (t *Tracer) outOfTissue(b *frozen.Object, e *frozen.Eye, pos, d geom.Vec, rng *sampler.Stream, exit *frozen.Surface) (tr colour.RGB, ok bool) {
	t.Stats.WalkRays++
	in := &t.scene.Objects[e.Inner]
	var h accel.Hit
	if !in.BVH.Closest(t.sc, pos, d, 0, math.Inf(1), &h) {
		return tr, false
	}
	if in.Mesh.Part != nil && in.Mesh.Part[h.Prim] == mesh.Backing {
		return tr, false
	}
	*exit = t.scene.Surface(geom.Ray{}, &frozen.Hit{Object: e.Inner, Prim: h.Prim, U: h.U, V: h.V})
	if in.ToLocal.Vector(exit.Ng).Dot(d) <= 0 {
		return tr, false
	}
	tr = colour.Grey(1)
	tis := &e.Tissue
	major := tis.Majorant().Max()
	for rest := h.T; rest > 0 && tr.Max() > 0; {
		sigma, room, pure := e.Extinction(pos)
		var step float64
		if pure {
			step = min(room, rest)
			for c := range tr {
				tr[c] *= math.Exp(-sigma[c] * step)
			}
			pos = pos.Mad(step, d)
		} else {
			step = -math.Log(1-rng.Float64()) / major
			if step < rest {
				pos = pos.Mad(step, d)
				s := e.Blended(pos)
				for c := range tr {
					tr[c] *= 1 - s[c]/major
				}
			}
		}
		rest -= step
	}
	if tis.Vessels != nil {
		tr = tr.Mul(tis.Vessels.At(in.ToLocal.Point(exit.P)))
	}
	return tr, true
}
