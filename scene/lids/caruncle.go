package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
	"catchlight/scene/strand"
)

// The caruncle: a mound of flesh in the inner corner, of lobes that are glands. 4 to 6 mm high and 2.5 to 4 wide: Wolff's Anatomy of the
// Eye and Orbit, 8th ed., chapter 2; from memory. The rest is common practice, no published source.
const (
	caruncleOff   = 2.5 // of its middle from the corner's tip, mm
	caruncleHigh  = 4.6
	caruncleWide  = 3.4
	caruncleProud = 1.9 // of the floor
	lobes         = 32
	lobeLeast     = 0.28 // radius, mm
	lobeMost      = 0.5
	lobeBlend     = 0.12
)

// caruncle is a dome with spheres in it.
type caruncle struct {
	x, y, floor float64
	lobe        []lobe
}

type lobe struct{ x, y, z, r float64 }

// caruncle packs the lobes: places by dart throwing, so that no two are nearer than three quarters of what they measure.
func (s *socket) caruncle(k *hollow) *caruncle {
	c := &caruncle{x: k.tip.X - caruncleOff, y: k.tip.Y}
	// Its middle lies half-way between the lids.
	i := k.cell(c.x, c.y)
	lo, hi := i, i
	for k.in[lo] > 0 && lo >= k.w {
		lo -= k.w
	}
	for k.in[hi] > 0 && hi < len(k.in)-k.w {
		hi += k.w
	}
	_, y0 := k.at(lo)
	_, y1 := k.at(hi)
	c.y = (y0 + y1) / 2
	c.floor = k.level[k.cell(c.x, c.y)] - hollowDeep
	for try := int64(0); try < 4000 && len(c.lobe) < lobes; try++ {
		a, b := noise.Lattice(s.seed+51, 2*try), noise.Lattice(s.seed+51, 2*try+1)
		if a*a+b*b > 1 {
			continue
		}
		q := lobe{r: lobeLeast + (lobeMost-lobeLeast)*(0.5+0.5*noise.Lattice(s.seed+52, try))}
		q.x, q.y = c.x+0.88*a*caruncleWide/2, c.y+0.88*b*caruncleHigh/2
		free := true
		for _, o := range c.lobe {
			free = free && math.Hypot(q.x-o.x, q.y-o.y) > 0.75*(q.r+o.r)
		}
		if free {
			q.z = c.dome(q.x, q.y) - 0.55*q.r + 0.1*noise.Lattice(s.seed+53, try)
			c.lobe = append(c.lobe, q)
		}
	}
	return c
}

// dome returns the height of the mound without its lobes; far below outside it.
func (c *caruncle) dome(x, y float64) float64 {
	u, v := (x-c.x)/(caruncleWide/2), (y-c.y)/(caruncleHigh/2)
	return c.floor + caruncleProud*(math.Pow(max(0, 1-u*u-v*v), 0.8)-max(0, u*u+v*v-1))
}

// height returns the mound's height over (x, y) where the floor lies at z, joined smoothly with it; how much of the place is
// mound, and how near it is to the top of a lobe.
func (c *caruncle) height(x, y, z float64) (top, share, crown float64) {
	dome := c.dome(x, y)
	sum := 0.0
	for i := range c.lobe {
		q := &c.lobe[i]
		d := ((x-q.x)*(x-q.x) + (y-q.y)*(y-q.y)) / (q.r * q.r)
		if d >= 1 {
			continue
		}
		up := math.Sqrt(1 - d)
		sum += math.Exp((q.z+q.r*up-dome)/lobeBlend) * (1 - d*d*d*d)
		crown = max(crown, geom.Smoothstep(0.55, 1, up))
	}
	top = dome + lobeBlend*math.Log1p(sum)
	share = geom.Smoothstep(-0.25, 0.35, top-z)
	return smoothMax(top, z, 0.5), share, crown * share
}

// cell returns the cell nearest to a place.
func (k *hollow) cell(x, y float64) int {
	i, j := int(math.Round((x-k.x)/k.step)), int(math.Round((y-k.y)/k.step))
	return max(0, min(k.h-1, j))*k.w + max(0, min(k.w-1, i))
}

// caruncleHairs grows the fine hairs of the caruncle: a dozen, as the fine hair of the lids, 1 to 2 mm long.
func (s *socket) caruncleHairs(k *hollow) *strand.Set {
	set := &strand.Set{}
	c := s.caruncle(k)
	n := int(math.Round(12 * min(1, s.p.DownDensity)))
	for i := 0; i < n && len(c.lobe) > 0; i++ {
		r := s.draws("caruncle", i, 0)
		q := &c.lobe[r.IntN(len(c.lobe))]
		a := uniform(r, 0, 2*math.Pi)
		x, y := q.x+0.5*q.r*math.Cos(a), q.y+0.5*q.r*math.Sin(a)
		cell := k.cell(x, y)
		if k.in[cell] < 0.15 {
			continue
		}
		root := geom.Vec{X: x, Y: y, Z: k.flesh[cell]}
		// Out of the flesh and over toward the nose or the globe.
		out := geom.Vec{X: 0.5 * math.Cos(a), Y: 0.35 * math.Sin(a), Z: 1}.Unit()
		over := geom.Vec{X: math.Cos(a), Y: -0.5, Z: 0.25}.Unit()
		l := uniform(r, 1, 2)
		var p []geom.Vec
		var at []float64
		for j := range 7 {
			u := float64(j)/5 - 0.2
			at = append(at, u)
			p = append(p, root.Mad(u*l*(1-0.35*max(0, u)), out).Mad(0.5*l*max(0, u)*max(0, u), over))
		}
		s.add(set, p, widths(0.028*(1+0.15*within(r)), at), s.p.DownEu, s.p.DownPh)
	}
	return set
}
