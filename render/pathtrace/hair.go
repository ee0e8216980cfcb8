package pathtrace

import (
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/geom"
)

// hair answers a hit of a hair: it is connected to the lights all around and sends the path on to either side. What leaves a hair does
// not meet it again: its lobes hold all that happens inside.
func (t *Tracer) hair(p *path, sf *frozen.Surface, out *film.Sample) bool {
	b := &t.scene.Objects[sf.Object]
	if in := p.medium(); in >= 0 && t.scene.Objects[in].Eye >= 0 {
		// Within an eye's outer shell the eye takes precedence over hair that reaches into it.
		p.ray.O = sf.P
		p.strands, p.strand = b.Hair, sf.Prim
		return true
	}
	f := b.Along(sf.Prim, sf.UV.U, b.ToLocal.Vector(p.ray.D))
	f = geom.Frame{S: b.ToWorld.Vector(f.S).Unit(), T: b.ToWorld.Vector(f.T).Unit(), N: b.ToWorld.Vector(f.N).Unit()}
	t.fibre.Meet(b.Material.Fibre, -p.ray.D.Dot(f.S), sf.UV.V, b.Pigment(sf.Prim, sf.UV.U))
	p.settle(BodyDirect)
	p.mask = frozen.ShadowRays
	v := vertex{p: sf.P, ng: f.N, ns: f.N, eye: -1, every: p.sharp, class: p.class}
	t.sc.Past(b.Hair, sf.Prim)
	t.connect(p, &v, &response{lobe: hairLobe, frame: f, object: sf.Object, shell: -1}, out)
	t.sc.Past(nil, 0)
	wi, weight, pdf := t.fibre.Sample(t.smp.D4(p.vertex, sampler.BSDF, p.branch))
	if weight.Black() {
		return false
	}
	// A dark hair's light comes from lamps, which are connected to: what else it takes up is followed in proportion to what is left.
	if q := 3 * weight.Max(); q < 1 && !t.set.NoRoulette {
		if t.smp.D1(p.vertex, sampler.Spare, p.branch) >= q {
			return false
		}
		invariant.Share("survival at a hair", q)
		weight = weight.Scale(1 / q)
	}
	p.beta = p.beta.Mul(weight)
	p.ray = geom.Ray{O: sf.P, D: f.World(wi).Unit()}
	t.scattered(p, &v, pdf)
	p.strands, p.strand = b.Hair, sf.Prim
	return t.roulette(p)
}
