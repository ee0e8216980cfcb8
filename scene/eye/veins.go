package eye

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
)

// net is the vessels of one layer as a raster over the azimuthal-equidistant plane about the optical axis.
type net struct {
	l       *raster
	globe   float64
	v       []float32 // optical density that is seen in green, 0 and up
	seed    uint64
	depth   float64   // mm, in the mean
	vessels []*vessel // what was drawn
}

// vessel is a smooth line from where it leaves its parent to its end.
type vessel struct {
	joints []joint
	parent *vessel // nil of a trunk
	fork   fork
	seed   uint64
	level  int // forks before its end, counted from the trunk
}

// fork is where a vessel leaves its parent: radii of the parent before and after it, and of the one that leaves, mm.
type fork struct{ before, after, side float64 }

// joint is a point of a vessel, in mm of the plane.
type joint struct {
	x, y, r float64 // r is the radius
	there   float64 // 0 to 1
}

// growth is a net while it grows: tips walk forward with momentum toward where the layer's vessels lead, meander, thin out and
// fork. Radii at a fork keep the sum of their cubes (Murray, PNAS 12 (1926), 207), the angles are those of the least work that
// follow from it (Murray, J. Gen. Physiol. 9 (1926), 835). No line turns by more than maxTurn along its own width.
type growth struct {
	rng          *rand.Rand
	inner, outer float64 // mm of the plane
	tip, trunk   float64 // radii, mm
	wander       float64
	seed         uint64
	room         *crowd
	out          []*vessel
	todo         []bud
}

// bud is a vessel that is to grow.
type bud struct {
	from    joint
	heading float64 // rad
	veer    float64 // the rest of its turn at the fork, rad
	parent  *vessel
	fork    fork
	level   int
}

// maxTurn is the largest turn of a vessel along its own width, rad. Source: common practice, no published source.
const maxTurn = 25 * math.Pi / 180

// uneven is how far a vessel's width departs from the mean on its way. Source: common practice, no published source.
const uneven = 0.15

// crowd counts the area of the vessels by cells of the plane, so that new ones go where there is room.
type crowd struct {
	n          int
	cell, half float64 // mm
	area       []float64
}

func newCrowd(half float64) *crowd {
	c := &crowd{n: 64, half: half, cell: 2 * half / 64}
	c.area = make([]float64, c.n*c.n)
	return c
}

func (c *crowd) at(x, y float64) *float64 {
	i, j := int((x+c.half)/c.cell), int((y+c.half)/c.cell)
	return &c.area[min(c.n-1, max(0, j))*c.n+min(c.n-1, max(0, i))]
}

// share returns the share of the area about a place that vessels cover.
func (c *crowd) share(x, y float64) float64 {
	sum := 0.0
	for _, d := range [5][2]float64{{}, {1}, {-1}, {0, 1}, {0, -1}} {
		sum += *c.at(x+d[0]*c.cell, y+d[1]*c.cell)
	}
	return sum / (5 * c.cell * c.cell)
}

// newNet grows the net of a layer and draws it.
func newNet(p *Params, l *Layer) *net {
	reach := geom.Radians(100) * p.GlobeRadius
	n := min(4096, max(64, p.MapSize)) // 10 um a texel is as fine as the thinnest vessel drawn
	v := &net{l: &raster{n: n, ppm: float64(n) / (2 * reach)}, globe: p.GlobeRadius, v: make([]float32, n*n), seed: l.seed(p), depth: l.Depth}
	limbus := math.Asin(p.LimbusRadius/p.GlobeRadius) * p.GlobeRadius
	g := &growth{rng: stream(l.seed(p), l.Kind+" "+l.Name), inner: limbus + l.Gap, outer: 0.97 * reach,
		tip: l.Tip / 2, trunk: l.Width / 2, wander: l.Wander, seed: l.seed(p) ^ 0xa1, room: newCrowd(reach)}
	if l.Kind == "arcades" {
		g.arcades(limbus, l)
	} else {
		redder := *l
		redder.Trunks, redder.Share = int(float64(l.Trunks)*(1+0.6*p.open())), l.Share*(1+0.7*p.open())
		g.trunks(p, &redder, limbus)
		g.run(&redder)
	}
	v.vessels = g.out
	for _, q := range g.out {
		v.draw(q)
	}
	return v
}

// trunks places the buds of the trunks: most toward the corners, the rest above and below.
func (g *growth) trunks(p *Params, l *Layer, limbus float64) {
	for i := range l.Trunks {
		// Both corners in turn, then above and below; within each spread evenly, in an order without pattern.
		at := math.Mod(0.618034*float64(i/2)+0.25*g.rng.Float64(), 1)
		th := math.Pi*float64(i%2) + 1.5*(at-0.5)
		if float64(i%8/2)+0.5 > 4*l.Corners {
			th += math.Pi / 2
		}
		if p.nasal() < 0 {
			th = math.Pi - th
		}
		r := min(g.outer, limbus+l.Start*(0.85+0.3*g.rng.Float64()))
		g.todo = append(g.todo, bud{joint{r * math.Cos(th), r * math.Sin(th), g.trunk * (0.7 + 0.3*g.rng.Float64()), 1}, th + math.Pi + 0.3*g.rng.NormFloat64(), 0, nil, fork{}, 0})
	}
}

