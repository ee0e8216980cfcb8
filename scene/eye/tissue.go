package eye

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// tissue is the baked relief and make-up of the iris: strands in two decks, drawn once, from which both the height
// and the colour are read, so that what stands up is also what shines.
type tissue struct {
	ir      *iris
	pat     IrisPattern
	seed    uint64
	l       *layer
	broad   []float32 // heights smoothed over a strand's neighbourhood, for the shade in gaps
	crypts  []crypt
	furrows []furrow
	spots   []spot
	top     float64 // mm of height that counts as 1
}

// crypt is an opening in the upper deck: a lens in (theta, rho).
type crypt struct{ theta, rho, a, b float64 }

// furrow is a contraction furrow: part of a ring.
type furrow struct{ rho, theta, half, wave, depth float64 }

type spot struct{ x, y, r, m float64 }

// reliefScale is the height of strands above the ground that is drawn, before IrisRelief scales it, in mm.
const reliefScale = 0.2

func newTissue(p *Params, ir *iris) *tissue {
	ppm := 120 * float64(p.MapSize) / 2048
	ppm = math.Max(24, math.Min(ppm, 240))
	n := int(2 * (ir.lip + 0.3) * ppm)
	t := &tissue{ir: ir, pat: p.Pattern, seed: p.Seed, l: newLayer(n, ppm), top: reliefScale}
	rng := stream(p.Seed, "tissue")
	t.openings(rng)
	t.ground()
	var s []stroke
	s = t.strands(s, rng, deck{count: 300, w0: 0.022, w1: 0.045, z: 0.015, from: 0.04, to: 1.06, wander: 0.035, stroma: 0.42, gap: 0.10})
	t.l.draw(s)
	s = t.bundles(s[:0], rng)
	s = t.pupillary(s, rng)
	t.l.draw(s)
	t.l.draw(t.collarette(rng))
	t.l.draw(t.ruff(rng))
	t.broad = t.l.blur(t.l.h, 0.09*ppm)
	return t
}

// openings places crypts, furrows and pigment spots.
func (t *tissue) openings(rng *rand.Rand) {
	for i := range t.pat.Crypts {
		c := crypt{theta: 2 * math.Pi * (float64(i) + 0.9*rng.Float64()) * 0.6180339887498949, rho: 0.36 + 0.12*rng.Float64()}
		if rng.Float64() < 0.35 {
			c.rho = 0.66 + 0.28*rng.Float64()
		}
		size := 0.35 + rng.Float64()*rng.Float64()*1.1
		c.a, c.b = 0.055*size, 0.085*size*(0.7+0.6*rng.Float64())
		t.crypts = append(t.crypts, c)
	}
	for i := range t.pat.Furrows {
		for range 2 + rng.IntN(2) {
			t.furrows = append(t.furrows, furrow{
				rho:   0.52 + 0.42*(float64(i)+0.4*rng.Float64())/float64(max(1, t.pat.Furrows)),
				theta: 2 * math.Pi * rng.Float64(), half: 0.35 + 0.8*rng.Float64(), wave: 2 * math.Pi * rng.Float64(), depth: 0.25 + 0.5*rng.Float64(),
			})
		}
	}
	for range t.pat.Freckles {
		th, rh := 2*math.Pi*rng.Float64(), 0.35+0.55*rng.Float64()
		x, y := t.ir.planar(th, rh)
		t.spots = append(t.spots, spot{x, y, 0.05 + 0.16*rng.Float64()*rng.Float64(), 0.8 + 1.4*rng.Float64()})
	}
}

// opening returns how far inside a crypt (theta, rho) lies: 1 in its middle, 0 outside.
func (t *tissue) opening(theta, rho float64) float64 {
	best := 0.0
	for i := range t.crypts {
		c := &t.crypts[i]
		d := math.Remainder(theta-c.theta, 2*math.Pi) / c.a
		e := (rho - c.rho) / c.b
		if q := d*d + e*e; q < 1 {
			best = max(best, 1-q)
		}
	}
	return best
}

