package pathtrace

import (
	"math"

	"catchlight/material/fresnel"
	"catchlight/material/microfacet"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// sides returns the geometric and shading normals on the side of wo.
func sides(sf *frozen.Surface, wo geom.Vec) (ng, ns geom.Vec) {
	ng, ns = sf.Ng, sf.Ns
	if wo.Dot(ng) < 0 {
		ng, ns = ng.Neg(), ns.Neg()
	}
	if wo.Dot(ns) <= 0 {
		ns = ng
	}
	return
}

// settle notes what the camera saw first, for the class of what follows.
func (p *path) settle(direct film.Class) {
	switch {
	case p.sharp && p.class == Background:
		p.class = direct
	case p.class == IrisDirect || p.class == ScleraDirect || p.class == BodyDirect:
		p.class++
	}
}

// diffuse answers a hit of a plain diffuse object.
func (t *Tracer) diffuse(p *path, sf *frozen.Surface, out *film.Sample) bool {
	b := &t.scene.Objects[sf.Object]
	ng, ns := sides(sf, p.ray.D.Neg())
	p.beta = p.beta.Mul(b.Material.Colour.RGB(sf.UV, 0))
	p.settle(BodyDirect)
	v := vertex{ns: ns, eye: -1, every: p.sharp, class: p.class}
	v.p, v.ng = t.matte(sf, ng, ns)
	return t.leaveDiffuse(p, &v, out)
}

// matte returns where rays from an evenly scattering surface start, and the normal that says which are below it: on a
// bulging facet those of the smooth surface.
func (t *Tracer) matte(sf *frozen.Surface, ng, ns geom.Vec) (p, n geom.Vec) {
	if p, ok := t.scene.Round(sf, ng); ok {
		return p, ns
	}
	return sf.Leave(ng), ng
}

// leaveDiffuse connects a Lambertian vertex to the lights and sends the path on. The reflectance is already in beta.
func (t *Tracer) leaveDiffuse(p *path, v *vertex, out *film.Sample) bool {
	return t.leaveEvenly(p, v, &response{lobe: lambert, shell: -1}, out)
}

// leaveEvenly is leaveDiffuse for a lobe whose directions are sampled by the cosine.
func (t *Tracer) leaveEvenly(p *path, v *vertex, a *response, out *film.Sample) bool {
	if !t.roulette(p) {
		return false
	}
	p.mask = frozen.ShadowRays
	t.connect(p, v, a, out)
	u0, u1 := t.smp.D2(p.vertex, sampler.BSDF, p.branch)
	l := geom.CosineHemisphere(u0, u1)
	d := geom.NewFrame(v.ns).World(l).Unit()
	if k := d.Dot(v.ng); k < 0 {
		d = d.Mad(-2*k, v.ng).Unit()
	}
	p.ray = geom.Ray{O: v.p, D: d}
	if a.lobe == underCoatLobe {
		p.beta = p.beta.Scale(t.fleshOut(a, v, d))
	}
	t.scattered(p, v, folded(v, d)/math.Pi)
	return true
}

// folded returns the cosine of a Lambertian vertex toward direction d: that with the shading normal, plus that of d's
// mirror image in the true surface. The part of the lobe that the shading normal puts below the surface is folded up,
// so the vertex gives back all that it takes; over the upper side the result integrates to pi. It is 0 below.
func folded(v *vertex, d geom.Vec) float64 {
	k := d.Dot(v.ng)
	if k <= 0 {
		return 0
	}
	return max(0, d.Dot(v.ns)) + max(0, d.Mad(-2*k, v.ng).Dot(v.ns))
}

// conductor answers a hit of a metal.
func (t *Tracer) conductor(p *path, sf *frozen.Surface, out *film.Sample) bool {
	m := &t.scene.Objects[sf.Object].Material
	wo := p.ray.D.Neg()
	ng, ns := sides(sf, wo)
	ns = bend(wo, ng, ns)
	if m.Alpha < microfacet.MinAlpha {
		p.beta = p.beta.Mul(metal(m, wo.Dot(ns)))
		d := geom.Reflect(wo, ns).Unit()
		p.ray = geom.Ray{O: sf.Leave(ng), D: d}
		p.chain = unconnected
		if !p.sharp {
			p.mask = frozen.ShadowRays
		}
		return t.roulette(p)
	}
	a := response{lobe: metalLobe, frame: geom.NewFrame(ns), alpha: m.Alpha, object: sf.Object, shell: -1}
	a.wo = a.frame.Local(wo)
	p.settle(BodyDirect)
	v := vertex{p: sf.Leave(ng), ng: ng, ns: ns, eye: -1, every: p.sharp, class: p.class}
	p.mask = frozen.ShadowRays
	t.connect(p, &v, &a, out)
	u0, u1 := t.smp.D2(p.vertex, sampler.BSDF, p.branch)
	wi, weight, h, pdf, ok := microfacet.Reflect{AX: m.Alpha, AY: m.Alpha}.Sample(a.wo, u0, u1)
	if !ok {
		return false
	}
	d := a.frame.World(wi).Unit()
	if d.Dot(ng) <= 0 {
		return false
	}
	p.beta = p.beta.Mul(metal(m, a.wo.Dot(h))).Mul(t.compensation(m, a.wo.Z)).Scale(weight)
	p.ray = geom.Ray{O: v.p, D: d}
	t.scattered(p, &v, pdf)
	return t.roulette(p)
}

func metal(m *frozen.Material, c float64) colour.RGB {
	if m.Mirror {
		return colour.Grey(1)
	}
	return fresnel.Conductor(c, m.Eta, m.K)
}

func (t *Tracer) evaluateMetal(a *response, wi geom.Vec) (colour.RGB, float64) {
	v, cos, pdf := a.mirror(wi)
	if v <= 0 {
		return colour.RGB{}, 0
	}
	m := &t.scene.Objects[a.object].Material
	return metal(m, cos).Mul(t.compensation(m, a.wo.Z)).Scale(v * wi.Z), pdf
}

// dielectric answers a hit of a glass-like interface.
func (t *Tracer) dielectric(p *path, sf *frozen.Surface, out *film.Sample) bool {
	m := &t.scene.Objects[sf.Object].Material
	wo := p.ray.D.Neg()
	entering := wo.Dot(sf.Ng) > 0
	ng, ns := sides(sf, wo)
	near, far := 1.0, 1.0
	if entering {
		near, far = t.index(p.medium()), m.Index
	} else {
		q := *p
		q.leave(sf.Object)
		near, far = m.Index, t.index(q.medium())
	}
	eta := far / near
	if !p.sharp {
		p.mask = frozen.ShadowRays
	}
	if eta == 1 {
		p.chain = unconnected // it blocks connections as any other glass does
		return t.matched(p, sf)
	}
	ns = bend(wo, ng, ns)
	across := false
	var d geom.Vec
	if m.Alpha < microfacet.MinAlpha {
		c := wo.Dot(ns)
		f := fresnel.Dielectric(c, eta)
		invariant.Share("what glass mirrors", f)
		if t.smp.D1(p.vertex, sampler.Lobe, p.branch) < f {
			d = geom.Reflect(wo, ns)
		} else {
			var ok bool
			if d, ok = geom.Refract(wo, ns, eta); !ok {
				return false
			}
			across = true
		}
		p.chain = unconnected
		d = d.Unit()
		if (d.Dot(ng) > 0) == across {
			return false
		}
	} else {
		a := response{lobe: glassLobe, frame: geom.NewFrame(ns), alpha: m.Alpha, eta: eta, object: sf.Object, shell: -1}
		a.wo = a.frame.Local(wo)
		a.gain = m.RoughGain(eta, a.wo.Z)
		v := vertex{p: sf.Leave(ng), ng: ng, ns: ns, eye: -1, class: p.class, every: p.sharp}
		if entering && near == 1 {
			p.settle(BodyDirect)
			v.class = p.class
			t.connect(p, &v, &a, out)
		}
		wi, weight, pdf, acr, ok := t.sampleGlass(&a, t.smp.D4(p.vertex, sampler.BSDF, p.branch))
		if !ok {
			return false
		}
		across = acr
		d = a.frame.World(wi).Unit()
		if (d.Dot(ng) > 0) == across {
			return false
		}
		p.beta = p.beta.Scale(weight)
		p.sharp = false
		if !across && entering && near == 1 {
			t.scattered(p, &v, pdf)
		} else {
			p.chain = unconnected
		}
	}
	p.ray = geom.Ray{O: sf.Leave(d), D: d}
	if across {
		if entering {
			p.enter(sf.Object)
		} else {
			p.leave(sf.Object)
		}
	}
	return t.roulette(p)
}

// plate starts a path on an irradiance plate: the camera's ray is already cosine-sampled with weight pi, and the
// point is a Lambertian vertex that lights are connected to.
func (t *Tracer) plate(p *path, out *film.Sample) {
	n := t.scene.PlateNormal
	p.seen, p.mask, p.class = false, frozen.ShadowRays, BodyDirect
	v := vertex{p: p.ray.O, ng: n, ns: n, eye: -1, every: true, class: BodyDirect}
	if in := p.medium(); in >= 0 && t.scene.Objects[in].Eye >= 0 {
		v.eye = t.scene.Objects[in].Eye
		t.inChamber(&v)
	}
	a := response{lobe: lambert, shell: -1}
	p.vertex = 0 // what the ray meets is the first vertex, with numbers of its own
	t.connect(p, &v, &a, out)
	p.vertex = 1
	t.scattered(p, &v, folded(&v, p.ray.D)/math.Pi)
}

// compensation makes up for light that scatters more than once among the microfacets of a metal.
func (t *Tracer) compensation(m *frozen.Material, mu float64) colour.RGB {
	return t.energy.Scale(metal(m, 1), mu, m.Alpha)
}
