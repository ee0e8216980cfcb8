package eye

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
)

// grower grows the strands of one iris. The stroma of a real iris is strands of collagen and vessels in loose bundles
// that gather at the collarette, fan out, split and cross; where they part, crypts show the deck beneath. Strands
// are grown here in the same order: a lower deck, bundles with their strands over it, oblique strands between,
// then the collarette's arcades and the pupillary zone.
//
// Source of the idea that fibres come first, and height and colour both from them: Zuo, Schmalz and Schmid, On
// Generation and Analysis of Synthetic Iris Images, IEEE TIFS 2 (2007). The anatomy: Hogan, Alvarado and Weddell,
// Histology of the Human Eye (1971). The shapes and numbers are our own, chosen by eye.
type grower struct {
	ir      *iris
	seed    uint64
	rng     *rand.Rand
	width   float64 // from margin to root, mm
	wave    float64 // how much fibres wander; more when the pupil is wide and the iris short
	crypts  []crypt
	strokes []stroke
	under   int // how many of the strokes are the lower deck's
	bundles []bundle
}

// knots is the number of pieces of a strand that runs from margin to root.
const knots = 60

// mostLean is how far a strand that leaves for the next bundle leans, lateral over radial: a quarter of a right angle. Steeper ones
// are straight scratches across the fibres. Common practice, no published source.
const mostLean = 0.4

// bundle is a run of strands: its centre line by knot, as angle, and what its strands share.
type bundle struct {
	theta [knots + 1]float64
	half  [knots + 1]float64 // half width, mm
	size  float64
	level float64 // mm
	split float64 // rho at which it forks
	fork  float64 // how far each branch goes aside at the root, mm
	s, m  float64
}

func newGrower(p *Params, ir *iris) *grower {
	g := &grower{ir: ir, rng: stream(p.Seed, "fibres"), seed: stream(p.Seed, "iris").Uint64()}
	g.width = ir.root - ir.pupil
	g.wave = min(1.8, max(0.7, 0.68*ir.root/g.width))
	return g
}

// radius returns the mean distance from the axis at rho, mm.
func (g *grower) radius(rho float64) float64 { return g.ir.pupil + rho*g.width }

// collarette returns rho of the collarette at an angle: about a third of the way out, in uneven teeth.
func (g *grower) collarette(theta float64) float64 {
	s, c := math.Sincos(theta)
	broad := noise3(g.seed+1, 1.1*c, 1.1*s, 0.5)
	teeth := 1 - 2.4*math.Abs(noise3(g.seed+2, 3.6*c, 3.6*s, 3.5))
	fine := noise3(g.seed+3, 7*c, 7*s, 1.5)
	return 0.28 + 0.05*broad + 0.05*teeth + 0.018*fine
}

// grow makes the strokes.
func (g *grower) grow(p *Params) {
	g.openCrypts(p.Pattern.Crypts)
	g.deck(520, 0.009, 0.019, -0.03, 0.30, 0.1)
	g.deck(330, 0.012, 0.026, 0.02, 0.58, 0.3)
	g.under = len(g.strokes)
	g.layBundles()
	mark := len(g.strokes)
	g.upperDeck()
	g.trunks()
	g.oblique()
	if p.Own != nil && len(p.Own.Clusters) > 0 {
		g.strokes = g.strokes[:mark] // they were drawn from the one stream, so that what follows stays as it is
		g.own(p.Own)
	}
	g.pupillary()
	g.arcades()
}

// turn brings an angle into [-pi, pi).
func turn(a float64) float64 { return a - 2*math.Pi*math.Floor(a/(2*math.Pi)+0.5) }

// part bends a strand's angles round the crypts. At its middle a crypt moves a strand at lateral distance q, on the
// side where the strand passes the crypt's centre, to (q + sqrt(q^2 + 4 a^2))/2, as a streamline passes an obstacle.
func (g *grower) part(theta *[knots + 1]float64, share float64) {
	for i := range g.crypts {
		c := &g.crypts[i]
		mid := min(knots, max(0, int(c.rho*knots+0.5)))
		x := turn(theta[mid]-c.theta) * g.radius(c.rho)
		if math.Abs(x) > 6*c.a {
			continue
		}
		side := 1.0
		if x < 0 {
			side = -1
		}
		reach := 1.25 * c.b / g.width
		k0, k1 := max(0, int((c.rho-reach)*knots)), min(knots, int((c.rho+reach)*knots)+1)
		for k := k0; k <= k1; k++ {
			rho := float64(k) / knots
			t := (rho - c.rho) / reach
			if t*t >= 1 {
				continue
			}
			a := c.a * share * (1 - t*t) * (1 - 0.25*t*t)
			r := g.radius(rho)
			q := side * turn(theta[k]-c.theta) * r
			push := (math.Sqrt(q*q+4*a*a) - q) / 2
			far := q / (4.5 * c.a)
			theta[k] += side * push * math.Exp(-far*far) / r
		}
	}
}