// push returns the angle by which a strand at (theta, rho) gives way to the crypts.
func (t *tissue) push(theta, rho float64) float64 {
	sum := 0.0
	for i := range t.crypts {
		c := &t.crypts[i]
		e := (rho - c.rho) / c.b
		if e < -1.6 || e > 1.6 {
			continue
		}
		d := math.Remainder(theta-c.theta, 2*math.Pi)
		f := math.Exp(-1.4*e*e) * math.Exp(-math.Abs(d)/(1.1*c.a))
		sum += math.Copysign(0.85*c.a*f, d)
	}
	return sum
}

// ground fills the layer with the deep deck: dark, uneven, sloping with low noise.
func (t *tissue) ground() {
	l := t.l
	parallel(l.n, 16, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range l.n {
				x, y := l.place(i, j)
				at := j*l.n + i
				l.h[at] = float32(0.012 * fbm3(t.seed^0x51, 1.3*x, 1.3*y, 0, 3))
				l.s[at] = float32(0.20 + 0.10*fbm3(t.seed^0x52, 2*x, 2*y, 0, 4))
				l.m[at] = 0.8
			}
		}
	})
}

// deck describes a set of single strands.
type deck struct {
	count    int
	w0, w1   float64 // half widths, mm
	z        float64 // height of their axis, mm
	from, to float64 // rho
	wander   float64 // rad
	stroma   float64
	gap      float64 // share left out
}

// strand appends a strand as strokes. at gives theta for each rho.
func (t *tissue) strand(s []stroke, from, to float64, steps int, at func(rho float64) float64, bead1 func(rho, u float64) bead) []stroke {
	var last bead
	for k := 0; k <= steps; k++ {
		u := float64(k) / float64(steps)
		rho := from + (to-from)*u
		th := at(rho)
		var x, y float64
		if rho <= 1 {
			x, y = t.ir.planar(th, max(0, rho))
		} else {
			r := t.ir.root + (rho-1)*(t.ir.root-t.ir.pupil)
			x, y = r*math.Cos(th), r*math.Sin(th)
		}
		b := bead1(rho, u)
		b.x, b.y = float32(x), float32(y)
		if k > 0 {
			s = append(s, stroke{last, b})
		}
		last = b
	}
	return s
}

func (t *tissue) strands(s []stroke, rng *rand.Rand, d deck) []stroke {
	for i := range d.count {
		th0 := 2 * math.Pi * (float64(i) + 0.8*rng.Float64()) / float64(d.count)
		seed := rng.Uint64()
		w := d.w0 + (d.w1-d.w0)*rng.Float64()
		skip := rng.Float64() < d.gap
		st := d.stroma * (0.7 + 0.6*rng.Float64())
		if skip {
			continue
		}
		s = t.strand(s, d.from, d.to, 26, func(rho float64) float64 {
			return th0 + d.wander*fbm1(seed, 3.5*rho, 3) + 0.4*t.push(th0, rho)
		}, func(rho, u float64) bead {
			return bead{w: float32(w * (0.75 + 0.5*noise1(seed^1, 7*rho)*0.5)), z: float32(d.z * (1 + 0.6*noise1(seed^2, 5*rho))), s: float32(st * (1 + 0.3*noise1(seed^3, 9*rho))), m: 0.9}
		})
	}
	return s
}

