package eye

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
)

// net is the vessels of one layer as a raster over the azimuthal-equidistant plane about the optical axis.
type net struct {
	l     *raster
	globe float64
	v     []float32 // optical density, 0 and up
}

// node is a joint of a growing vessel, in mm of the plane.
type node struct {
	x, y   float64
	parent int
	kids   int
	flow   float64 // radius cubed
	sx, sy float64 // where its parent was when it was smoothed
}

// newNet grows the net of a layer by space colonisation and sets its widths by Murray's law.
//
// Sources: Runions et al., Modeling and visualization of leaf venation patterns, SIGGRAPH 2005; Murray, PNAS 12
// (1926), 207.
func newNet(p *Params, layer *Layer) *net {
	reach := geom.Radians(100) * p.GlobeRadius
	n := min(4096, max(64, p.MapSize)) // 10 um a texel is finer than the thinnest vessel drawn
	v := &net{l: &raster{n: n, ppm: float64(n) / (2 * reach)}, globe: p.GlobeRadius}
	inner := math.Asin(p.LimbusRadius/p.GlobeRadius)*p.GlobeRadius + 0.25*p.LimbusWidth
	v.v = make([]float32, n*n)
	// Few places to grow to are reached from farther away.
	sparse := math.Sqrt(1250 / float64(max(1, layer.Count)))
	c := network{attractors: max(1, layer.Count), inner: inner + layer.Gap, outer: 0.97 * reach, step: 0.16 + 0.04*(sparse-1), kill: 0.38 * sparse, sight: 4.5 * math.Sqrt(sparse),
		trunks: layer.Trunks, tip: layer.Width / 2, tortuous: layer.Wander, wide: 0.030 * math.Sqrt(layer.Width/0.03), nasal: p.nasal(), seed: layer.seed(p) ^ uint64(len(layer.Name))}
	v.draw(v.v, &c, c.grow(stream(layer.seed(p), "vessels "+layer.Name)))
	if layer.Blur > 0 {
		v.v = v.l.blur(v.v, layer.Blur*v.l.ppm)
	}
	for i, d := range v.v {
		v.v[i] = min(d, 1.6)
	}
	return v
}

// blurred returns the net smoothed by a Gaussian of the given standard deviation, mm.
func (v *net) blurred(sigma float64) *net {
	q := *v
	q.v = v.l.blur(v.v, sigma*v.l.ppm)
	return &q
}

type network struct {
	attractors   int
	inner, outer float64 // mm of the plane
	step, kill   float64 // mm
	sight        float64 // mm: attractors farther than this do not pull
	trunks       int
	tip          float64 // radius of the last twigs, mm
	tortuous     float64 // mm
	wide         float64 // radius of a vessel of optical density 1, mm
	nasal        float64 // x direction of the nose
	seed         uint64
}

// grow returns the joints of a network, parents before their children.
func (c *network) grow(rng *rand.Rand) []node {
	type point struct {
		x, y    float64
		near    int
		dist    float64
		reached bool
	}
	// Attractors: denser toward the corners (left and right), thinning toward the limbus.
	var at []point
	for len(at) < c.attractors {
		r := math.Sqrt(c.inner*c.inner + (c.outer*c.outer-c.inner*c.inner)*rng.Float64())
		th := 2 * math.Pi * rng.Float64()
		keep := (0.3 + 0.6*math.Abs(math.Cos(th)) + 0.1*c.nasal*math.Cos(th)) * geom.Smoothstep(c.inner-0.3, c.inner+3.5, r+1.2)
		if rng.Float64() < keep {
			at = append(at, point{x: r * math.Cos(th), y: r * math.Sin(th), near: -1, dist: math.Inf(1)})
		}
	}
	// Trunks come in at the corners, a few above and below, over the edge of the map.
	var ns []node
	for i := range c.trunks {
		th := math.Pi*float64(i%2) + 0.62*(2*rng.Float64()-1)
		if i%4 == 3 {
			th = math.Pi * (0.5 + float64(i/4%2) + 0.3*rng.NormFloat64())
		}
		r := c.outer * (0.9 + 0.1*rng.Float64())
		ns = append(ns, node{x: r * math.Cos(th), y: r * math.Sin(th), parent: -1})
	}
	from := 0
	for range 400 {
		for i := range at {
			a := &at[i]
			if a.reached {
				continue
			}
			for k := from; k < len(ns); k++ {
				if d := math.Hypot(ns[k].x-a.x, ns[k].y-a.y); d < a.dist {
					a.dist, a.near = d, k
				}
			}
			a.reached = a.dist < c.kill
		}
		type pull struct {
			x, y float64
			n    int
		}
		pulls := make([]pull, len(ns))
		for i := range at {
			a := &at[i]
			if a.reached || a.dist > c.sight {
				continue
			}
			q := &pulls[a.near]
			q.x += (a.x - ns[a.near].x) / a.dist
			q.y += (a.y - ns[a.near].y) / a.dist
			q.n++
		}
		from = len(ns)
		for k, q := range pulls {
			l := math.Hypot(q.x, q.y)
			if q.n == 0 || l < 1e-3 || ns[k].kids > 2 {
				continue
			}
			x, y := q.x/l+0.25*rng.NormFloat64(), q.y/l+0.25*rng.NormFloat64()
			// A vessel has some stiffness.
			if up := ns[k].parent; up >= 0 {
				x += 0.8 * (ns[k].x - ns[up].x) / c.step
				y += 0.8 * (ns[k].y - ns[up].y) / c.step
			}
			l = math.Hypot(x, y)
			ns[k].kids++
			ns = append(ns, node{x: ns[k].x + c.step*x/l, y: ns[k].y + c.step*y/l, parent: k})
		}
		if len(ns) == from {
			break
		}
	}
	c.settle(ns)
	return ns
}