// drift is how far the whole fabric leans aside at a place, mm; neighbours share it.
func (g *grower) drift(theta, rho float64) float64 {
	s, c := math.Sincos(theta)
	return g.wave * (0.20*noise3(g.seed+11, 1.6*c, 1.6*s, 1.6*rho) + 0.06*noise3(g.seed+12, 4.2*c, 4.2*s, 3.1*rho))
}

// strand appends a strand: theta by knot, from rho0 to rho1; f gives half width, level, stroma and pigment at rho.
func (g *grower) strand(theta *[knots + 1]float64, rho0, rho1 float64, f func(rho float64) (w, z, s, m float64)) {
	at := func(rho float64) bead {
		k := min(knots-1, max(0, int(rho*knots)))
		t := rho*knots - float64(k)
		th := theta[k] + t*(theta[k+1]-theta[k])
		w, z, s, m := f(rho)
		if rho > 1 {
			// Past the root, under the limbus: along the radius.
			sin, cos := math.Sincos(th)
			r := g.radius(rho)
			return bead{float32(r * cos), float32(r * sin), float32(w), float32(z), float32(s), float32(m)}
		}
		x, y := g.ir.planar(th, rho)
		return bead{float32(x), float32(y), float32(w), float32(z), float32(s), float32(m)}
	}
	n := max(2, int(math.Ceil((rho1-rho0)*knots)))
	last := at(rho0)
	for i := 1; i <= n; i++ {
		b := at(rho0 + (rho1-rho0)*float64(i)/float64(n))
		g.strokes = append(g.strokes, stroke{last, b})
		last = b
	}
}

// deck grows n single strands from margin to root: half widths w0 to w1 mm, about level mm high, with a share of
// stroma; give is how far they make way for crypts.
func (g *grower) deck(n int, w0, w1, level, stroma, give float64) {
	r := g.rng
	tuft := r.Uint64()
	for i := range n {
		base := 2 * math.Pi * (float64(i) + 0.9*(r.Float64()-0.5)) / float64(n)
		sin, cos := math.Sincos(base)
		base += 0.03 * noise3(tuft, 7*cos, 7*sin, 0.7) // tufts and gaps
		seed := r.Uint64()
		w := w0 + (w1-w0)*r.Float64()
		if level > 0 && r.Float64() < 0.25-0.6*noise3(tuft+1, 1.7*cos, 1.7*sin, 0.3) {
			continue // thin in some sectors
		}
		z0 := level + 0.012*r.NormFloat64()
		s0 := stroma * math.Exp(0.22*r.NormFloat64())
		m0 := 1.1 * math.Exp(0.25*r.NormFloat64())
		var th [knots + 1]float64
		for k := range th {
			rho := float64(k) / knots
			mm := rho * g.width
			x := 0.85*g.drift(base, rho) + g.wave*(0.07*noise1(seed, mm/1.2)+0.022*noise1(seed+1, mm/0.45))
			th[k] = base + x/g.radius(rho)
		}
		g.part(&th, give)
		rho0, rho1 := -0.02, 1.04
		if level > 0 {
			rho0 = g.collarette(base) + 0.1*(r.Float64()-0.6)
			if r.Float64() < 0.35 {
				rho1 = 0.55 + 0.5*r.Float64()
			}
			if r.Float64() < 0.3 {
				rho0 += 0.4 * r.Float64()
			}
			rho1 = max(rho1, rho0+0.2)
		}
		grow := 1 + 0.6*r.Float64() // strands widen outward
		g.strand(&th, rho0, rho1, func(rho float64) (hw, z, s, m float64) {
			mm := rho * g.width
			sink := 0.0
			if level > 0 {
				sink = geom.Smoothstep(rho1-0.15, rho1, rho) + geom.Smoothstep(rho0+0.08, rho0, rho)
			}
			z = z0 + 0.018*noise1(seed+2, mm/0.6) - 0.06*sink
			return w * (1 + (grow-1)*rho) * (1 - 0.4*sink), z, max(0.1, s0*(1+0.3*noise1(seed+3, mm/0.5))), m0
		})
	}
}