// run grows all buds, trunks first, until the layer's share of the area is covered.
func (g *growth) run(l *Layer) {
	for k := 0; k < len(g.todo) && k < 6000; k++ {
		g.grow(g.todo[k], l)
	}
}

// leads returns the direction that vessels of the net take at a place: toward the limbus, in broad bends.
func (g *growth) leads(x, y float64) float64 {
	return math.Atan2(-y, -x) + 0.8*noise3(g.seed, 0.15*x, 0.15*y, 0.5) + 0.55*noise3(g.seed^1, 0.45*x, 0.45*y, 0.5)
}

// wanted is how much of the layer's share is wanted at a place: more to the corners, less near the limbus.
func (g *growth) wanted(x, y float64) float64 {
	d := math.Hypot(x, y)
	return (0.5 + 0.7*math.Abs(x)/(1+d)) * (0.35 + 0.65*geom.Smoothstep(g.inner, g.inner+4, d))
}

// widest returns the radius that vessels have at most at a distance from the axis: they thin toward the limbus.
func (g *growth) widest(d float64) float64 {
	k := geom.Smoothstep(g.inner-1, g.inner+4.5, d)
	return g.tip + (g.trunk-g.tip)*k
}

// grow walks one bud to its end.
func (g *growth) grow(b bud, l *Layer) {
	v := &vessel{parent: b.parent, fork: b.fork, seed: g.rng.Uint64(), level: b.level}
	at, heading := b.from, b.heading
	wind := g.wander * (0.6 + 0.8*g.rng.Float64())
	// How far until it forks, in widths.
	next := 4 + g.rng.ExpFloat64()*26
	dip := 0.0
	full := 0.55 + 0.6*g.rng.Float64() // how full of blood it is
	last := math.NaN()
	s, fade := 0.0, 1.0
	for range 4000 {
		w := 2 * at.r
		step := min(0.09, max(0.02, 0.6*w))
		up := fade * full
		if v.parent == nil {
			up *= geom.Smoothstep(0, 2.5, s) // a trunk comes up from below
		}
		v.joints = append(v.joints, joint{at.x, at.y, at.r * (1 + uneven*noise1(v.seed^2, s/(9*w))), up})
		*g.room.at(at.x, at.y) += w * step
		d := math.Hypot(at.x, at.y)
		if fade < 0.02 || d < g.inner-0.2 || d > g.outer {
			break
		}
		// It leans toward where the net leads, wanders broadly and meanders finely.
		veer := b.veer * math.Exp(-s/(4*w))
		aim := g.leads(at.x, at.y) + 1.15*wind*noise1(v.seed, s/1.9)
		heading += turn(aim-heading) * (1 - math.Exp(-step/1.6))
		// It turns to where there is room.
		sin, cos := math.Sincos(heading)
		heading += 2.2 * step * (g.room.share(at.x+1.1*cos+0.8*sin, at.y+1.1*sin-0.8*cos) - g.room.share(at.x+1.1*cos-0.8*sin, at.y+1.1*sin+0.8*cos)) / max(0.02, l.Share)
		to := heading - veer + wind*(0.75*noise1(v.seed^1, s/(6*w))+0.8*noise1(v.seed^3, s/(17*w)))
		if !math.IsNaN(last) {
			limit := maxTurn * step / (w * (1 + uneven))
			to = last + max(-limit, min(limit, turn(to-last)))
		}
		last = to
		at.x, at.y = at.x+step*math.Cos(to), at.y+step*math.Sin(to)
		s += step
		// It thins on its way, gives off branches, and ends where it is as thin as the last twigs, or near the limbus.
		at.r *= math.Exp(-step / 36)
		most := g.widest(d)
		if at.r > most {
			at.r *= math.Exp(-step / 1.2)
		}
		if at.r < g.tip || d < g.inner || dip > 0 {
			dip += step
			fade = 1 - geom.Smoothstep(0, 0.25+6*w, dip)
		}
		if at.r > most {
			next -= 1.5 * step / w
		}
		if s/w > next && at.r > 1.05*g.tip && dip == 0 {
			next = s/w + 6 + g.rng.ExpFloat64()*22
			if at.r > most || g.room.share(at.x, at.y) < l.Share*g.wanted(at.x, at.y) {
				v.level++
				b.veer = g.branch(v, &at, to, &heading)
			}
		}
	}
	if len(v.joints) > 3 {
		g.out = append(g.out, v)
	}
}

