package eye

import "math"

// arcades grows what feeds the limbus: fine vessels that run in side by side, joined in arches, and from the arches hairpin
// loops in the palisades, short and radial, above and below more than at the sides.
//
// Sources for the form: Goldberg and Bron, Trans. Ophthalmol. Soc. UK 102 (1982), 201, from memory; distances by eye.
func (g *growth) arcades(limbus float64, l *Layer) {
	n := l.Trunks
	type post struct{ th, r float64 }
	arches := make([]post, n)
	for i := range arches {
		th := 2 * math.Pi * (float64(i) + 0.5*g.rng.Float64()) / float64(n)
		arches[i] = post{th, limbus + l.Gap + 0.25 + 0.6*g.rng.Float64()}
	}
	clear := func(th float64) float64 {
		s := math.Sin(th)
		return (0.5 + 0.7*s*s - 0.15*max(0, s)) * (0.75 + 0.5*noise3(g.seed^3, 3*math.Cos(th), 3*math.Sin(th), 0.5))
	}
	for i, a := range arches {
		c := clear(a.th)
		long := 0.7 + 1.3*g.rng.Float64()
		r := g.tip + (g.trunk-g.tip)*g.rng.Float64()*g.rng.Float64()
		// In from the white, thinning, fading in where it comes up.
		g.path(math.Hypot(long, 0.1), func(t float64) (rr, th, w, there float64) {
			return a.r + long*(1-t), a.th + 0.2/limbus*(1-t)*noise1(uint64(i)+g.seed, 1.6*long*t), r * (1 - 0.4*t), c * min(1, 3.2*t)
		})
		// The arch to the next one, bulging toward the cornea.
		b := arches[(i+1)%n]
		if g.rng.Float64() < 0.8 {
			gap := b.th - a.th
			if gap < 0 {
				gap += 2 * math.Pi
			}
			bulge := (0.12 + 0.12*g.rng.Float64()) * limbus * gap
			g.path(limbus*gap+0.3, func(t float64) (rr, th, w, there float64) {
				return a.r + t*(b.r-a.r) - bulge*math.Sin(math.Pi*t), a.th + t*gap, 0.6 * r, c
			})
		}
		// Loops from the arch: in along one side of a palisade and back along the other.
		for range 1 + g.rng.IntN(3) {
			th := a.th + 2*math.Pi/float64(n)*g.rng.Float64()
			in := (0.35 + 0.6*g.rng.Float64()) * (0.5 + 0.5*math.Abs(math.Sin(th)))
			bend := 0.065 + 0.03*g.rng.Float64() // radius of the turn
			lean, seed := 0.4*(g.rng.Float64()-0.5), g.rng.Uint64()
			from := a.r - 0.1
			whole := 2*in + math.Pi*bend
			g.path(whole, func(t float64) (rr, q, w, there float64) {
				s := whole * t
				off := bend
				switch {
				case s > in+math.Pi*bend:
					s, off = whole-s, -bend
				case s > in:
					sin, cos := math.Sincos((s - in) / bend)
					s, off = in+bend*sin, bend*cos
				}
				// Both sides of the ridge wave together.
				off += lean*s + 0.06*noise1(seed, s/0.4)
				return from - s, th + off/limbus, g.tip, 0.9 * clear(th)
			})
		}
	}
}

// path adds a vessel of about the given length, mm, from a curve over 0 to 1 in polar coordinates.
func (g *growth) path(length float64, at func(t float64) (r, th, radius, there float64)) {
	n := max(4, int(length/0.03))
	v := &vessel{}
	for i := range n + 1 {
		r, th, w, there := at(float64(i) / float64(n))
		v.joints = append(v.joints, joint{r * math.Cos(th), r * math.Sin(th), w, there})
	}
	g.out = append(g.out, v)
}