// layBundles lays the centre lines of the upper deck at uneven spacing.
func (g *grower) layBundles() {
	r := g.rng
	n := 62 + r.IntN(12)
	gaps := make([]float64, n)
	sum := 0.0
	for i := range gaps {
		a := 2 * math.Pi * float64(i) / float64(n)
		s, c := math.Sincos(a)
		gaps[i] = math.Exp(0.38*r.NormFloat64()) * math.Exp(0.9*noise3(g.seed+21, 1.3*c, 1.3*s, 0.2))
		sum += gaps[i]
	}
	a := 2 * math.Pi * r.Float64()
	g.bundles = make([]bundle, n)
	for i := range g.bundles {
		a += 2 * math.Pi * gaps[i] / sum
		b := &g.bundles[i]
		seed := r.Uint64()
		b.size = math.Exp(0.32 * r.NormFloat64())
		b.level = 0.085 + 0.02*r.NormFloat64() + 0.02*(b.size-1)
		b.split = 0.4 + 0.4*r.Float64()
		b.fork = (0.05 + 0.17*r.Float64()) * (0.6 + 0.4*b.size)
		b.s = math.Exp(0.16 * r.NormFloat64())
		b.m = math.Exp(0.36 * r.NormFloat64())
		for k := range b.theta {
			rho := float64(k) / knots
			mm := rho * g.width
			x := g.drift(a, rho) + g.wave*(0.10*noise1(seed, mm/1.5)+0.045*noise1(seed+1, mm/0.55)+0.015*noise1(seed+2, mm/0.26))
			b.theta[k] = a + x/g.radius(rho)
			fan := 0.6 + 0.55*noise1(seed+3, mm/0.9)
			b.half[k] = b.size * (0.05 + 0.11*rho) * max(0.3, fan)
		}
	}
}

// upperDeck grows the strands of each bundle.
func (g *grower) upperDeck() {
	r := g.rng
	for i := range g.bundles {
		b := &g.bundles[i]
		n := max(6, int(15*b.size+4*r.Float64()))
		for j := range n {
			o := 2*(float64(j)+r.Float64())/float64(n) - 1
			g.bundleStrand(i, o)
		}
	}
}

// bundleStrand grows one strand of bundle i whose place across it is about o in [-1, 1].
func (g *grower) bundleStrand(i int, o float64) {
	r := g.rng
	b := &g.bundles[i]
	seed := r.Uint64()
	side := math.Copysign(1, o+0.5*r.NormFloat64())
	w0 := 0.009 + 0.012*r.Float64()*r.Float64() + 0.006*r.Float64()
	z0 := b.level + 0.01*r.NormFloat64()
	s0 := b.s * math.Exp(0.2*r.NormFloat64())
	m0 := b.m * math.Exp(0.22*r.NormFloat64())

	// Some strands leave for a neighbour, some end on the way.
	other, cross, crossLen := i, 2.0, 0.2
	if r.Float64() < 0.2 {
		other = (i + len(g.bundles) + 1 - 2*r.IntN(2)) % len(g.bundles)
		cross, crossLen = 0.32+0.35*r.Float64(), 0.3+0.25*r.Float64()
		// A step of third degree leans by 1.5 in its middle; where the neighbour is too far for the way that is left, it stays.
		gap := math.Abs(turn(g.bundles[other].theta[knots/2]-b.theta[knots/2])) * g.radius(0.5)
		crossLen = max(crossLen, 1.5*gap/(mostLean*g.width))
		if cross+crossLen > 1.1 {
			other = i
		}
	}
	end := 1.03
	if r.Float64() < 0.3 {
		end = 0.5 + 0.5*r.Float64()
	}
	var th, across [knots + 1]float64
	for k := range th {
		rho := float64(k) / knots
		mm := rho * g.width
		rad := g.radius(rho)
		q := 0.75*o + 0.5*noise1(seed, mm/0.9) + 0.12*noise1(seed+1, mm/0.35)
		across[k] = q
		t := b.theta[k]
		if other != i {
			t += turn(g.bundles[other].theta[k]-t) * geom.Smoothstep(cross, cross+crossLen, rho)
		}
		x := b.half[k]*q + side*b.fork*geom.Smoothstep(b.split, b.split+0.45, rho)
		th[k] = t + x/rad
	}
	share := 1.0
	if r.Float64() < 0.06 {
		share = 0.2 // a thread across the opening
		w0 *= 0.7
	}
	g.part(&th, share)
	c := g.collarette(th[3*knots/10])
	start := c + 0.06*(r.Float64()-0.75)
	if r.Float64() < 0.12 {
		start += 0.3 * r.Float64()
	}
	if end < start+0.15 {
		end = start + 0.15
	}
	g.strand(&th, start, end, func(rho float64) (w, z, s, m float64) {
		mm := rho * g.width
		q := across[min(knots, max(0, int(rho*knots)))]
		z = z0 + 0.03*b.size*(1-min(1.5, q*q)) + 0.02*noise1(seed+2, mm/0.7) + 0.02*noise1(seed+3, mm/1.9)
		sink := geom.Smoothstep(end-0.16, end, rho)
		rise := geom.Smoothstep(start, start+0.06, rho)
		z -= 0.10*sink + 0.03*geom.Smoothstep(0.8, 1, rho) + 0.05*(1-rise)
		thick := 1.25 - 0.35*geom.Smoothstep(c, c+0.4, rho)
		w = w0 * thick * (1 + 0.22*noise1(seed+4, mm/0.5)) * (1 - 0.5*sink) * (0.45 + 0.55*rise)
		s = s0 * (1 + 0.22*noise1(seed+5, mm/0.6)) * (1 - 0.45*sink)
		return w, z, s, m0
	})
}

