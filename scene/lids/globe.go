package lids

import (
	"math"
	"slices"

	"catchlight/scene/geom"
)

// globe is how far the eye reaches in each direction of the head's frame from its centre, on a grid in the stereographic
// plane about +Z. It was widened and smoothed, and nowhere lies beneath the eye that it was made from.
type globe struct {
	n      int
	reach  float64 // of the plane: tan(angle/2) at the grid's edge
	r      []float64
	far    func(d geom.Vec) float64 // the eye itself
	radius float64                  // of the ball beside the cornea
}

// globeAngle is the angle from +Z that a globe's grid reaches.
const globeAngle = 125 * math.Pi / 180

// newGlobe asks far for the distance from the centre to the eye's surface along each direction (unit).
func newGlobe(far func(d geom.Vec) float64) *globe {
	const n = 361
	g := &globe{n: n, reach: math.Tan(globeAngle / 2), r: make([]float64, n*n), far: far}
	for i := range g.r {
		g.r[i] = far(g.direction(i%n, i/n))
	}
	// The largest of the neighbours, then their mean over the same reach: each value that is averaged is at least the one
	// that stood in the middle.
	const k = 1
	g.blend(k, math.Max, 0)
	g.blend(k, func(a, b float64) float64 { return a + b }, 1.0/(2*k+1))
	// The ball's radius: the median round a circle that no cornea covers whole.
	var ring [24]float64
	for i := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(len(ring)))
		ring[i] = g.at(geom.Vec{X: cos, Y: sin, Z: 0.3})
	}
	slices.Sort(ring[:])
	g.radius = ring[len(ring)/2]
	return g
}

// exact returns the distance along the unit direction d as the eye itself has it, for places where lids touch it; where the
// eye has a crack, that of the grid.
func (g *globe) exact(d geom.Vec) float64 {
	grid := g.at(d)
	if r := g.far(d); r > grid-0.3 {
		return min(r, grid)
	}
	return grid
}

// blend folds op over windows of 2k+1 along rows, then columns; scale, where not 0, multiplies each result.
func (g *globe) blend(k int, op func(a, b float64) float64, scale float64) {
	for _, step := range []int{1, g.n} {
		out := make([]float64, len(g.r))
		for i := range g.r {
			at := i / step % g.n
			v := g.r[i]
			for j := -k; j <= k; j++ {
				if j != 0 {
					v = op(v, g.r[i+(max(0, min(g.n-1, at+j))-at)*step])
				}
			}
			if scale != 0 {
				v *= scale
			}
			out[i] = v
		}
		g.r = out
	}
}

func (g *globe) direction(x, y int) geom.Vec {
	a := (2*float64(x)/float64(g.n-1) - 1) * g.reach
	b := (1 - 2*float64(y)/float64(g.n-1)) * g.reach
	s2 := a*a + b*b
	return geom.Vec{X: 2 * a / (1 + s2), Y: 2 * b / (1 + s2), Z: (1 - s2) / (1 + s2)}
}

// at returns the distance along direction d (any length but 0).
func (g *globe) at(d geom.Vec) float64 {
	k := 1 / ((d.Len() + max(d.Z, -0.9*d.Len())) * g.reach)
	m := float64(g.n - 1)
	x, y := (0.5+0.5*d.X*k)*m, (0.5-0.5*d.Y*k)*m
	x, y = max(0, min(x, m-1e-9)), max(0, min(y, m-1e-9))
	ix, iy := int(x), int(y)
	fx, fy := x-float64(ix), y-float64(iy)
	i := iy*g.n + ix
	top := g.r[i] + fx*(g.r[i+1]-g.r[i])
	low := g.r[i+g.n] + fx*(g.r[i+g.n+1]-g.r[i+g.n])
	return top + fy*(low-top)
}

// height returns z of the front of the globe, grown by extra mm, over (x, y). Near its outline, where the front falls
// away, it goes on along a straight slope, so that it is defined everywhere.
func (g *globe) height(x, y, extra float64) float64 {
	rho := math.Hypot(x, y)
	most := g.at(geom.Vec{X: x, Y: y, Z: 1e-9}) + extra
	lim := 0.95 * most
	q := min(rho, lim)
	s := 1.0
	if rho > lim {
		s = lim / rho
	}
	z := math.Sqrt(most*most - q*q)
	for range 6 {
		r := g.at(geom.Vec{X: s * x, Y: s * y, Z: z}) + extra
		z = math.Sqrt(max(r*r-q*q, 1))
	}
	return z - (rho-q)*3 // the slope of a circle there
}
