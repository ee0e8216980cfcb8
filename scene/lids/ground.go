package lids

import (
	"math"

	"catchlight/scene/geom"
)

// ground is what lids lie on, in a right eye's socket: the globe with the floor beside its inner corner for the rims, and
// over (x, y) the face for the skin.
type ground struct {
	globe *globe
	far   float64 // x of the plane half-way between the eyes
	p     *Params
	age   ageing
	tip   geom.Vec // rear lip at the inner corner
	outer geom.Vec // and about that at the outer one
	z     *grid
}

// Where the rear lips leave the globe at the inner corner they lie on a plane that falls toward the nose by this slope.
const nasalSlope = 0.3

// newGround joins a globe with a face.
func newGround(p *Params, far float64, globe *globe) *ground {
	g := &ground{globe: globe, far: far, p: p, age: atAge(p.Age)}
	g.age.hollow *= 1 - 0.7*p.Blink // a lid that comes down draws the skin out of it
	r := globe.radius
	outer, inner := p.corners(r)
	lift := p.Tilt / (outer + inner)
	g.tip = geom.Vec{X: inner, Y: chordY - lift*inner, Z: r / 3}
	g.outer = geom.Vec{X: -outer, Y: chordY + lift*outer, Z: math.Sqrt(max(1, r*r-outer*outer))}
	return g
}

// lip returns how far the surface that the rims' rear lips lie on is from the globe's centre along the unit direction u,
// where the globe reaches to r: the gap off the globe, and beyond it, at the inner corner, the plane through the tip.
func (g *ground) lip(u geom.Vec, r float64) float64 {
	r += g.p.Gap
	k := u.Z + nasalSlope*u.X
	if u.X <= 0 || k < 0.1 {
		return r
	}
	el := math.Asin(u.Y) - math.Asin(g.tip.Y/g.tip.Len())
	plane := (g.tip.Z + nasalSlope*g.tip.X) / k * bell(el/0.5)
	return smoothMax(r, plane, 0.5*g.globe.radius/12)
}

// exactLip is the point of that surface on the eye itself instead of on its grid.
func (g *ground) exactLip(u geom.Vec) geom.Vec { return u.Mul(g.lip(u, g.globe.exact(u))) }

// lipNormal is its unit normal, evened out over h mm to each side.
func (g *ground) lipNormal(u geom.Vec, h float64) geom.Vec {
	f := geom.NewFrame(u)
	at := func(a, b float64) geom.Vec {
		v := u.Mad(a, f.S).Mad(b, f.T).Unit()
		return v.Mul(g.lip(v, g.globe.at(v)))
	}
	h /= g.globe.radius
	n := at(h, 0).Sub(at(-h, 0)).Cross(at(0, h).Sub(at(0, -h))).Unit()
	if n.Dot(u) < 0 {
		return n.Neg()
	}
	return n
}

// face returns z of the face's ground beneath the skin: low at both corners and the temple, rising to nose, brow and cheek.
// Common practice, no published source, but for how far brow and cheek stand before the cornea.
func (g *ground) face(x, y float64) float64 {
	z := 1.6 + math.Tanh(x/16)
	if x < -13 {
		z -= (x + 13) * (x + 13) / 95
	}
	z += g.nose(x, y)
	// The brow arches over the outer third, is lower, flatter and softer toward the nose, and ends at the temple.
	b := y - 20 - 2.5*bell((x+9)/14)
	if b < 0 {
		b /= 8.5 + 2*geom.Smoothstep(6, 24, x)
	} else {
		b /= 27
	}
	z += (9.4 + g.age.brow) * bell(b) * (1 - 0.3*geom.Smoothstep(-10, -36, x) - 0.4*geom.Smoothstep(-27, -46, x)) * (1 - 0.58*geom.Smoothstep(6, 28, x))
	z += 1.8 * bell((x-17)/7) * bell((y+10)/6) // beside the nose
	// At the inner corner it meets the plane that the rims lie on there.
	z += 1.2 * bell((x-g.tip.X+2.5)/4.5) * bell((y-g.tip.Y)/5.5) * geom.Smoothstep(24, 20, x)
	z += 7.2 * (1 - geom.Smoothstep(-21, -1, y)) * (1 - 0.6*geom.Smoothstep(-8, -36, x)) * (1 - 0.35*geom.Smoothstep(6, 26, x))
	return z
}

