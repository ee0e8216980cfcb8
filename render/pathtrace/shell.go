package pathtrace

import (
	"math"

	"catchlight/material/fresnel"
	"catchlight/material/microfacet"
	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// bend is the shading normal of a surface that wo looks at from its own side.
func bend(wo, ng, ns geom.Vec) geom.Vec { return geom.ShadingNormal(wo, ng, ns, 0) }

// outer answers a hit of an eye's outer shell from either side; wet says that tears cover it there. It reports whether the path goes on.
func (t *Tracer) outer(p *path, sf *frozen.Surface, wet bool, out *film.Sample) bool {
	b := &t.scene.Objects[sf.Object]
	e := &t.scene.Eyes[b.Eye]
	n := sf.Ns
	if e.Normal.Valid() {
		n = t.scene.MappedNormal(sf, &e.Normal, e.NormalGain)
	}
	at := b.ToLocal.Point(sf.P)
	w := e.Zone(at)
	if p.ray.D.Dot(sf.Ng) < 0 {
		return t.outerFromOutside(p, sf, b.Eye, e, n, e.FilmNormal(b, n, at, w), w, wet, out)
	}
	return t.outerFromInside(p, sf, b.Eye, e, n, w, out)
}

// outerFromOutside mirrors by the film's normal, nothing where it is covered by tears, and bends by the shell's.
func (t *Tracer) outerFromOutside(p *path, sf *frozen.Surface, eye int32, e *frozen.Eye, n, wet geom.Vec, w float64, covered bool, out *film.Sample) bool {
	wo := p.ray.D.Neg()
	n, wet = bend(wo, sf.Ng, n), bend(wo, sf.Ng, wet)
	f := 0.0
	if !covered {
		f = t.mirrored(e, w, wo.Dot(wet))
	}
	invariant.Share("what the shell mirrors", f)
	u0, u1 := t.smp.D2(p.vertex, sampler.Lobe, p.branch)
	split := t.set.Split && p.sharp && p.branch == 0
	q := *p
	if split {
		q.branch = 1
	}
	if q.sharp {
		q.class = Reflection
	}
	alive := t.mirrorTearFilm(&q, sf, eye, e, wet, w, f, split, out)
	switch {
	case split && alive:
		q.vertex++
		q.seen = false
		t.push(&q)
	case !split && u1 < f:
		*p = q
		return alive
	}
	if split {
		p.beta = p.beta.Scale(1 - f)
		p.branch = 2
	}
	if f >= 1 {
		return false
	}
	// What passes.
	p.chain, p.past = unconnected, false
	t.Stats.RefractedRays++
	if u0 < t.bends(p, sf, e, w) {
		if a := e.BendAlpha(); a >= microfacet.MinAlpha {
			return t.refractRough(p, sf, eye, e, n, a, f, false, out)
		}
		d, ok := geom.Refract(wo, n, e.Index)
		if !ok || d.Dot(sf.Ng) >= 0 {
			return false
		}
		p.ray = geom.Ray{O: sf.Leave(d), D: d.Unit()}
	} else {
		p.ray.O = sf.Leave(p.ray.D)
		p.past = true
	}
	p.enter(sf.Object)
	return true
}

// bends returns the probability with which the shell bends a ray from outside, where the shell alone says w: near the
// limbus what lies straight behind it counts too.
func (t *Tracer) bends(p *path, sf *frozen.Surface, e *frozen.Eye, w float64) float64 {
	b := &t.scene.Objects[e.Inner]
	o := b.ToLocal.Point(sf.Leave(p.ray.D))
	reach := e.LimbusRadius + e.LimbusWidth
	if w >= 1 || e.ForceCoat || o.Z <= 0 || o.X*o.X+o.Y*o.Y > reach*reach {
		return w
	}
	d := b.ToLocal.Vector(p.ray.D)
	var h accel.Hit
	if !b.BVH.Closest(t.sc, o, d, 0, math.Inf(1), &h) {
		return w
	}
	return frozen.Bend(w, e.Zone(o.Mad(h.T, d)))
}

// mirrorTearFilm turns a path into the tear film's reflection where the zone weight is w, and reports whether it goes on. With split
// it brings the share f that the film mirrors. Else it stands for a path that is mirrored with probability f, but lights that the
// film mirrors straight to the path are booked whether it is or not. A rough film puts the microfacets' share in place of f.
func (t *Tracer) mirrorTearFilm(p *path, sf *frozen.Surface, eye int32, e *frozen.Eye, n geom.Vec, w, f float64, split bool, out *film.Sample) bool {
	if f <= 0 {
		return false
	}
	odds := f
	if split {
		odds = 1
	}
	wo := p.ray.D.Neg()
	alpha := e.Alpha(w)
	t.Stats.ReflectedRays++
	if p.sharp {
		p.mask = frozen.ReflectionRays
	} else {
		p.mask = frozen.ShadowRays
	}
	if alpha < microfacet.MinAlpha {
		d := geom.Reflect(wo, n).Unit()
		if d.Dot(sf.Ng) <= 0 {
			return false
		}
		p.ray = geom.Ray{O: sf.Leave(d), D: d}
		p.chain = unconnected
		if !split {
			p.chain = t.bookAlong(p, &vertex{p: p.ray.O, class: p.class}, d, f, 0, out)
		}
		p.beta = p.beta.Scale(f / odds)
		return true
	}
	a := response{lobe: tearLobe, frame: geom.NewFrame(n), alpha: alpha, gain: 1, shell: eye}
	a.wo = a.frame.Local(wo)
	if e.BendIn != nil {
		a.gain += w * (e.BendIn.Gain(a.wo.Z) - 1)
	}
	v := vertex{p: sf.Leave(sf.Ng), ng: sf.Ng, ns: n, eye: -1, every: p.sharp, class: p.class}
	t.connect(p, &v, &a, out)
	u0, u1 := t.smp.D2(p.vertex, sampler.Coat, p.branch)
	wi, weight, h, pdf, ok := microfacet.Reflect{AX: alpha, AY: alpha}.Sample(a.wo, u0, u1)
	if !ok {
		return false
	}
	d := a.frame.World(wi).Unit()
	if d.Dot(sf.Ng) <= 0 {
		return false
	}
	weight *= t.tearFilm(e, a.wo.Dot(h)) * a.gain
	known := direct
	if !split {
		known = t.bookAlong(p, &v, d, weight, pdf, out)
	}
	p.beta = p.beta.Scale(weight / odds)
	p.ray = geom.Ray{O: v.p, D: d}
	t.scattered(p, &v, pdf)
	if known == booked {
		p.chain = booked
	}
	return true
}

// scattered notes that the path leaves a vertex that lights were connected to.
func (t *Tracer) scattered(p *path, v *vertex, pdf float64) {
	invariant.Density("a scattered ray", pdf)
	p.sharp, p.past = false, false
	p.x, p.pdf, p.eye, p.zone, p.solve, p.every = v.p, pdf, v.eye, v.zone, v.solve, v.every
	p.chain = direct
	if !t.set.LightSamples {
		p.chain = left
	}
	t.Stats.ScatteredRays++
}

// evaluateTearFilm returns the tear film's reflected lobe times cosine, with its density; the local frame is a's.
func (t *Tracer) evaluateTearFilm(a *response, wi geom.Vec) (colour.RGB, float64) {
	v, cos, pdf := a.mirror(wi)
	if v <= 0 {
		return colour.RGB{}, 0
	}
	f := t.tearFilm(&t.scene.Eyes[a.shell], cos)
	return colour.Grey(v * f * wi.Z * a.gain), pdf
}

// mirrorInside sends a path back into the eye from the inner face of its outer shell.
func (t *Tracer) mirrorInside(p *path, sf *frozen.Surface, n geom.Vec) {
	t.Stats.ReflectedRays++
	wo := p.ray.D.Neg()
	if wo.Dot(n) >= 0 { // the shading normal looks away: the geometric one stands in
		n = sf.Ng
	}
	r := geom.Reflect(wo, n).Unit()
	if r.Dot(sf.Ng) >= 0 {
		r = geom.Reflect(wo, sf.Ng).Unit()
	}
	p.ray = geom.Ray{O: sf.Leave(r), D: r}
	p.chain = unconnected
}

func (t *Tracer) outerFromInside(p *path, sf *frozen.Surface, eye int32, e *frozen.Eye, n geom.Vec, w float64, out *film.Sample) bool {
	d := p.ray.D
	u0, u1 := t.smp.D2(p.vertex, sampler.Lobe, p.branch)
	zone := w
	if (p.chain == direct || p.chain == left) && p.eye == eye {
		w = frozen.Bend(w, p.zone)
	}
	invariant.Share("a bend outward", w)
	if u0 >= w { // straight out through the coat
		if !p.past { // what passes between the shells at the eye's rim meets no tissue: the film took its share once
			iris := 1.0
			if (p.chain == direct || p.chain == left) && p.eye == eye {
				iris = p.zone
			}
			pass, back := t.coatWays(e, zone, iris, math.Abs(d.Dot(n)))
			if u1 < back {
				t.mirrorInside(p, sf, n)
				return true
			}
			p.beta = p.beta.Scale(pass / (1 - back))
		}
		p.past = false
		if p.chain == direct && p.eye == eye {
			p.chain = coated
		} else {
			p.chain = unconnected
		}
		p.ray.O = sf.Leave(d)
		p.leave(sf.Object)
		return true
	}
	if a := e.BendAlpha(); a >= microfacet.MinAlpha {
		return t.refractRough(p, sf, eye, e, n, a, 0, true, out)
	}
	wo := d.Neg()
	if wo.Dot(n) >= 0 { // the shading normal looks away: the geometric one stands in
		n = sf.Ng
	}
	bent, ok := geom.Refract(wo, n.Neg(), 1/e.Index)
	f := 1.0
	if ok {
		f = t.tearFilm(e, bent.Dot(n))
	}
	if !ok || u1 < f {
		t.mirrorInside(p, sf, n)
		return true
	}
	t.Stats.RefractedRays++
	if bent.Dot(sf.Ng) <= 0 {
		return false
	}
	p.ray = geom.Ray{O: sf.Leave(bent), D: bent.Unit()}
	p.leave(sf.Object)
	if p.chain == direct && p.eye == eye && p.solve {
		b := &t.scene.Objects[sf.Object]
		p.chain = refracted
		p.y = b.ToLocal.Point(sf.P)
		p.facet = crossing{sf.Prim, sf.U, sf.V}
	} else {
		p.chain = unconnected
	}
	return true
}

// refractRough passes or mirrors a path at a rough cornea, from outside (the mirrored share f is then dealt with
// elsewhere, and 1-f is already in the path) or from inside.
func (t *Tracer) refractRough(p *path, sf *frozen.Surface, eye int32, e *frozen.Eye, n geom.Vec, alpha, f float64, inside bool, out *film.Sample) bool {
	ng := sf.Ng
	eta := e.Index
	if inside {
		ng, n, eta = ng.Neg(), n.Neg(), 1/e.Index
	}
	wo := p.ray.D.Neg()
	n = bend(wo, ng, n)
	fr := geom.NewFrame(n)
	lo := fr.Local(wo)
	u := t.smp.D4(p.vertex, sampler.BSDF, p.branch)
	if !inside {
		wi, weight, h, _, ok := microfacet.Refract{AX: alpha, AY: alpha, Eta: eta}.Sample(lo, u[0], u[1])
		if !ok {
			return false
		}
		k := (1 - t.tearFilm(e, lo.Dot(h))) / max(1e-9, 1-f) * e.BendIn.Gain(lo.Z)
		d := fr.World(wi).Unit()
		if d.Dot(ng) >= 0 {
			return false
		}
		p.beta = p.beta.Scale(weight * k)
		p.ray = geom.Ray{O: sf.Leave(d), D: d}
		p.enter(sf.Object)
		return true
	}
	a := response{lobe: glassLobe, frame: fr, wo: lo, alpha: alpha, eta: eta, gain: e.BendOut.Gain(lo.Z), shell: eye}
	v := vertex{p: sf.Leave(sf.Ng), ng: sf.Ng, ns: sf.Ng, eye: -1, class: p.class}
	t.connect(p, &v, &a, out)
	wi, weight, pdf, across, ok := t.sampleGlass(&a, u)
	if !ok {
		return false
	}
	d := fr.World(wi).Unit()
	if (d.Dot(ng) > 0) == across {
		return false
	}
	p.beta = p.beta.Scale(weight)
	p.ray = geom.Ray{O: sf.Leave(d), D: d}
	if across {
		p.leave(sf.Object)
		t.scattered(p, &v, pdf)
	} else {
		p.chain = unconnected
		p.sharp = false
	}
	return true
}

// glassFresnel returns the reflectance met at a microfacet at cosine c on wo's side; of an eye's shell that is the inside.
func (t *Tracer) glassFresnel(a *response, c float64) float64 {
	if a.shell < 0 {
		return fresnel.Dielectric(c, a.eta)
	}
	return t.scene.Eyes[a.shell].FacetOut(c, t.set.TearFilm)
}

// sampleGlass samples a rough interface from wo's side: a microfacet normal, then reflection or refraction by its
// Fresnel reflectance. across says that the direction lies on the other side.
func (t *Tracer) sampleGlass(a *response, u [4]float64) (wi geom.Vec, weight, pdf float64, across, ok bool) {
	g := microfacet.GGX{AX: a.alpha, AY: a.alpha}
	h := g.SampleVisible(a.wo, u[0], u[1])
	c := a.wo.Dot(h)
	if c <= 0 {
		return
	}
	f := t.glassFresnel(a, c)
	invariant.Share("what a facet mirrors", f)
	if u[2] < f {
		wi = geom.Reflect(a.wo, h)
		if wi.Z <= 0 {
			return
		}
		r := microfacet.Reflect{AX: a.alpha, AY: a.alpha}
		pd := r.Pdf(a.wo, wi)
		return wi, r.Eval(a.wo, wi) * wi.Z / pd * a.gain, pd * f, false, pd > 0
	}
	r := microfacet.Refract{AX: a.alpha, AY: a.alpha, Eta: a.eta}
	wi, bent := geom.Refract(a.wo, h, a.eta)
	if !bent || wi.Z >= 0 {
		return
	}
	pd := r.Pdf(a.wo, wi)
	if !(pd > 0) {
		return
	}
	return wi, r.Eval(a.wo, wi) * -wi.Z / pd * a.gain, pd * (1 - f), true, true
}

// evaluateGlass returns a rough interface's function times cosine for world direction wi, with its density. From an
// eye's inside only what leaves counts: connections start outside.
func (t *Tracer) evaluateGlass(a *response, v *vertex, wi geom.Vec) (colour.RGB, float64) {
	l := a.frame.Local(wi)
	if l.Z > 0 {
		if a.shell >= 0 || wi.Dot(v.ng) <= 0 {
			return colour.RGB{}, 0
		}
		r := microfacet.Reflect{AX: a.alpha, AY: a.alpha}
		h, ok := microfacet.HalfReflect(a.wo, l)
		if !ok {
			return colour.RGB{}, 0
		}
		f := t.glassFresnel(a, a.wo.Dot(h))
		return colour.Grey(r.Eval(a.wo, l) * l.Z * f * a.gain), r.Pdf(a.wo, l) * f
	}
	if a.shell < 0 || wi.Dot(v.ng) <= 0 {
		return colour.RGB{}, 0
	}
	r := microfacet.Refract{AX: a.alpha, AY: a.alpha, Eta: a.eta}
	h, ok := microfacet.HalfRefract(a.wo, l, a.eta)
	if !ok {
		return colour.RGB{}, 0
	}
	f := t.glassFresnel(a, a.wo.Dot(h))
	return colour.Grey(r.Eval(a.wo, l) * -l.Z * (1 - f) * a.gain), r.Pdf(a.wo, l) * (1 - f)
}