// branch parts a vessel in two: the wider goes on as the vessel itself, the other becomes a bud. It returns how far the
// first still has to turn.
func (g *growth) branch(v *vessel, at *joint, to float64, heading *float64) float64 {
	q := 0.4 + 0.6*g.rng.Float64() // ratio of the radii
	a := 1 / math.Cbrt(1+q*q*q)    // of the wider to the parent's
	c := q * a
	if c*at.r < g.tip {
		c = g.tip / at.r
		a = math.Cbrt(max(0, 1-c*c*c))
	}
	wide := math.Acos(max(-1, min(1, (1+a*a*a*a-c*c*c*c)/(2*a*a))))
	narrow := math.Acos(max(-1, min(1, (1+c*c*c*c-a*a*a*a)/(2*c*c))))
	side := 1.0
	if g.rng.Float64() < 0.5 {
		side = -1
	}
	from := *at
	f := fork{at.r, a * at.r, c * at.r}
	from.r, at.r = f.side, f.after
	narrow = min(narrow, 1.25)
	g.todo = append(g.todo, bud{from, to + side*narrow, 0, v, f, v.level})
	*heading -= side * wide
	return -side * wide
}

// draw adds a vessel to the raster.
func (v *net) draw(q *vessel) {
	for i := 1; i < len(q.joints); i++ {
		v.line(q.joints[i-1], q.joints[i])
	}
}

// depthAt returns how deep the net lies at a place of the plane, mm: vessels dive and come up on their way.
func (v *net) depthAt(x, y float64) float64 {
	return v.depth * max(0.2, 1+0.9*noise3(v.seed^0xd1, 0.5*x, 0.5*y, 0.5))
}

// line draws a piece of a vessel: the density by width and depth, across it the chord through a cylinder, blurred by what
// lies above it, and at least a texel wide so that thin ones keep their total.
func (v *net) line(a, b joint) {
	l := v.l
	r := 0.5 * (a.r + b.r)
	z := v.depthAt(0.5*(a.x+b.x), 0.5*(a.y+b.y))
	// A Gaussian of 0.3 of the depth: common practice, no published source.
	soft := math.Sqrt(r*r + 2*0.09*z*z)
	w := max(soft, 0.6/l.ppm)
	peak := 0.5 * (a.there + b.there) * seenDensity(2*r, z) * (r / w)
	if peak < 1e-3 {
		return
	}
	c := float64(l.n) / 2
	reach := 1.9 * w
	i0, i1 := int(c+(min(a.x, b.x)-reach)*l.ppm), int(c+(max(a.x, b.x)+reach)*l.ppm)+1
	j0, j1 := int(c-(max(a.y, b.y)+reach)*l.ppm), int(c-(min(a.y, b.y)-reach)*l.ppm)+1
	ex, ey := b.x-a.x, b.y-a.y
	inv := 1 / (ex*ex + ey*ey + 1e-12)
	for j := max(0, j0); j < min(l.n, j1); j++ {
		for i := max(0, i0); i < min(l.n, i1); i++ {
			x, y := l.place(i, j)
			t := min(1, max(0, ((x-a.x)*ex+(y-a.y)*ey)*inv))
			dx, dy := x-a.x-t*ex, y-a.y-t*ey
			q := (dx*dx + dy*dy) / (w * w)
			if q > 3.6 {
				continue
			}
			d := float32(peak * math.Exp(-q*(0.7+0.3*q)))
			if at := j*l.n + i; d > v.v[at] {
				v.v[at] = d
			}
		}
	}
}

// blurred returns the net smoothed by a Gaussian of the given standard deviation, mm.
func (v *net) blurred(sigma float64) *net {
	q := *v
	const k = 4
	n := v.l.n / k
	q.l = &raster{n: n, ppm: v.l.ppm / k}
	small := make([]float32, n*n)
	for j := range n * k {
		for i := range n * k {
			small[j/k*n+i/k] += v.v[j*v.l.n+i] / (k * k)
		}
	}
	q.v = q.l.blur(small, sigma*q.l.ppm)
	return &q
}

// netPlace returns the place of the nets' plane at polar angle phi (rad) and the unit direction (cx, cy) about the axis, and how
// much of the nets is there: they end behind the equator.
func netPlace(phi, globe, cx, cy float64) (x, y, there float64) {
	return phi * globe * cx, phi * globe * cy, 1 - geom.Smoothstep(0.85, 0.98, phi/geom.Radians(100))
}

// at returns the density at polar angle phi (rad) and the unit direction (cx, cy) about the axis.
func (v *net) at(phi, cx, cy float64) float64 {
	x, y, there := netPlace(phi, v.globe, cx, cy)
	if there == 0 {
		return 0
	}
	return there * v.l.sample(v.v, x, y)
}