// bundles draws the upper deck of the ciliary zone: bundles that gather at the collarette and fan out, split and
// cross on their way to the root, each of a few strands.
func (t *tissue) bundles(s []stroke, rng *rand.Rand) []stroke {
	th := 0.0
	for th < 2*math.Pi-0.02 {
		width := 0.05 + 0.10*rng.Float64()*rng.Float64() + 0.02*rng.Float64()
		centre := th + width/2
		th += width * (0.75 + 0.65*rng.Float64())
		seed := rng.Uint64()
		if rng.Float64() < 0.06 {
			continue
		}
		lift := 0.05 + 0.07*rng.Float64()
		stroma := 0.65 + 0.5*rng.Float64()
		pigment := 0.8 + 0.5*rng.Float64()
		tilt := 0.06 * rng.NormFloat64()
		n := 3 + rng.IntN(5)
		for k := range n {
			f := (float64(k)+0.5)/float64(n) - 0.5 + 0.12*rng.NormFloat64()
			ss := rng.Uint64()
			w := 0.02 + 0.022*rng.Float64()
			end := 1.05
			if rng.Float64() < 0.2 {
				end = 0.6 + 0.35*rng.Float64()
			}
			start := 0.29 + 0.05*rng.NormFloat64()*0.4
			cross := 0.25 * rng.NormFloat64()
			s = t.strand(s, start, end, 30, func(rho float64) float64 {
				open := geom.Smoothstep(0.27, 0.62, rho) // gathers at the collarette
				a := centre + width*f*(0.35+0.75*open) + width*cross*open*rho
				a += tilt*(rho-0.3) + 0.05*fbm1(seed, 2.6*rho, 2) + 0.022*fbm1(ss, 6*rho, 3)
				return a + t.push(a, rho)
			}, func(rho, u float64) bead {
				th := centre + width*f
				dive := 1 - 0.9*t.opening(th, rho)
				fade := geom.Smoothstep(0, 0.12, u) * (1 - 0.6*geom.Smoothstep(0.8, 1, u))
				z := lift * (0.5 + 0.5*math.Sin(math.Pi*min(1, 1.2*u))) * (1 + 0.5*noise1(ss^2, 6*rho)) * dive
				return bead{w: float32(w * (0.55 + 0.45*fade) * (1 + 0.3*noise1(ss^3, 8*rho))), z: float32(z),
					s: float32(stroma * (0.75 + 0.25*fade) * (1 + 0.25*noise1(ss^4, 11*rho))), m: float32(pigment)}
			})
		}
	}
	return s
}

// pupillary draws the fine strands between collarette and margin.
func (t *tissue) pupillary(s []stroke, rng *rand.Rand) []stroke {
	const n = 190
	for i := range n {
		th0 := 2 * math.Pi * (float64(i) + rng.Float64()) / n
		seed := rng.Uint64()
		w := 0.014 + 0.014*rng.Float64()
		to := 0.30 + 0.06*rng.NormFloat64()*0.5
		st := 0.6 + 0.35*rng.Float64()
		if rng.Float64() < 0.12 {
			continue
		}
		s = t.strand(s, 0.02, to, 12, func(rho float64) float64 {
			return th0 + 0.05*fbm1(seed, 6*rho, 2)
		}, func(rho, u float64) bead {
			return bead{w: float32(w), z: float32(0.03 + 0.03*noise1(seed^1, 8*rho)), s: float32(st), m: float32(1 + 0.3*noise1(seed^2, 4*rho))}
		})
	}
	return s
}

// collarette draws the broken, wavy ring where the two zones meet.
func (t *tissue) collarette(rng *rand.Rand) []stroke {
	var s []stroke
	seed := rng.Uint64()
	for pass := range 3 {
		const n = 420
		var last bead
		ok := false
		for k := 0; k <= n; k++ {
			th := 2 * math.Pi * float64(k%n) / n
			c, d := math.Cos(th), math.Sin(th)
			// Noise on a circle closes on itself.
			rho := 0.305 + 0.055*fbm3(seed^uint64(pass), 2.1*c, 2.1*d, float64(pass), 3) + 0.03*fbm3(seed^9, 7*c, 7*d, float64(pass), 2)
			there := fbm3(seed^77, 3*c, 3*d, 1.7*float64(pass), 2) > -0.12
			x, y := t.ir.planar(th, rho)
			v := fbm3(seed^5, 9*c, 9*d, float64(pass), 2)
			b := bead{x: float32(x), y: float32(y), w: float32(0.035 + 0.02*v), z: float32(0.085 + 0.03*v), s: float32(0.85 + 0.3*v), m: 1.15}
			if ok && there {
				s = append(s, stroke{last, b})
			}
			last, ok = b, there
		}
	}
	return s
}

