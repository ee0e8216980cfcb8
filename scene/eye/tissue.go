package eye

import (
	"math"
	"math/rand/v2"
	"slices"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// tissue is the baked relief and colour of the iris over its plane.
type tissue struct {
	raster
	colour []colour.RGB         // albedo of bare tissue, one a pixel
	scale  float64              // height of one unit of relief, 1/mm of raw height
	middle float64              // raw height that is level 0, mm
	collar dial                 // rho of the collarette
	ring   [rimSteps]colour.RGB // mean colour near the root, by the clock

	under        []stuff   // what lies beneath the layers: of the pattern, and of the sector where there is one
	inner, outer []float32 // how much of a pixel belongs to the pupillary zone and to the outermost millimetre
	theta, rho   []float32 // polar coordinates of a pixel
	pa           *painter
}

// rimSteps is how many angles ring is tabled at.
const rimSteps = 256

// stuff is the stroma of one pattern, and its pigment for a zone of density 1, a value a pixel.
type stuff struct{ s, m []float32 }

// pigment returns the optical density of pigment at a pixel.
func (t *tissue) pigment(u *stuff, pat *IrisPattern, at int) float64 {
	inner, outer := float64(t.inner[at]), float64(t.outer[at])
	return float64(u.m[at]) * (pat.CiliaryPigment + inner*(pat.PupillaryPigment-pat.CiliaryPigment) + outer*(pat.OuterPigment-pat.CiliaryPigment))
}

// height returns the relief at a point of the iris plane in units of IrisRelief, about within [-0.6, 0.6].
func (t *tissue) height(x, y float64) float64 {
	return (t.sample(t.h, x, y) - t.middle) * t.scale
}

// albedo returns the colour at a point of the iris plane, bilinear.
func (t *tissue) albedo(x, y float64) colour.RGB {
	c := float64(t.n) / 2
	fx, fy := c+x*t.ppm-0.5, c-y*t.ppm-0.5
	fx, fy = min(float64(t.n-1), max(0, fx)), min(float64(t.n-1), max(0, fy))
	i, j := min(int(fx), t.n-2), min(int(fy), t.n-2)
	tx, ty := fx-float64(i), fy-float64(j)
	a := colour.Lerp(t.colour[j*t.n+i], t.colour[j*t.n+i+1], tx)
	b := colour.Lerp(t.colour[(j+1)*t.n+i], t.colour[(j+1)*t.n+i+1], tx)
	return colour.Lerp(a, b, ty)
}

// furrow is a contraction furrow: a partial arc about the pupil.
type furrow struct {
	half, depth float64 // half width (to 1/e of the depth) in rho, depth in mm
	there, rho  dial    // how much of it there is, and where, by angle
}

// dial is a function of angle, tabulated. The angle is in radians, any turn.
type dial [4096]float32

func newDial(f func(theta, cos, sin float64) float64) (d dial) {
	for i := range d {
		theta := 2 * math.Pi * float64(i) / float64(len(d))
		sin, cos := math.Sincos(theta)
		d[i] = float32(f(theta, cos, sin))
	}
	return d
}

// at interpolates between the two nearest entries.
func (d *dial) at(theta float64) float64 {
	x := (theta/(2*math.Pi) + 4) * float64(len(d))
	i := int(x)
	t := x - float64(i)
	a, b := d[i%len(d)], d[(i+1)%len(d)]
	return float64(a) + t*float64(b-a)
}

// painter turns the strands of one depth of the iris into relief and colour.
type painter struct {
	*grower
	pat     *IrisPattern
	sector  Sector
	t       *tissue
	furrows []furrow
	open    []float32 // how open the upper deck is, a value a pixel

	ruff, crest dial // width of the ruff (mm), how present the collarette is
}

// growTissue bakes the iris at ppm pixels per mm.
func growTissue(p *Params, ir *iris, ppm float64) *tissue {
	g := newGrower(p, ir)
	g.grow(p)
	n := 2 * int(math.Ceil((ir.root+0.12)*ppm))
	t := &tissue{raster: *newRaster(n, ppm)}
	pa := &painter{grower: g, pat: &p.Pattern, sector: p.Sector, t: t}
	t.pa = pa
	t.collar = newDial(func(theta, _, _ float64) float64 { return g.collarette(theta) })
	pa.ruff = newDial(pa.beads)
	pa.crest = newDial(func(_, cos, sin float64) float64 {
		return geom.Smoothstep(-0.35, 0.3, noise3(pa.seed+53, 2.4*cos, 2.4*sin, 0.5))
	})
	rng := stream(p.Seed, "spots")
	pa.fold(rng, p.Pattern.Furrows)
	pa.ground()
	pa.open = g.cut(&t.raster)
	pa.decks()
	pa.guide(p.Own)
	g.strokes = nil
	pa.finish()
	pa.open = nil
	return t
}

// fold places furrows in the outer half, deeper when the pupil is wide: partial arcs of 40 to 180 degrees, 0.05 to 0.1 mm deep,
// whose sides are soft. A narrow one is a scratch across all fibres. Numbers: common practice, no published source.
func (pa *painter) fold(r *rand.Rand, n int) {
	wide := min(1.3, max(0.6, pa.ir.pupil/1.75))
	for i := range n {
		rho, seed := 0.5+0.42*(float64(i)+0.2+0.6*r.Float64())/float64(n), r.Uint64()
		f := furrow{half: 0.14 + 0.06*r.Float64(), depth: (0.05 + 0.025*r.Float64()) * wide}
		f.depth = min(f.depth, 0.6*f.half)
		f.half /= pa.width
		middle, span := 2*math.Pi*r.Float64(), geom.Radians(40+140*r.Float64())
		f.there = newDial(func(theta, cos, sin float64) float64 {
			off := math.Abs(turn(theta - middle))
			uneven := 0.75 + 0.35*noise3(seed, 6*cos, 6*sin, 0.5)
			return min(1, max(0, uneven)) * geom.Smoothstep(span/2, 0.55*span/2, off)
		})
		f.rho = newDial(func(_, cos, sin float64) float64 {
			return rho + 0.045*noise3(seed+1, 1.7*cos, 1.7*sin, 0.5) + 0.02*noise3(seed+2, 5*cos, 5*sin, 0.5)
		})
		pa.furrows = append(pa.furrows, f)
	}
}

// ground lays the floor beneath all strands.
func (pa *painter) ground() {
	t := pa.t
	parallel.Runs(t.n, 8, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range t.n {
				x, y := t.place(i, j)
				at := j*t.n + i
				t.h[at] = float32(-0.065 + 0.015*noise3(pa.seed+41, 3*x, 3*y, 0.5))
				t.s[at] = float32(0.07 + 0.04*noise3(pa.seed+42, 5*x, 5*y, 0.5))
				t.m[at] = 1.2
			}
		}
	})
}