// thickness of the skin with what lies beneath it, off globe and face: that of the lids, less at the corners.
func (g *ground) thickness(x, y float64) float64 {
	a := math.Hypot(x-g.outer.X, y-g.outer.Y)
	b := math.Hypot(x-g.tip.X, y-g.tip.Y)
	// Nothing of it reaches the middle of the nose, where both sides meet.
	return g.p.Gap + g.p.Rim*(1-0.55*bell(a/4.5)*geom.Smoothstep(9, 7, a))*(1-0.65*bell(b/6.5)*geom.Smoothstep(12, 9, b))
}

// raw returns z of the skin over (x, y), without folds: globe and face evened out by fat, most above, with what age does.
func (g *ground) raw(x, y float64) float64 {
	thick := g.thickness(x, y)
	k := 9 + 6*geom.Smoothstep(0, 9, y) + 6*geom.Smoothstep(4, 12, x)*geom.Smoothstep(-2, -8, y)
	k *= 1 - 0.5*bell(math.Hypot(x-g.outer.X, y-g.outer.Y)/6)
	k += 4 * bell(math.Hypot(x-g.tip.X+3, y-g.tip.Y)/8) * geom.Smoothstep(24, 20, x) // tendon and fat bridge globe and nose
	globe := g.globe.height(x, y, thick)
	z := smoothMax(globe, g.face(x, y)+thick, k)
	a := &g.age
	// The groove from the inner corner down over the cheek, along two lines.
	d, at := nearest([][2]float64{{14, -5}, {7.5, -11.5}, {-4, -16.5}}, x, y)
	z -= a.trough * bell(d/2.4) * geom.Smoothstep(0, 0.2, at) * (1 - geom.Smoothstep(0.55, 1, at))
	// The lower lid's three pads of fat, and the upper's hollow with its inner pad.
	for _, q := range [3][3]float64{{7.5, -8.6, 0.8}, {-0.5, -10.2, 1}, {-7.8, -8.4, 0.7}} {
		z += a.bag * q[2] * bell((x-q[0])/3.8) * bell((y-q[1])/2.3)
	}
	z -= a.hollow * bell((y-12.5+0.02*x*x)/2.6) * bell((x-2)/11)
	z += 0.5 * a.hollow * bell((x-9)/3) * bell((y-7.5)/2.5)
	return smoothMax(z, globe-0.4*thick, 0.5)
}

// nearest returns the distance of a point from a line of points, and where along it the nearest place lies, 0 to 1.
func nearest(line [][2]float64, x, y float64) (dist, at float64) {
	dist = math.Inf(1)
	n := float64(len(line) - 1)
	for i := range line[1:] {
		a, b := line[i], line[i+1]
		dx, dy := b[0]-a[0], b[1]-a[1]
		f := max(0, min(1, ((x-a[0])*dx+(y-a[1])*dy)/(dx*dx+dy*dy)))
		if d := math.Hypot(x-a[0]-f*dx, y-a[1]-f*dy); d < dist {
			dist, at = d, (float64(i)+f)/n
		}
	}
	return
}

// groundStep is that of the grid that keeps the skin's ground, mm.
const groundStep = 0.4

// bake lays the skin's ground on its grid.
func (g *ground) bake() { g.z = newGrid(temple-2, chin-2, g.far+2, hairline+2, groundStep, g.raw) }

// skin returns z of the skin's ground over (x, y) and its slopes.
func (g *ground) skin(x, y float64) (z, dx, dy float64) { return g.z.at(x, y) }

// normal returns the unit normal of the skin's ground over (x, y).
func (g *ground) normal(x, y float64) geom.Vec {
	_, dx, dy := g.z.at(x, y)
	return geom.Vec{X: -dx, Y: -dy, Z: 1}.Unit()
}

// evenNormal is that normal, evened out over h mm to each side.
func (g *ground) evenNormal(x, y, h float64) geom.Vec {
	at := func(x, y float64) float64 { z, _, _ := g.skin(x, y); return z }
	return geom.Vec{X: at(x-h, y) - at(x+h, y), Y: at(x, y-h) - at(x, y+h), Z: 2 * h}.Unit()
}

// smoothMax returns the larger of a and b where they are k apart, and blends them where they are nearer; it is never
// less than either, and its curvature has no steps.
func smoothMax(a, b, k float64) float64 {
	h := max(0, k-math.Abs(a-b)) / k
	return max(a, b) + h*h*h*k/6
}