// ruff draws the dark beads of the pigment layer that curl round the margin.
func (t *tissue) ruff(rng *rand.Rand) []stroke {
	var s []stroke
	n := 70
	for i := range n {
		th := 2 * math.Pi * (float64(i) + 0.5*rng.Float64()) / float64(n)
		len := 0.05 + 0.05*rng.Float64()
		x0, y0 := t.ir.margin(th, 0)
		x1, y1 := t.ir.margin(th+0.01*rng.NormFloat64(), len)
		w := float32(0.05 + 0.025*rng.Float64())
		s = append(s, stroke{bead{float32(x0), float32(y0), w, 0.045, 0.12, 4}, bead{float32(x1), float32(y1), w * 0.8, 0.03, 0.2, 3}})
	}
	return s
}

// height returns the relief at a point of the iris plane, about 0 at the ground and 1 on ridges. It fades out at the
// margin's rounding and at the root.
func (t *tissue) height(x, y float64) float64 {
	h := t.l.sample(t.l.h, x, y) / t.top
	th, rho := t.ir.polar(x, y)
	h -= t.furrow(th, rho)
	mean := 0.25
	edge := geom.Smoothstep(-0.01, 0.06, rho) * (1 - geom.Smoothstep(0.93, 1.05, rho))
	return (h - mean) * edge
}

func (t *tissue) furrow(theta, rho float64) float64 {
	sum := 0.0
	for i := range t.furrows {
		f := &t.furrows[i]
		d := math.Abs(math.Remainder(theta-f.theta, 2*math.Pi)) / f.half
		if d >= 1 {
			continue
		}
		e := (rho - f.rho - 0.012*math.Sin(5*theta+f.wave)) / 0.016
		if e*e < 9 {
			sum += 0.35 * f.depth * (1 - d*d) * math.Exp(-0.5*e*e)
		}
	}
	return sum
}

// colour returns the albedo of bare tissue at a point of the iris plane.
func (t *tissue) colour(x, y float64) colour.RGB {
	l, p := t.l, &t.pat
	th, rho := t.ir.polar(x, y)
	h := l.sample(l.h, x, y)
	s := l.sample(l.s, x, y)
	m := l.sample(l.m, x, y)
	// Gaps lie in the shade of what stands around them, ridges catch more.
	rel := (h - l.sample(t.broad, x, y)) / 0.05
	shade := math.Exp(0.30 * max(-1.6, min(1.2, rel)))
	// Pigmented border layers level the fibres.
	s = s*(1-0.55*p.Velvet) + 0.55*p.Velvet*0.55
	stroma := p.Stroma * max(0, s) * shade
	patch := 1 + p.Patchiness*1.3*fbm3(t.seed^0x71, 0.55*x, 0.55*y, 3, 4)
	base := p.CiliaryPigment
	base += (p.PupillaryPigment - base) * (1 - geom.Smoothstep(0.20, 0.50, rho+0.07*fbm3(t.seed^0x72, 1.5*x, 1.5*y, 0, 3)))
	base += (p.OuterPigment - base) * geom.Smoothstep(0.70, 1.0, rho)
	pig := max(0, base*patch) * m
	for i := range t.spots {
		sp := &t.spots[i]
		dx, dy := x-sp.x, y-sp.y
		q := (dx*dx + dy*dy) / (sp.r * sp.r)
		if q < 4 {
			pig += sp.m * math.Exp(-1.5*q) * (1 + 0.5*fbm3(t.seed^0x73, 9*x, 9*y, 0, 2))
		}
	}
	ring := 1 - 0.75*p.LimbalRing*geom.Smoothstep(0.74, 1.02, rho+0.03*fbm3(t.seed^0x74, 1.2*x, 1.2*y, 5, 2))
	ring *= 1 - 0.25*t.furrow(th, rho)
	// The root sinks into grey limbal tissue.
	var c colour.RGB
	for i := range c {
		back := 0.62 * (1 - math.Exp(-1.05*stroma*p.StromaHue[i]))
		c[i] = (p.Ground[i] + back) * math.Exp(-0.62*pig*p.PigmentHue[i]) * ring
		c[i] = max(0.012, min(c[i], 0.5))
	}
	return c
}
