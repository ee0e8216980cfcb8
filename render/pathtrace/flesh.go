package pathtrace

import (
	"catchlight/material/microfacet"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// flesh answers a hit of a scattering object under a thin coat, such as a lid: the coat's mirror image, or a random walk
// that leaves evenly somewhere near, where lights are connected. Where tears cover it (wet) the coat mirrors nothing.
func (t *Tracer) flesh(p *path, sf *frozen.Surface, wet bool, out *film.Sample) bool {
	b := &t.scene.Objects[sf.Object]
	m := &b.Material
	fl := m.Flesh
	if in := p.medium(); in >= 0 && t.scene.Objects[in].Eye >= 0 {
		// Within an eye's outer shell the eye takes precedence over flesh that reaches into it, as that of the inner corner does.
		p.ray.O = sf.Leave(p.ray.D)
		return true
	}
	wo := p.ray.D.Neg()
	if wo.Dot(sf.Ng) <= 0 {
		return t.within(p, sf, out)
	}
	n := bend(wo, sf.Ng, t.scene.Relief(sf))
	face := fl.FaceAt(m.Alpha, sf.UV)
	p.settle(BodyDirect)
	if f := t.coatShare(fl, &face, wo.Dot(n)); f > 0 && !wet {
		invariant.Share("the coat's share", f)
		_, u := t.smp.D2(p.vertex, sampler.Lobe, p.branch)
		// A smooth coat's image wants both ways.
		split := t.set.Split && p.sharp && p.branch == 0 && m.Alpha < microfacet.MinAlpha
		q := *p
		odds := f
		if split {
			q.branch, odds = 1, 1
		}
		alive := t.mirrorCoat(&q, sf, n, &face, f, odds, out)
		switch {
		case split && alive:
			q.vertex++
			q.seen = false
			t.push(&q)
		case !split && u < f:
			*p = q
			return alive && t.roulette(p)
		}
		if split {
			p.beta = p.beta.Scale(1 - f)
			p.branch = 2
		}
	}
	if !p.sharp && !t.spare(p) {
		return false
	}
	p.beta = p.beta.Mul(fl.Paint(m.Colour.RGB(sf.UV, 0)))
	if !t.set.Scattering || fl.Solid {
		p.beta = p.beta.Mul(fl.Top)
		return t.leaveFlesh(p, sf, out)
	}
	u0, u1 := t.smp.D2(p.vertex, sampler.WalkStart, p.branch)
	d := geom.NewFrame(sf.Ns.Neg()).World(geom.CosineHemisphere(u0, u1))
	if k := d.Dot(sf.Ng); k > 0 {
		d = d.Mad(-2*k, sf.Ng)
	}
	return t.walkFlesh(p, sf.Object, sf.Prim, sf.P.Mad(-sf.Eps, sf.Ng), d.Unit(), sf.Ns, out)
}

// leaveFlesh sends a path that comes from within on from a surface point of flesh, evenly and through its coat.
func (t *Tracer) leaveFlesh(p *path, sf *frozen.Surface, out *film.Sample) bool {
	m := &t.scene.Objects[sf.Object].Material
	p.beta = p.beta.Mul(m.Flesh.Paint(m.Colour.RGB(sf.UV, 0)))
	v := vertex{ns: sf.Ns, eye: -1, every: p.sharp || p.vertex < 3, class: p.class}
	v.p, v.ng = t.matte(sf, sf.Ng, sf.Ns)
	if m.Flesh.Gloss != nil {
		v.ns = t.scene.Relief(sf)
	}
	return t.leaveEvenly(p, &v, &response{lobe: underCoatLobe, shell: -1, object: sf.Object, face: m.Flesh.FaceAt(m.Alpha, sf.UV)}, out)
}

// coatShare returns the share of light that the coat mirrors where its face is w, from outside at cosine c.
func (t *Tracer) coatShare(f *frozen.Flesh, w *frozen.Face, c float64) float64 {
	if f.Clear || !t.set.TearFilm {
		return 0
	}
	return f.Mirrored(w, c)
}

// spare lets paths that come to flesh after they were scattered go on in proportion to what they carry, without bias: a walk
// there costs as much as all that came before it, and brings little. The coat has been chosen before, as it costs less; and
// what survives grows at most to a half, so that a walk of some weight doesn't make a firefly of it.
func (t *Tracer) spare(p *path) bool {
	q := max(0.3, 2*p.beta.Max())
	if q >= 1 || t.set.NoRoulette {
		return true
	}
	if t.smp.D1(p.vertex, sampler.Spare, p.branch) >= q {
		return false
	}
	invariant.Share("survival before a walk", q)
	p.beta = p.beta.Scale(1 / q)
	return true
}

// coatFacet returns what one facet of the coat mirrors, from outside at cosine c.
func (t *Tracer) coatFacet(f *frozen.Flesh, c float64) float64 {
	if f.Clear || !t.set.TearFilm {
		return 0
	}
	return f.Coat.Reflectance(c)
}

// fleshOut returns the coat's factor of light that leaves the vertex along d, above the true surface: the mean of those of d and of what
// is folded up to it (see folded), by their cosines.
func (t *Tracer) fleshOut(a *response, v *vertex, d geom.Vec) float64 {
	f := t.scene.Objects[a.object].Material.Flesh
	if f.Clear || !t.set.TearFilm {
		return 1
	}
	c := max(0, d.Dot(v.ns))
	below := d.Mad(-2*d.Dot(v.ng), v.ng).Dot(v.ns)
	if below <= 0 {
		return f.Out(&a.face, c)
	}
	return (c*f.Out(&a.face, c) + below*f.Out(&a.face, below)) / (c + below)
}

// mirrorCoat turns a path into the coat's reflection about n where its face is w, of which it mirrors the share f, and reports whether it goes on.
// It stands for a path that does so with probability odds, but lights that the coat mirrors straight to the path are booked whether it
// does or not. A rough coat puts the microfacets' share in place of f.
func (t *Tracer) mirrorCoat(p *path, sf *frozen.Surface, n geom.Vec, w *frozen.Face, f, odds float64, out *film.Sample) bool {
	m := &t.scene.Objects[sf.Object].Material
	wo := p.ray.D.Neg()
	t.Stats.ReflectedRays++
	if m.Alpha < microfacet.MinAlpha {
		d := geom.Reflect(wo, n).Unit()
		if d.Dot(sf.Ng) <= 0 {
			return false
		}
		p.ray = geom.Ray{O: sf.Leave(d), D: d}
		p.chain = unconnected
		if !p.sharp {
			p.mask = frozen.ShadowRays
		}
		if odds < 1 {
			p.chain = t.bookAlong(p, &vertex{p: p.ray.O, class: p.class}, d, f, 0, out)
		}
		p.beta = p.beta.Scale(f / odds)
		return true
	}
	a := response{lobe: roughCoatLobe, frame: geom.NewFrame(n), face: *w, object: sf.Object, shell: -1}
	a.wo = a.frame.Local(wo)
	v := vertex{p: sf.Leave(sf.Ng), ng: sf.Ng, ns: n, eye: -1, every: p.sharp, class: p.class, salt: coatSalt}
	p.mask = frozen.ShadowRays
	t.connect(p, &v, &a, out)
	u0, u1 := t.smp.D2(p.vertex, sampler.Coat, p.branch)
	wi, _, _, _, ok := w.Lobes.Sample(a.wo, u0, u1)
	if !ok {
		return false
	}
	d := a.frame.World(wi).Unit()
	switch k := d.Dot(sf.Ng); {
	case k < 0:
		d = d.Mad(-2*k, sf.Ng).Unit()
	case k == 0:
		return false
	}
	value, pdf := t.evaluateRoughCoat(&a, &v, d)
	if !(pdf > 0) {
		return false
	}
	weight := value[0] / pdf
	known := t.bookAlong(p, &v, d, weight, pdf, out)
	p.beta = p.beta.Scale(weight / odds)
	p.ray = geom.Ray{O: v.p, D: d}
	t.scattered(p, &v, pdf)
	p.chain = known
	return true
}

// coatSalt tells the light samples of a coat from those of what leaves the flesh beneath, at the same vertex of the path.
const coatSalt = 1 << 24

// evaluateRoughCoat returns the coat's reflected lobe times cosine toward d, in the world and above the true surface, with its density.
// What a bent normal puts below the true surface is folded up, as folded does for what is matte, so that nothing of it is lost.
func (t *Tracer) evaluateRoughCoat(a *response, v *vertex, d geom.Vec) (colour.RGB, float64) {
	k := d.Dot(v.ng)
	if k <= 0 {
		return colour.RGB{}, 0
	}
	value, pdf := t.coatLobe(a, a.frame.Local(d))
	if wi := a.frame.Local(d.Mad(-2*k, v.ng)); wi.Z > 0 {
		more, q := t.coatLobe(a, wi)
		value, pdf = value+more, pdf+q
	}
	return colour.Grey(value), pdf
}

// coatLobe returns what the facets of a coat mirror toward wi, in their frame, times cosine, and the density of wi.
func (t *Tracer) coatLobe(a *response, wi geom.Vec) (value, pdf float64) {
	v := a.face.Lobes.Eval(a.wo, wi)
	if v <= 0 {
		return 0, 0
	}
	h, _ := microfacet.HalfReflect(a.wo, wi)
	return v * a.face.Oil * t.coatFacet(t.scene.Objects[a.object].Material.Flesh, a.wo.Dot(h)) * wi.Z, a.face.Lobes.Pdf(a.wo, wi)
}