// trunks grows the radial vessels of the stroma: thick, pale, winding strands that run in from the root on top of all others, fork now
// and then and thin out at the collarette. 0.04 to 0.09 mm wide; common practice, no published source.
func (g *grower) trunks() {
	r := g.rng
	n := 30 + r.IntN(10)
	for i := range n {
		a := 2 * math.Pi * (float64(i) + 1.2*(r.Float64()-0.5)) / float64(n)
		seed := r.Uint64()
		w0 := 0.018 + 0.026*r.Float64()*r.Float64()
		z0 := 0.115 + 0.015*r.NormFloat64()
		s0, m0 := 1.15*math.Exp(0.15*r.NormFloat64()), 0.8*math.Exp(0.3*r.NormFloat64())
		start := g.collarette(a) + 0.10*r.NormFloat64()
		if r.Float64() < 0.3 {
			start += 0.3 * r.Float64()
		}
		fork, side := 0.35+0.45*r.Float64(), 0.0
		if r.Float64() < 0.4 {
			side = 0.10 + 0.12*r.Float64()
		}
		for k := range 2 {
			if k == 1 && side == 0 {
				break
			}
			var th [knots + 1]float64
			for i := range th {
				rho := float64(i) / knots
				mm := rho * g.width
				x := g.drift(a, rho) + g.wave*(0.09*noise1(seed, mm/0.9)+0.04*noise1(seed+1, mm/0.33))
				x += float64(2*k-1) * side * geom.Smoothstep(fork, fork+0.5, rho)
				th[i] = a + x/g.radius(rho)
			}
			g.part(&th, 1)
			from := start
			if k == 1 {
				from = max(start, fork)
			}
			g.strand(&th, from, max(from+0.1, 1.03), func(rho float64) (w, z, s, m float64) {
				mm := rho * g.width
				rise := geom.Smoothstep(from-0.01, from+0.14, rho)
				z = z0 + 0.02*noise1(seed+2, mm/0.8) - 0.07*(1-rise) - 0.04*geom.Smoothstep(0.75, 1, rho)
				return w0 * (0.4 + 0.6*rise) * (1 + 0.25*noise1(seed+3, mm/0.4)), z, s0 * (1 + 0.15*noise1(seed+4, mm/0.5)) * (0.7 + 0.3*rise), m0
			})
		}
	}
}

// oblique grows short strands that cross between bundles.
func (g *grower) oblique() {
	r := g.rng
	for range 70 {
		a := 2 * math.Pi * r.Float64()
		rho0 := 0.34 + 0.5*r.Float64()
		rho1 := min(1.0, rho0+0.16+0.3*r.Float64())
		lean := 0.16 * r.NormFloat64() // lateral over radial
		seed := r.Uint64()
		z0, w0, s0 := 0.055+0.02*r.NormFloat64(), 0.007+0.006*r.Float64(), 0.55+0.12*r.NormFloat64()
		var th [knots + 1]float64
		for k := range th {
			rho := float64(k) / knots
			mm := (rho - rho0) * g.width
			x := g.drift(a, rho) + lean*mm + 0.05*noise1(seed, mm/0.5)
			th[k] = a + x/g.radius(rho)
		}
		g.part(&th, 0.9)
		g.strand(&th, rho0, rho1, func(rho float64) (w, z, s, m float64) {
			t := (rho - rho0) / (rho1 - rho0)
			e := 4 * t * (1 - t)
			return w0 * (0.5 + 0.5*e), z0 - 0.09*(1-e), max(0.2, s0), 1
		})
	}
}

