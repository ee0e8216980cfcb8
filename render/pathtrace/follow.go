package pathtrace

import (
	"fmt"
	"math"

	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// follow traces a path to its end.
func (t *Tracer) follow(p *path, out *film.Sample) {
	for {
		invariant.Weight("a path", p.beta)
		if p.vertex > t.set.MaxDepth {
			t.Stats.CutPaths++
			return
		}
		var h frozen.Hit
		t.sc.Past(p.strands, p.strand)
		hit := t.scene.Intersect(t.sc, p.ray, 0, math.Inf(1), p.mask, true, &h)
		for hit && h.Light >= 0 && p.seen && !t.scene.LightSeen[h.Light] { // the camera looks through it
			hit = t.scene.Intersect(t.sc, p.ray, h.T*(1+1e-9), math.Inf(1), p.mask, true, &h)
		}
		t.sc.Past(nil, 0)
		p.strands = nil
		if in := p.medium(); in >= 0 && t.scene.Objects[in].Material.HasMedium {
			far := math.Inf(1)
			if hit {
				far = h.T
			}
			if t.scatterInMedium(p, &t.scene.Objects[in], far) {
				if !t.roulette(p) {
					return
				}
				p.vertex++ // the collision was one, with numbers of its own
				continue
			}
		}
		if !hit {
			t.escape(p, out)
			return
		}
		if h.Light >= 0 {
			t.meetLight(p, &h, out)
			return
		}
		sf := t.scene.Surface(p.ray, &h)
		alive := false
		wet := p.wet
		p.wet = false
		switch t.scene.Objects[h.Object].Material.Kind {
		case frozen.Outer:
			alive = t.outer(p, &sf, wet, out)
		case frozen.Inner:
			alive = t.inner(p, &sf, out)
		case frozen.Diffuse:
			alive = t.diffuse(p, &sf, out)
		case frozen.Conductor:
			alive = t.conductor(p, &sf, out)
		case frozen.Dielectric:
			alive = t.dielectric(p, &sf, out)
		case frozen.Soft:
			alive = t.flesh(p, &sf, wet, out)
		case frozen.TearLine:
			alive = t.tearLine(p, &sf, wet)
		case frozen.Matched:
			alive = t.matched(p, &sf)
		case frozen.Hair:
			alive = t.hair(p, &sf, out)
		default:
			b := &t.scene.Objects[h.Object]
			panic(fmt.Sprintf("pathtrace: %q is of the kind %v, for which follow has no case", b.Name, b.Material.Kind))
		}
		if !alive {
			return
		}
		p.vertex++
		p.seen = false
	}
}

// roulette ends paths that carry little, without bias. It reports whether the path goes on.
func (t *Tracer) roulette(p *path) bool {
	m := p.beta.Max()
	if m <= 0 || math.IsNaN(m) {
		return false
	}
	if p.vertex < 4 || m >= 0.5 || t.set.NoRoulette {
		return true
	}
	q := m / 0.5
	invariant.Share("roulette", q)
	if t.smp.D1(p.vertex, sampler.Roulette, p.branch) >= q {
		return false
	}
	p.beta = p.beta.Scale(1 / q)
	return true
}

// escape books what a ray meets that leaves the scene: distant lights; the camera's own rays may see none.
func (t *Tracer) escape(p *path, out *film.Sample) {
	if t.away != nil {
		t.away(p.ray.O, p.beta)
		return
	}
	if p.seen {
		if !t.scene.ShowEnvironment {
			out.Cover(-1)
			return
		}
	}
	for i, l := range t.scene.Lights {
		if l.Finite() || p.seen && !t.scene.LightSeen[i] {
			continue
		}
		v := l.RadianceDir(p.ray.D)
		if v.Black() {
			continue
		}
		v = v.Mul(p.beta)
		switch p.chain {
		case direct, coated:
			invariant.Density("a hit of a distant light", p.pdf)
			v = v.Scale(p.pdf / (p.pdf + t.chosen(p, i)*l.PdfDir(p.x, p.ray.D)))
		case booked:
			if t.scene.LightSampled[i] {
				continue
			}
		case refracted:
			if !t.set.Caustic {
				continue
			}
			v = t.refracted(p, i, target{distant: true, dir: p.ray.D}, l.PdfDir(p.x, p.ray.D), v)
		}
		t.add(i, p.class, p.way(), p.ray.D, v, out)
	}
}

// meetLight books a finite light's radiance at a hit.
func (t *Tracer) meetLight(p *path, h *frozen.Hit, out *film.Sample) {
	l := t.scene.Lights[h.Light]
	_, z, nz, ok := l.Intersect(p.ray.O, p.ray.D, 0.999*h.T-1e-9, math.Inf(1))
	if !ok {
		return
	}
	v := l.Radiance(z, p.ray.D.Neg())
	if v.Black() {
		return
	}
	v = v.Mul(p.beta)
	switch p.chain {
	case direct, coated:
		invariant.Density("a hit of a light", p.pdf)
		v = v.Scale(p.pdf / (p.pdf + t.chosen(p, int(h.Light))*t.pdfToward(l, p.x, z, nz)))
	case booked: // no finite light is a sky
		return
	case refracted:
		if !t.set.Caustic {
			return
		}
		cos := math.Abs(nz.Dot(p.ray.D))
		y := t.scene.Objects[t.scene.Eyes[p.eye].Outer].ToWorld.Point(p.y) // the ray may have crossed borders since
		p2 := l.PdfAreaAt(p.x, z) * z.Sub(y).Len2() / max(cos, 1e-12)
		v = t.refracted(p, int(h.Light), target{point: z}, p2, v)
	}
	t.add(int(h.Light), p.class, p.way(), p.ray.D, v, out)
}

// way returns how the light that the path's ray meets came to it.
func (p *path) way() film.Class {
	switch {
	case p.class == Background && !p.seen:
		return Passing
	case p.chain == refracted:
		return Focused
	}
	return Plainly
}

// chosen returns the probability with which the path's last scattering vertex was connected to light i.
func (t *Tracer) chosen(p *path, i int) float64 {
	if p.every && t.scene.LightSampled[i] {
		return 1
	}
	return t.scene.LightPick[i]
}

// matched passes an interface that is none. Lights are connected across it, so the chain goes on.
func (t *Tracer) matched(p *path, sf *frozen.Surface) bool {
	p.ray.O = sf.Leave(p.ray.D)
	p.cross(sf, p.ray.D)
	return true
}

// scatterInMedium samples a collision before distance far; it reports whether there was one, and moves the path
// there. The channel that the distance is sampled for is chosen anew at each flight by what the path carries, and
// the estimate is weighted over all channels that might have been chosen.
func (t *Tracer) scatterInMedium(p *path, b *frozen.Object, far float64) bool {
	m := &b.Material.Medium
	u := t.smp.D4(p.vertex, sampler.Flight, p.branch)
	q := channelOdds(p.beta)
	c := pickChannel(q, &u[0])
	d, _ := m.SampleFlight(c, u[1])
	if d >= far {
		tr := m.Transmittance(far)
		invariant.Density("a flight through a medium", q[0]*tr[0]+q[1]*tr[1]+q[2]*tr[2])
		p.beta = p.beta.Mul(tr).Scale(1 / (q[0]*tr[0] + q[1]*tr[1] + q[2]*tr[2]))
		return false
	}
	tr := m.Transmittance(d)
	st, ss := m.SigmaT(), m.SigmaT().Mul(m.Albedo())
	pdf := q[0]*st[0]*tr[0] + q[1]*st[1]*tr[1] + q[2]*st[2]*tr[2]
	invariant.Density("a collision in a medium", pdf)
	p.beta = p.beta.Mul(ss).Mul(tr).Scale(1 / pdf)
	cos, _ := m.SamplePhase(u[2])
	sin := math.Sqrt(max(0, 1-cos*cos))
	s, k := math.Sincos(2 * math.Pi * u[3])
	o := p.ray.At(d)
	p.ray = geom.Ray{O: o, D: geom.NewFrame(p.ray.D).World(geom.Vec{X: sin * k, Y: sin * s, Z: cos}).Unit()}
	p.chain = unconnected
	p.sharp, p.seen, p.past, p.wet = false, false, false, false
	p.mask = frozen.ShadowRays
	return true
}

// channelOdds returns the probabilities with which the channels are chosen: in proportion to what they carry.
func channelOdds(b colour.RGB) colour.RGB {
	s := b[0] + b[1] + b[2]
	invariant.Density("what the channels carry", s)
	return b.Scale(1 / s)
}

// pickChannel chooses a channel and stretches u so that it can be used again.
func pickChannel(q colour.RGB, u *float64) int {
	if *u < q[0] {
		*u /= q[0]
		return 0
	}
	*u -= q[0]
	if *u < q[1] {
		*u /= q[1]
		return 1
	}
	*u = min((*u-q[1])/q[2], 1-1e-16)
	if q[2] <= 0 || math.IsNaN(*u) {
		*u = 0.5
		if q[1] > 0 {
			return 1
		}
		return 0
	}
	return 2
}
