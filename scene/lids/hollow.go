package lids

import (
	"math"

	"catchlight/scene/geom"
)

// hollow is the inner corner as heights (z, mm) over a grid of even steps in (x, y) of a right eye's socket: what lies between the
// globe and the rims, and the water on it.
type hollow struct {
	w, h  int
	x, y  float64 // of the first place: the outermost and lowest
	step  float64
	tip   geom.Vec  // of the opening
	in    []float64 // way in from the rims' edge as seen from the front, mm; negative under the lids
	level []float64 // of the rims about a place
	globe []float64
	flesh []float64
	water []float64
	fold  []float64 // way from the free edge of the crescent fold toward the nose, mm
	lobe  []float64 // 0 to 1: how much of it is caruncle
	crown []float64 // 0 to 1: up to the tops of its lobes
}

// Sizes of the inner corner, mm. Common practice, no published source, but for the caruncle's and the fold's: Wolff's Anatomy of the Eye
// and Orbit, 8th ed., chapter 2; from memory.
const (
	hollowOut   = 7.4  // from the tip toward the globe
	hollowIn    = 1.5  // beyond the tip
	hollowDeep  = 1.7  // floor behind the rims
	hollowShore = 0.45 // floor behind the rims at their edge
)

// newHollow lays the grid about the tip of an opening and fills it.
func (s *socket) newHollow(loop []rimPoint) *hollow {
	k := &hollow{step: max(0.06, s.p.Detail/2)}
	for _, q := range loop {
		if q.p.X > k.tip.X || k.tip == (geom.Vec{}) {
			k.tip = q.p
		}
	}
	near := loop[:0:0]
	lo, hi := k.tip.Y, k.tip.Y
	for _, q := range loop {
		if q.p.X > k.tip.X-hollowOut-1 {
			near = append(near, q)
			lo, hi = min(lo, q.p.Y), max(hi, q.p.Y)
		}
	}
	k.x, k.y = k.tip.X-hollowOut, lo-1.5
	k.w, k.h = int((hollowOut+hollowIn)/k.step)+1, int((hi+1.5-k.y)/k.step)+1
	n := k.w * k.h
	for _, f := range []*[]float64{&k.in, &k.level, &k.globe, &k.flesh, &k.water, &k.fold, &k.lobe, &k.crown} {
		*f = make([]float64, n)
	}
	for i := range n {
		x, y := k.at(i)
		k.in[i], k.level[i] = shore(near, x, y)
		k.globe[i] = s.g.globe.height(x, y, 0)
	}
	s.fill(k)
	k.pour()
	return k
}

// at returns the place of a cell.
func (k *hollow) at(i int) (x, y float64) {
	return k.x + float64(i%k.w)*k.step, k.y + float64(i/k.w)*k.step
}

// rimPoint is a place on the rear edge of the rims, and the direction from it away from the opening, as seen from the front.
type rimPoint struct {
	p      geom.Vec
	nx, ny float64
}

// loop lists the rear edge of the rims once round.
func (o *opening) loop() []rimPoint {
	out := make([]rimPoint, len(o.s))
	for i := range o.s {
		q := &o.s[i]
		out[i] = rimPoint{q.rim, q.nx, q.ny}
	}
	return out
}

// shore returns how far (x, y) lies within the rims' edge, and the height of the rims about it.
func shore(loop []rimPoint, x, y float64) (in, level float64) {
	best, sum, z := math.Inf(1), 0.0, 0.0
	for i := range loop {
		q := &loop[i]
		dx, dy := x-q.p.X, y-q.p.Y
		d := dx*dx + dy*dy
		if d < best {
			best = d
			in = -(dx*q.nx + dy*q.ny)
		}
		w := 1 / (d + 0.05)
		w *= w
		sum, z = sum+w, z+w*q.p.Z
	}
	if d := math.Sqrt(best); d > 0.3 { // far off, the nearest point's own side of the edge is told from its normal alone
		in = math.Copysign(d, in)
	}
	return in, z / sum
}

// fill lays the flesh: a floor that leaves the globe beneath a crescent fold, and the caruncle on it.
func (s *socket) fill(k *hollow) {
	lumps := s.caruncle(k)
	for i := range k.flesh {
		x, y := k.at(i)
		t := k.in[i]
		u := s.foldAt(k, x, y)
		floor := k.level[i] - hollowShore + 3*min(t, 0) - (foldDepth(u)-hollowShore)*geom.Smoothstep(0, 1.4, t)
		z := smoothMax(k.globe[i]+edgeHeight(u), floor, 1.2)
		top, share, crown := lumps.height(x, y, z)
		// Under the lids nothing stands up.
		top = -smoothMax(-top, -(k.level[i] - 0.3 + 3*min(t, 0.3)), 0.3)
		k.flesh[i], k.fold[i], k.lobe[i], k.crown[i] = max(z, top), u, share, crown
	}
}

// lakeRadius is that of the arcs by which water fills the low places between the flesh and the rims, mm.
const lakeRadius = 0.4

// pour lays the water: what a ball of lakeRadius that rolls over flesh, globe and rims cannot reach is filled, so that the surface
// leaves all of them tangentially, as water that wets them does.
//
// Source: Serra, Image Analysis and Mathematical Morphology, 1982 (closing of a function by a ball).
func (k *hollow) pour() {
	solid := make([]float64, len(k.flesh))
	wall := newMeniscus(lakeRadius * math.Cos(contactAngle)).foot()
	for i := range solid {
		rim := k.level[i] + wall - 3*max(0, k.in[i]+0.03)
		solid[i] = max(k.flesh[i], k.globe[i], rim)
	}
	r := int(lakeRadius / k.step)
	var ball [][3]float64
	for b := -r; b <= r; b++ {
		for a := -r; a <= r; a++ {
			if q := lakeRadius*lakeRadius - float64(a*a+b*b)*k.step*k.step; q >= 0 {
				ball = append(ball, [3]float64{float64(a), float64(b), math.Sqrt(q)})
			}
		}
	}
	over := func(z []float64, sign float64) []float64 {
		out := make([]float64, len(z))
		for j := range k.h {
			for i := range k.w {
				best := math.Inf(-1)
				for _, q := range ball {
					a, b := i+int(q[0]), j+int(q[1])
					if a >= 0 && b >= 0 && a < k.w && b < k.h {
						best = max(best, sign*z[b*k.w+a]+q[2])
					}
				}
				out[j*k.w+i] = sign * best
			}
		}
		return out
	}
	k.water = over(over(solid, 1), -1)
}