// decks draws the lower deck, then the upper one over it, and opens the upper one where crypts are.
func (pa *painter) decks() {
	t := pa.t
	t.draw(pa.strokes[:pa.under])
	low := [3][]float32{slices.Clone(t.h), slices.Clone(t.s), slices.Clone(t.m)}
	t.draw(pa.strokes[pa.under:])
	for k, v := range [3][]float32{t.h, t.s, t.m} {
		for at, open := range pa.open {
			v[at] += open * (low[k][at] - v[at])
		}
	}
}

// finish adds the broad form to the strands' heights and computes what of stroma and pigment lies where.
func (pa *painter) finish() {
	t, ir := pa.t, pa.ir
	fine := t.blur(t.h, 0.14*t.ppm)
	t.under = []stuff{{t.s, t.m}}
	for _, r := range []*[]float32{&t.inner, &t.outer, &t.theta, &t.rho} {
		*r = make([]float32, t.n*t.n)
	}
	if pa.sector.Width > 0 {
		t.under = append(t.under, stuff{make([]float32, t.n*t.n), make([]float32, t.n*t.n)})
	}
	parallel.Runs(t.n, 8, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range t.n {
				x, y := t.place(i, j)
				at := j*t.n + i
				theta, rho := ir.polar(x, y)
				t.theta[at], t.rho[at] = float32(theta), float32(rho)
				if rho < -0.06 {
					t.s[at] = -1 // nothing here
					continue
				}
				sunk := float64(t.h[at] - fine[at]) // below its surroundings, mm
				if len(t.under) > 1 && pa.sector.weight(theta, rho, pa.seed) > 0 {
					q := &t.under[1]
					q.s[at], q.m[at], _ = pa.pixel(&pa.sector.Pattern, x, y, theta, rho, sunk, at)
				}
				t.s[at], t.m[at], t.h[at] = pa.pixel(pa.pat, x, y, theta, rho, sunk, at)
			}
		}
	})
	// The mesh cannot follow a cliff: take the sharpest edges off the height.
	copy(t.h, t.blur(t.h, 0.011*t.ppm))
	pa.level()
}

