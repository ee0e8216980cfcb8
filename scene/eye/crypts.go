package eye

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// crypt is an opening in the upper deck of the stroma, through which the lower one is seen.
type crypt struct {
	theta, rho float64 // of its middle
	a, b       float64 // half width and half length of all its lobes, mm
	depth      float64 // 0 to 1
	seed       uint64
	lobes      []lobe
}

// lobe is one of the ellipses that a crypt is the union of: its middle from that of the crypt across and along the radius, half axes and
// lean of the long one, mm and radians.
type lobe struct{ x, y, a, b, lean float64 }

// openCrypts places crypts without overlap: most lean on the outside of the collarette, some lie further out, small ones near the
// root. Sizes are log-normal, 0.2 to 1.2 mm long and 0.1 to 0.5 mm wide at the collarette, and outlines unions of one to three uneven
// lobes: no two are alike. Numbers: common practice, no published source.
func (g *grower) openCrypts(n int) {
	r := g.rng
	scale := min(1.2, g.width/3.8)
	for try := 0; len(g.crypts) < n && try < 40*n; try++ {
		c := crypt{theta: 2 * math.Pi * r.Float64(), depth: 0.6 + 0.4*r.Float64(), seed: r.Uint64()}
		long := math.Exp(0.42 * r.NormFloat64())
		switch u := r.Float64(); {
		case u < 0.58:
			c.b = min(0.7, 0.34*long) * scale
			c.a = min(0.32*scale, c.b*(0.32+0.6*r.Float64()*r.Float64()))
			c.rho = g.collarette(c.theta) + (0.85*c.b+0.06*r.NormFloat64())/g.width
		case u < 0.75:
			c.b = min(0.45, 0.17*long) * scale
			c.a = c.b * (0.25 + 0.5*r.Float64())
			c.rho = 0.48 + 0.27*r.Float64()
		default:
			c.b = min(0.25, 0.1*long) * scale
			c.a = c.b * (0.35 + 0.6*r.Float64())
			c.rho = 0.78 + 0.16*r.Float64()
		}
		c.shape(r)
		clear := true
		for _, o := range g.crypts {
			x := g.radius(c.rho) * turn(c.theta-o.theta)
			y := g.width * (c.rho - o.rho)
			if math.Abs(x) < 1.3*(c.a+o.a) && math.Abs(y) < 1.05*(c.b+o.b) {
				clear = false
				break
			}
		}
		if clear {
			g.crypts = append(g.crypts, c)
		}
	}
}

// shape makes the lobes of a crypt within its half axes.
func (c *crypt) shape(r *rand.Rand) {
	n := 1
	for n < 3 && r.Float64() < 0.45 {
		n++
	}
	if n == 1 {
		c.lobes = []lobe{{a: c.a, b: c.b, lean: 0.2 * r.NormFloat64()}}
		return
	}
	for i := range n {
		at := 2*(float64(i)+0.3+0.4*r.Float64())/float64(n) - 1
		size := 0.55 + 0.4*r.Float64()
		c.lobes = append(c.lobes, lobe{x: 0.55 * c.a * r.NormFloat64(), y: 0.6 * at * c.b, a: c.a * size, b: c.b * size * (0.6 + 0.3*r.Float64()), lean: 0.35 * r.NormFloat64()})
	}
}

// cut returns how open the upper deck is at each pixel, 0 to 1: an edge of some hundredths of a mm about each crypt.
func (g *grower) cut(t *raster) []float32 {
	out := make([]float32, t.n*t.n)
	half := float64(t.n) / 2
	boxes := make([][4]int, len(g.crypts))
	for i := range g.crypts {
		c := &g.crypts[i]
		x, y := g.ir.planar(c.theta, c.rho)
		reach := 1.6*max(c.a, c.b) + 0.1
		boxes[i] = [4]int{int(half + (x-reach)*t.ppm), int(half + (x+reach)*t.ppm), int(half - (y+reach)*t.ppm), int(half - (y-reach)*t.ppm)}
	}
	parallel.Runs(t.n, 16, func(j0, j1 int) {
		for i := range g.crypts {
			c, box := &g.crypts[i], boxes[i]
			x0, y0 := g.ir.planar(c.theta, c.rho)
			sin, cos := math.Sincos(c.theta)
			for j := max(j0, box[2]); j < min(j1, box[3]); j++ {
				for k := max(0, box[0]); k < min(t.n, box[1]); k++ {
					x, y := t.place(k, j)
					dx, dy := x-x0, y-y0
					if v := c.open(dy*cos-dx*sin, dx*cos+dy*sin); v > 0 {
						at := j*t.n + k
						out[at] = max(out[at], float32(v))
					}
				}
			}
		}
	})
	return out
}

// open returns how open a crypt is at a place x mm across and y mm out from its middle.
func (c *crypt) open(x, y float64) float64 {
	x += 0.3*c.a*noise3(c.seed, 4*x, 4*y, 0.3) + 0.02*noise3(c.seed+1, 14*x, 14*y, 0.3)
	y += 0.2*c.b*noise3(c.seed+2, 4*x, 4*y, 0.3) + 0.03*noise3(c.seed+3, 14*x, 14*y, 0.3)
	in := math.Inf(-1) // mm inside the edge, about
	for i := range c.lobes {
		l := &c.lobes[i]
		s, o := math.Sincos(l.lean)
		u, v := (x-l.x)*o+(y-l.y)*s, (y-l.y)*o-(x-l.x)*s
		in = max(in, (1-math.Sqrt(u*u/(l.a*l.a)+v*v/(l.b*l.b)))*min(l.a, l.b))
	}
	return c.depth * geom.Smoothstep(-0.02, 0.03, in)
}