// settle adds up the flow from the tips to the trunks, and draws the network smooth.
func (c *network) settle(ns []node) {
	for i := len(ns) - 1; i >= 0; i-- {
		if ns[i].kids == 0 {
			ns[i].flow = c.tip * c.tip * c.tip
		}
		if p := ns[i].parent; p >= 0 {
			ns[p].flow += ns[i].flow
		}
	}
	// Growth leaves corners of one step; pull each joint toward the middle of its neighbours.
	for range 4 {
		for i := range ns {
			q := &ns[i]
			if q.parent >= 0 && q.kids == 1 {
				q.sx, q.sy = ns[q.parent].x, ns[q.parent].y
			}
		}
		for i := range ns {
			if p := ns[i].parent; p >= 0 && ns[p].kids == 1 && ns[p].parent >= 0 {
				ns[p].x = 0.5*ns[p].x + 0.25*(ns[p].sx+ns[i].x)
				ns[p].y = 0.5*ns[p].y + 0.25*(ns[p].sy+ns[i].y)
			}
		}
	}
}

// draw adds a network's optical density to dst.
func (v *net) draw(dst []float32, c *network, ns []node) {
	place := func(q *node) (x, y float64) {
		// Thin vessels wind more than trunks.
		k := c.tortuous / (1 + math.Cbrt(q.flow)/0.03)
		return q.x + k*fbm3(c.seed, 0.8*q.x, 0.8*q.y, 0, 3)*2.4, q.y + k*fbm3(c.seed^7, 0.8*q.x, 0.8*q.y, 9, 3)*2.4
	}
	for i := range ns {
		q := &ns[i]
		if q.parent < 0 {
			continue
		}
		x0, y0 := place(&ns[q.parent])
		x1, y1 := place(q)
		r := math.Cbrt(q.flow)
		// Vessels fade toward the limbus, and some lie deeper along the way.
		d := math.Hypot(q.x, q.y)
		strength := geom.Smoothstep(c.inner-0.4, c.inner+2.2, d) * (0.75 + 0.6*fbm3(c.seed^3, 0.5*q.x, 0.5*q.y, 0, 2))
		// Width varies along a vessel as well as from one to the next.
		r *= 1 + 0.28*noise3(c.seed^5, 1.3*q.x, 1.3*q.y, 4)
		v.line(dst, x0, y0, x1, y1, min(r, 0.1), max(0, strength), c.wide)
	}
}

// line adds a vessel's optical density along a segment: chord length through a cylinder of radius r, spread over at
// least a texel so that thin ones keep their total.
func (v *net) line(dst []float32, x0, y0, x1, y1, r, strength, wide float64) {
	l := v.l
	w := max(r, 0.6/l.ppm)
	peak := strength * (r / wide) * (r / w)
	c := float64(l.n) / 2
	i0, i1 := int(c+(min(x0, x1)-2*w)*l.ppm), int(c+(max(x0, x1)+2*w)*l.ppm)+1
	j0, j1 := int(c-(max(y0, y1)+2*w)*l.ppm), int(c-(min(y0, y1)-2*w)*l.ppm)+1
	ex, ey := x1-x0, y1-y0
	inv := 1 / (ex*ex + ey*ey + 1e-12)
	for j := max(0, j0); j < min(l.n, j1); j++ {
		for i := max(0, i0); i < min(l.n, i1); i++ {
			x, y := l.place(i, j)
			t := min(1, max(0, ((x-x0)*ex+(y-y0)*ey)*inv))
			dx, dy := x-x0-t*ex, y-y0-t*ey
			d := peak * math.Exp(-(dx*dx+dy*dy)/(w*w))
			if at := j*l.n + i; d > float64(dst[at]) {
				dst[at] = float32(d)
			}
		}
	}
}

// at returns the density at polar angle phi (rad) and the unit direction (cx, cy) about the axis.
func (v *net) at(phi, cx, cy float64) float64 {
	edge := 1 - geom.Smoothstep(0.85, 0.98, phi/geom.Radians(100))
	if edge == 0 {
		return 0
	}
	return edge * v.l.sample(v.v, phi*v.globe*cx, phi*v.globe*cy)
}