// pixel returns stroma, pigment for a zone of density 1 and the raw height of one place of a pattern.
//
// Long: one layer of the iris after the other, each reading what those beneath left.
func (pa *painter) pixel(pat *IrisPattern, x, y, theta, rho, sunk float64, at int) (stroma, dye, height float32) {
	t := pa.t
	sin, cos := math.Sincos(theta)
	h, s, m := float64(t.h[at]), float64(t.s[at]), float64(t.m[at])
	d := rho * (pa.ir.root - pa.ir.edge(cos, sin)) // from the margin, mm
	c := pa.t.collar.at(theta)

	// Broad form: the collarette stands up, the pupillary zone lies lower and slopes to the margin, the root sinks.
	e := (rho - c) / 0.07
	h += 0.05*math.Exp(-e*e) - 0.035*geom.Smoothstep(c, c-0.12, rho) - 0.05*geom.Smoothstep(0.82, 1.02, rho)
	h += 0.02 * noise3(pa.seed+51, 0.9*x, 0.9*y, 0.5)

	// Openings sink and darken.
	open := float64(pa.open[at])
	h -= 0.05 * open

	// Furrows.
	crease := 0.0
	for i := range pa.furrows {
		f := &pa.furrows[i]
		there := f.there.at(theta)
		if there == 0 {
			continue
		}
		v := (rho - f.rho.at(theta)) / f.half
		if v*v < 9 {
			k := there * math.Exp(-v*v)
			h -= f.depth * k
			h += 0.35 * f.depth * there * math.Exp(-(v-1.9)*(v-1.9))
			crease = max(crease, k)
		}
	}

	// Pigment: by zone, uneven in flames along the fibres and in patches.
	flame := noise3(pa.seed+61, 5.5*cos, 5.5*sin, 1.1*rho) + 0.6*noise3(pa.seed+62, 15*cos, 15*sin, 1.9*rho) + 0.3*noise3(pa.seed+63, 37*cos, 37*sin, 3.1*rho)
	patch := fbm3(pa.seed+64, 0.55*x, 0.55*y, 0.5, 3)
	edge := rho + 0.13*flame
	inner := geom.Smoothstep(c+0.22, c-0.06, edge)
	outer := geom.Smoothstep(0.72, 0.98, rho+0.05*flame)
	t.inner[at], t.outer[at] = float32(inner), float32(outer)
	pigment := m * math.Exp(pat.Patchiness*(1.1*patch+0.5*flame))

	// A border layer levels the relief and carries pigment.
	if v := pat.Velvet; v > 0 {
		grain := 0.5 + 0.5*fbm3(pa.seed+66, 6*x, 6*y, 0.5, 3)
		s += v * (1 - open) * (0.30 + 0.2*grain) * (1 - 0.5*min(1, s))
		h = h - 0.5*v*(1-0.7*open)*min(0.1, max(-0.1, sunk))
	}

	// Stroma: what lies low is thin and sees little light.
	s *= math.Exp(min(0.4, max(-1.5, 13*sunk))) * (1 - 0.4*open)
	s *= 1 + 0.36*fbm3(pa.seed+67, 0.6*x, 0.6*y, 2.5, 3)
	s *= 1 + 0.35*inner
	crest := math.Exp(-e*e) * pa.crest.at(theta)
	s *= 1 + 0.35*crest
	pigment *= 1 - 0.25*crest
	s *= 1 - 0.15*crease

	// The ruff: the brown edge of the pigment epithelium, rolled round the margin in beads with valleys between.
	bead := pa.ruff.at(theta)
	ruff := geom.Smoothstep(bead, 0.6*bead, d)
	round := math.Sqrt(max(0, 1-(d/max(bead, 1e-6))*(d/max(bead, 1e-6))))
	h += 0.035 * ruff * round
	return float32(s), float32(pigment), float32(h)
}

