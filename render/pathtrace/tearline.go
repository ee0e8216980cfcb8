package pathtrace

import (
	"catchlight/material/fresnel"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/geom"
)

// tearLine answers a hit of the surface of tears along a lid and in the inner corner: it mirrors like a smooth
// interface, and what is not mirrored goes straight on to what lies beneath. Both ways are followed at the first hit.
// Whoever makes the scene lets no shadow rays meet it, so what lies beneath is lit as if it were not there. Water has one
// surface: where several sheets lie on one another only the first mirrors (wet), and what they cover has no film of its own.
func (t *Tracer) tearLine(p *path, sf *frozen.Surface, wet bool) bool {
	wo := p.ray.D.Neg()
	outside := wo.Dot(sf.Ng) > 0
	if !outside || wet || !t.set.TearFilm {
		p.ray.O = sf.Leave(p.ray.D)
		p.wet = outside && t.set.TearFilm
		return true
	}
	n := bend(wo, sf.Ng, sf.Ns)
	f := fresnel.Dielectric(wo.Dot(n), t.scene.Objects[sf.Object].Material.Index)
	invariant.Share("what the tear line mirrors", f)
	split := t.set.Split && p.sharp && p.branch == 0
	if split || t.smp.D1(p.vertex, sampler.Lobe, p.branch) < f {
		q := *p
		if split {
			q.branch = 1
			q.beta = q.beta.Scale(f)
		}
		if q.sharp {
			q.class, q.mask = Reflection, frozen.ReflectionRays
		}
		d := geom.Reflect(wo, n).Unit()
		q.ray = geom.Ray{O: sf.Leave(d), D: d}
		q.chain = unconnected
		if !split {
			*p = q
			return true
		}
		q.vertex++
		q.seen = false
		t.push(&q)
		p.beta = p.beta.Scale(1 - f)
		p.branch = 2
	}
	t.Stats.ReflectedRays++
	p.ray.O, p.wet = sf.Leave(p.ray.D), true
	return true
}
