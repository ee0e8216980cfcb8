package eye

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// irisSpot is a place on the iris.
type irisSpot struct {
	x, y       float64 // of its plane, mm
	theta, rho float64 // angle, and 0 at the pupil's margin to 1 at the root
	cos, sin   float64
	d          float64 // from the margin, mm; infinite in the outer half
	stroma     float64 // what of it is there beneath the layers
}

// irisLayer is a layer of the iris with its field, a value a pixel.
type irisLayer struct {
	*Layer
	gain     float64
	at, mask []float32
}

// painted returns the tissue with its colours: the patterns with the layers of p on them. keep holds each layer's field, and the colours.
func (t *tissue) painted(p *Params, keep Keep) *tissue {
	form := Repaint(*p, Params{MapSize: p.MapSize})
	field := func(l *Layer) []float32 {
		return keep("field "+l.Name, []any{form, l.bare(), p.Pattern.Freckles}, func() any { return t.field(t.pa.fieldAt(p, l)) }).([]float32)
	}
	var ls []irisLayer
	inputs := []any{form, p.Pattern, p.Sector.Pattern, p.Zones}
	for i := range p.Paint {
		l := &p.Paint[i]
		k := irisLayer{Layer: l, gain: p.gain(l)}
		if k.gain == 0 || !l.OfIris() || l.Kind == "limbus" {
			continue
		}
		inputs = append(inputs, l, k.gain)
		m := p.layer(l.Mask)
		if m != nil && m.OfIris() {
			inputs = append(inputs, m)
		} else {
			m = nil
		}
		if k.at = field(l); m != nil {
			k.mask = field(m)
		}
		ls = append(ls, k)
	}
	q := *t
	q.colour = keep("iris colour", inputs, func() any { return t.blended(p, ls) }).([]colour.RGB)
	q.ring = q.rims()
	return &q
}

// spot returns a pixel's place; ok is false where there is nothing.
func (t *tissue) spot(i, j int) (s irisSpot, ok bool) {
	at := j*t.n + i
	if t.s[at] < 0 {
		return s, false
	}
	s.stroma, s.theta, s.rho = float64(t.s[at]), float64(t.theta[at]), float64(t.rho[at])
	s.x, s.y = t.place(i, j)
	s.sin, s.cos = math.Sincos(s.theta)
	s.d = math.Inf(1)
	if s.rho < 0.5 {
		s.d = s.rho * (t.pa.ir.root - t.pa.ir.edge(s.cos, s.sin))
	}
	return s, true
}

// field computes a layer's field at every pixel.
func (t *tissue) field(f func(q *irisSpot) float64) []float32 {
	out := make([]float32, t.n*t.n)
	parallel.Runs(t.n, 8, func(j0, j1 int) {
		s := new(irisSpot) // one for all: f may keep it from the stack
		for j := j0; j < j1; j++ {
			for i := range t.n {
				var ok bool
				if *s, ok = t.spot(i, j); ok {
					out[j*t.n+i] = float32(f(s))
				}
			}
		}
	})
	return out
}

// rims returns the mean colour of the iris' last tenth by the clock, even over some 30 degrees.
func (t *tissue) rims() (out [rimSteps]colour.RGB) {
	var raw [rimSteps]colour.RGB
	for i := range raw {
		for k := range 8 {
			x, y := t.pa.ir.planar(2*math.Pi*float64(i)/rimSteps, 0.88+0.1*float64(k)/7)
			raw[i] = raw[i].Add(t.albedo(x, y).Scale(1.0 / 8))
		}
	}
	for i := range out {
		const reach = rimSteps / 24
		for k := -reach; k <= reach; k++ {
			out[i] = out[i].Add(raw[(i+k+rimSteps)%rimSteps].Scale(1.0 / (2*reach + 1)))
		}
	}
	return out
}

// rim returns the mean colour of the iris near its root at an angle about the axis.
func (t *tissue) rim(theta float64) colour.RGB {
	x := (theta/(2*math.Pi) + 1) * rimSteps
	i := int(x)
	return colour.Lerp(t.ring[i%rimSteps], t.ring[(i+1)%rimSteps], x-float64(i))
}

// blended computes the colours.
func (t *tissue) blended(p *Params, ls []irisLayer) []colour.RGB {
	out := make([]colour.RGB, t.n*t.n)
	parallel.Runs(t.n, 8, func(j0, j1 int) {
		over := make([]laidOver, 0, len(ls))
		for at := j0 * t.n; at < j1*t.n; at++ {
			if t.s[at] < 0 {
				out[at] = colour.Grey(leastAlbedo)
				continue
			}
			out[at] = t.albedoOf(0, &p.Pattern, at, ls, over)
			if len(t.under) > 1 {
				if k := t.pa.sector.weight(float64(t.theta[at]), float64(t.rho[at]), t.pa.seed); k > 0 {
					out[at] = colour.Lerp(out[at], t.albedoOf(1, &p.Sector.Pattern, at, ls, over), k)
				}
			}
		}
	})
	t.graded(&p.Zones, out)
	return out
}