// beads returns the width of the ruff at an angle, mm: uneven beads, some 60 round the pupil.
func (pa *painter) beads(theta, cos, sin float64) float64 {
	size := 0.5 + 0.5*noise3(pa.seed+72, 3.4*cos, 3.4*sin, 0.5)
	return 0.035 + 0.015*size + (0.015+0.035*size)*math.Sqrt(pa.beadLight(theta))
}

// bulge returns how far the ruff's beads stand into the pupil at an angle, mm.
func (pa *painter) bulge(theta float64) float64 {
	sin, cos := math.Sincos(theta)
	size := 0.5 + 0.5*noise3(pa.seed+72, 3.4*cos, 3.4*sin, 0.5)
	return 0.03*noise3(pa.seed+73, 5*cos, 5*sin, 0.5) + (0.01+0.03*size)*pa.beadLight(theta)
}

// beadLight is 1 on the crown of a bead of the ruff and 0 in the valley beside it.
func (pa *painter) beadLight(theta float64) float64 {
	sin, cos := math.Sincos(theta)
	turns := 58*theta + 2.6*noise3(pa.seed+71, 2.5*cos, 2.5*sin, 0.5)*2*math.Pi
	return 0.5 + 0.5*math.Cos(turns)
}

// blend returns the albedo of stroma of scattering power s over the ground, under and mixed with pigment of optical
// density m at red.
//
// A non-absorbing layer of scattering power s over a black ground reflects s/(1+s) (Kubelka and Munk, Z. Tech. Phys.
// 12 (1931), 593); the ground shows through what is left. Pigment attenuates by Beer's law and scatters a little
// itself.
func (p *IrisPattern) blend(s, m float64) colour.RGB {
	var a colour.RGB
	for i := range a {
		x := s * p.StromaHue[i]
		r := x / (1 + x)
		r += (1 - r) * (1 - r) * p.Ground[i]
		k := math.Exp(-m * p.PigmentHue[i])
		a[i] = r*k + (1-k)*0.022/(0.5+0.5*p.PigmentHue[i])
	}
	return a
}

// level finds the scale of the relief: the 4th to the 96th percentile of the front are one unit.
func (pa *painter) level() {
	t := pa.t
	var v []float32
	for j := 0; j < t.n; j += 4 {
		for i := 0; i < t.n; i += 4 {
			x, y := t.place(i, j)
			if _, rho := pa.ir.polar(x, y); rho > 0.04 && rho < 0.97 {
				v = append(v, t.h[j*t.n+i])
			}
		}
	}
	slices.Sort(v)
	lo, mid, hi := float64(v[len(v)/25]), float64(v[len(v)/2]), float64(v[len(v)*24/25])
	t.middle, t.scale = mid, 1/max(1e-6, hi-lo)
}
