package pathtrace

import (
	"math"

	"catchlight/render/film"
	"catchlight/scene/geom"
)

// bookAlong books what a coat or film mirrors of the lights straight from direction d, at a hit where the path is mirrored that
// way by chance alone: gain times what each sends, for certain, instead of all of it seldom. A ray that is then mirrored and meets
// such a light by itself counts nothing (chain booked). Skies that are nearly even stay with the rays. pdf is the density of d
// where v was connected to the lights too, else 0. It returns the chain of a ray that goes on.
//
// A lid's skin sees a lamp in the tear film like this: of a hundred paths two are mirrored, and each brought the lamp's full
// radiance, which made single bright pixels.
func (t *Tracer) bookAlong(p *path, v *vertex, d geom.Vec, gain, pdf float64, out *film.Sample) chain {
	if !t.set.LightSamples {
		if pdf > 0 {
			return left
		}
		return unconnected
	}
	for i, l := range t.scene.Lights {
		if !t.scene.LightSampled[i] {
			continue
		}
		r, far, q := l.RadianceDir(d), math.Inf(1), 0.0
		if l.Finite() {
			dist, z, nz, ok := l.Intersect(v.p, d, 0, far)
			if !ok {
				continue
			}
			r, far = l.Radiance(z, d.Neg()), dist*(1-1e-6)
			if pdf > 0 {
				q = t.pdfToward(l, v.p, z, nz)
			}
		} else if pdf > 0 {
			q = l.PdfDir(v.p, d)
		}
		if !v.every {
			q *= t.scene.LightPick[i]
		}
		if r.Black() || t.blocked(v.p, d, far, i, p.mask) {
			continue
		}
		share := 1.0
		if pdf > 0 {
			share = pdf / (pdf + q)
		}
		in := p.nest
		t.add(i, v.class, Plainly, d, r.Mul(p.beta).Mul(t.transmittance(&in, v.p, d, far, p.mask)).Scale(gain*share), out)
	}
	return booked
}