// laidOver is a layer of colour with its field at a place.
type laidOver struct {
	l *irisLayer
	f float64
}

// albedoOf returns the albedo of one pattern at a pixel, under the layers: those of stroma and pigment first. over is room for
// the others.
func (t *tissue) albedoOf(which int, pat *IrisPattern, at int, ls []irisLayer, over []laidOver) colour.RGB {
	u := &t.under[which]
	s, m := float64(u.s[at]), t.pigment(u, pat, at)
	for i := range ls {
		l := &ls[i]
		f := l.gain * float64(l.at[at])
		if f != 0 && l.mask != nil {
			f *= l.share(float64(l.mask[at]))
		}
		switch {
		case f == 0:
		case l.Into == "stroma":
			s = max(0, l.mix(s, f*pat.own(l.Layer), l.Colour[0]))
		case l.Into == "pigment":
			m = max(0, l.mix(m, f*pat.own(l.Layer), l.Colour[0]))
		default:
			over = append(over, laidOver{l, f})
		}
	}
	a := pat.blend(s*pat.Stroma, m)
	for i := range over {
		a = over[i].l.blend(a, over[i].f)
	}
	for i := range a {
		a[i] = min(mostAlbedo, math.Hypot(leastAlbedo, a[i]))
	}
	return a
}

// own returns what the pattern multiplies a layer by.
func (p *IrisPattern) own(l *Layer) float64 {
	if l.Kind == "ring" {
		return p.LimbalRing
	}
	return 1
}

// freckle is a patch of pigment on the surface.
type freckle struct{ x, y, r, m float64 }

// sprinkle places freckles.
func (pa *painter) sprinkle(seed uint64, n int) []freckle {
	r := stream(seed, "freckles")
	var out []freckle
	for range n {
		a, rho := 2*math.Pi*r.Float64(), 0.12+0.8*r.Float64()
		x, y := pa.ir.planar(a, rho)
		out = append(out, freckle{x, y, 0.05 + 0.16*r.Float64()*r.Float64(), 0.5 + 1.1*r.Float64()})
	}
	return out
}

// fieldAt returns the field of a layer of the iris as a function of the place.
func (pa *painter) fieldAt(p *Params, l *Layer) func(q *irisSpot) float64 {
	seed := l.seed(p)
	switch l.Kind {
	case "freckles":
		n := l.Count
		if n < 0 {
			n = p.Pattern.Freckles
		}
		all := pa.sprinkle(seed, n)
		return func(q *irisSpot) (f float64) {
			for _, k := range all {
				dx, dy := q.x-k.x, q.y-k.y
				if dx*dx+dy*dy > 9*k.r*k.r {
					continue
				}
				e := math.Sqrt(dx*dx+dy*dy) / (k.r * (1 + 0.5*noise3(seed+65, 9*q.x, 9*q.y, 0.3)))
				f += k.m * geom.Smoothstep(1.2, 0.5, e)
			}
			return f * (0.5 + 0.5*min(1, q.stroma))
		}
	case "ring":
		return func(q *irisSpot) float64 {
			if q.rho < 0.6 {
				return 0
			}
			flame := noise3(seed+61, 5.5*q.cos, 5.5*q.sin, 1.1*q.rho)
			// At the sides the cornea's edge darkens the rim by itself.
			return (0.3 + 0.7*q.sin*q.sin) * geom.Smoothstep(0.74, 1.0, q.rho+0.03*flame+0.07*noise3(seed+68, 1.4*q.cos, 1.4*q.sin, 0.5)+0.03*noise3(seed+69, 5*q.cos, 5*q.sin, 0.5))
		}
	case "ruff", "beads":
		// The brown edge of the pigment epithelium, rolled round the margin in beads with valleys between.
		beads := l.Kind == "beads"
		return func(q *irisSpot) float64 {
			bead := pa.ruff.at(q.theta)
			if q.d > bead {
				return 0
			}
			f := geom.Smoothstep(bead, 0.6*bead, q.d)
			if beads {
				f *= 1 - pa.beadLight(q.theta)
			}
			return f
		}
	case "arcus":
		// Lipid in the rim of the cornea, seen as a pale ring that stops short of the limbus.
		return func(q *irisSpot) float64 {
			e := (q.rho - 0.86 + 0.02*noise3(seed+73, 2*q.cos, 2*q.sin, 0.5)) / 0.075
			return math.Exp(-e*e) * (0.75 + 0.25*q.sin*q.sin)
		}
	}
	// A veil over all.
	return func(q *irisSpot) float64 {
		return 0.75 + 0.35*fbm3(seed+74, 0.3*q.x, 0.3*q.y, 0.5, 4)
	}
}