// pupillary grows the fine strands between margin and collarette, in loose tufts.
func (g *grower) pupillary() {
	r := g.rng
	const n = 330
	for i := range n {
		base := 2 * math.Pi * (float64(i) + 0.8*(r.Float64()-0.5)) / n
		s, c := math.Sincos(base)
		base += 0.05*noise3(g.seed+31, 7*c, 7*s, 0.7) + 0.015*noise3(g.seed+32, 23*c, 23*s, 0.7)
		seed := r.Uint64()
		w0 := 0.007 + 0.018*r.Float64()*r.Float64()
		z0 := 0.05 + 0.018*r.NormFloat64()
		s0 := 0.8 * math.Exp(0.22*r.NormFloat64()+0.5*noise3(g.seed+33, 11*c, 11*s, 0.7))
		m0 := math.Exp(0.2 * r.NormFloat64())
		var th [knots + 1]float64
		for k := range th {
			rho := float64(k) / knots
			mm := rho * g.width
			x := 0.8*g.drift(base, rho) + g.wave*(0.06*noise1(seed, mm/0.6)+0.025*noise1(seed+1, mm/0.25))
			th[k] = base + x/g.radius(rho)
		}
		g.part(&th, 1)
		end := g.collarette(base) + 0.04*r.Float64()
		start := 0.0
		if r.Float64() < 0.3 {
			start = 0.6 * end * r.Float64()
		}
		g.strand(&th, start, end, func(rho float64) (w, z, s, m float64) {
			mm := rho * g.width
			t := rho / end
			z = z0 + 0.016*noise1(seed+2, mm/0.4) + 0.03*t*t
			return w0 * (0.8 + 0.5*t), z, s0 * (1 + 0.2*noise1(seed+3, mm/0.4)), m0
		})
	}
}

// arcades grows the collarette: short loops that join neighbouring bundles on their pupil side, and a few thin strands
// that follow its teeth for a while.
func (g *grower) arcades() {
	r := g.rng
	for i := range g.bundles {
		a := g.bundles[i].theta[knots/3]
		for range 3 {
			if r.Float64() < 0.3 {
				continue
			}
			b := g.bundles[(i+1+r.IntN(3))%len(g.bundles)].theta[knots/3]
			span := turn(b - a)
			if span < 0.03 || span > 0.42 {
				continue
			}
			c := g.collarette(a + span/2)
			deep := 0.03 + 0.07*r.Float64() + 0.15*span
			in := c - 0.035 + 0.04*r.Float64()
			skew := 0.3 * r.NormFloat64()
			w0, z0, s0 := 0.010+0.016*r.Float64(), 0.085+0.035*r.Float64(), 0.95+0.4*r.Float64()
			seed := r.Uint64()
			var last bead
			const n = 16
			for k := range n + 1 {
				u := float64(k) / n
				v := 2*u - 1
				rho := in + deep*(v*v+skew*v*(1-v*v)) + 0.01*noise1(seed, 4*u)
				x, y := g.ir.planar(a+span*u, max(0.03, rho))
				e := 1 - v*v*v*v
				bd := bead{float32(x), float32(y), float32(w0 * (0.55 + 0.45*e)), float32(z0 - 0.05*(1-e)), float32(s0 * (0.8 + 0.2*e)), 1.15}
				if k > 0 {
					g.strokes = append(g.strokes, stroke{last, bd})
				}
				last = bd
			}
		}
	}
	for range 4 {
		seed := r.Uint64()
		off := 0.03 * r.NormFloat64()
		w0 := 0.009 + 0.010*r.Float64()
		const n = 640
		at := func(i int) (bead, bool) {
			a := 2 * math.Pi * float64(i) / n
			s, c := math.Sincos(a)
			there := noise3(seed, 2.6*c, 2.6*s, 0) + 0.45*noise3(seed+1, 7*c, 7*s, 0)
			rho := g.collarette(a) + off + 0.03*noise3(seed+2, 5*c, 5*s, 0) + 0.02*noise3(seed+3, 13*c, 13*s, 0)
			fade := geom.Smoothstep(0, 0.25, there)
			x, y := g.ir.planar(a+g.drift(a, rho)/g.radius(rho), max(0.03, rho))
			return bead{float32(x), float32(y), float32(w0 * (0.5 + 0.5*fade)), float32(0.03 + 0.07*fade), float32(0.85 + 0.15*fade), 1.15}, fade > 0
		}
		last, ok := at(0)
		for i := 1; i <= n; i++ {
			b, now := at(i % n)
			if ok || now {
				g.strokes = append(g.strokes, stroke{last, b})
			}
			last, ok = b, now
		}
	}
}
