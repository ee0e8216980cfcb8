package lids

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/noise"
	"catchlight/scene/strand"
)

// Hair is all hairs of one kind, of one eye or of a pair.
type Hair struct {
	Name string // lashes, brows or down
	Set  *strand.Set
}

// underSkin is how deep the first knot of a hair lies beneath the skin, mm.
const underSkin = 0.3

// draws returns the random numbers of one hair of a kind, at one of its tries. They depend on nothing else, so that a key of
// one kind changes no hair of another, and more hairs leave those that were there as they were.
func (s *socket) draws(kind string, i, try int) *rand.Rand {
	h := s.seed
	for _, c := range []byte(kind) {
		h = noise.Mix64(h ^ uint64(c))
	}
	return rand.New(rand.NewPCG(h, noise.Mix64(uint64(i)<<8|uint64(try))))
}

// roomAt returns how far a root at c would stand from those that are there, less where fewer are wanted (k of the full density), and 0
// where that is too near.
func roomAt(roots [][2]float64, c [2]float64, k float64) float64 {
	near := math.Inf(1)
	for _, q := range roots {
		near = min(near, math.Hypot(q[0]-c[0], q[1]-c[1]))
	}
	if near < leastRoots {
		return 0
	}
	return near * math.Sqrt(k)
}

// uniform returns a number between lo and hi.
func uniform(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// within returns a normal deviate that is kept within two standard deviations.
func within(r *rand.Rand) float64 { return max(-2, min(r.NormFloat64(), 2)) }

// taper returns the share of a hair's width at the share u of its length: even at first, fine at the tip.
// Common practice, no published source.
func taper(u float64) float64 { return (1 - 0.15*u) * math.Sqrt(max(0, 1-u*u*u)) }

// widths returns the half widths at the given shares of the length of a hair whose diameter at the root is width, mm. The tip
// keeps a hundredth of a millimetre, or what a finer hair has.
func widths(width float64, at []float64) []float32 {
	out := make([]float32, len(at))
	for i, u := range at {
		out[i] = float32(max(width*taper(max(0, u)), min(0.01, 0.5*width)) / 2)
	}
	return out
}

// bend returns k for which the law of turning below comes to a total turn, in radians. It falls from 84 degrees at 0.21.
func bend(turn float64) float64 {
	lo, hi := 0.21, 1e3
	for range 50 {
		if mid := math.Sqrt(lo * hi); turnedAt(mid, 1) > turn {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Sqrt(lo * hi)
}

// turnedAt returns how far a hair has turned at the share u of its length. Its shape is that of a piece of a cycloid whose
// rolling circle has k lengths of the hair for a radius, from a little beyond the cusp on: it bends most near the root.
//
// Source: the shape of fastest descent as that of eyelashes, Sci. Adv. (2024), from memory; the cycloid's intrinsic equation,
// closed form.
func turnedAt(k, u float64) float64 {
	const from = 0.06
	return math.Acos(1-(u+from)/(4*k)) - math.Acos(1-from/(4*k))
}

// front is the skin of a right eye's socket as seen from the front: its foremost z over (x, y) on a grid, -Inf where there is
// none.
type front struct {
	x, y float64
	w, h int
	z    []float64
}

// frontStep is the pitch of a front's grid, mm.
const frontStep = 0.25

// newFront lays out the grid over a box (x from 0 to 1, y from 2 to 3) and draws the skin, which is in the head's frame.
func (s *socket) newFront(skin *mesh.Mesh, box [4]float64) *front {
	f := &front{x: box[0], y: box[2], w: int((box[1]-box[0])/frontStep) + 2, h: int((box[3]-box[2])/frontStep) + 2}
	f.z = make([]float64, f.w*f.h)
	for i := range f.z {
		f.z[i] = math.Inf(-1)
	}
	p := make([]geom.Vec, len(skin.P))
	for i, v := range skin.P {
		v = s.socketOf(v)
		p[i] = geom.Vec{X: (v.X - f.x) / frontStep, Y: (v.Y - f.y) / frontStep, Z: v.Z}
	}
	for _, t := range skin.Tri {
		f.draw(p[t[0]], p[t[1]], p[t[2]])
	}
	return f
}

// draw lays a triangle into the grid; x and y are in steps of it.
func (f *front) draw(a, b, c geom.Vec) {
	area := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
	if area == 0 {
		return
	}
	x0, x1 := max(0, int(math.Ceil(min(a.X, b.X, c.X)))), min(f.w-1, int(math.Floor(max(a.X, b.X, c.X))))
	y0, y1 := max(0, int(math.Ceil(min(a.Y, b.Y, c.Y)))), min(f.h-1, int(math.Floor(max(a.Y, b.Y, c.Y))))
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			px, py := float64(x), float64(y)
			u := ((px-a.X)*(c.Y-a.Y) - (c.X-a.X)*(py-a.Y)) / area
			v := ((b.X-a.X)*(py-a.Y) - (px-a.X)*(b.Y-a.Y)) / area
			if u < 0 || v < 0 || u+v > 1 {
				continue
			}
			z := &f.z[y*f.w+x]
			*z = max(*z, a.Z+u*(b.Z-a.Z)+v*(c.Z-a.Z))
		}
	}
}

// at returns the skin's foremost z over (x, y), and whether there is skin all about.
func (f *front) at(x, y float64) (float64, bool) {
	x, y = (x-f.x)/frontStep, (y-f.y)/frontStep
	i, j := int(math.Floor(x)), int(math.Floor(y))
	if i < 0 || j < 0 || i >= f.w-1 || j >= f.h-1 {
		return math.Inf(-1), false
	}
	u, v := x-float64(i), y-float64(j)
	q := f.z[j*f.w+i:]
	low, high := q[0]*(1-u)+q[1]*u, q[f.w]*(1-u)+q[f.w+1]*u
	z := low*(1-v) + high*v
	return z, !math.IsInf(z, -1) && !math.IsNaN(z)
}

// normal returns the unit normal there, evened out over h mm to each side, and whether there is skin.
func (f *front) normal(x, y, h float64) (geom.Vec, bool) {
	a, ok0 := f.at(x-h, y)
	b, ok1 := f.at(x+h, y)
	c, ok2 := f.at(x, y-h)
	d, ok3 := f.at(x, y+h)
	if !(ok0 && ok1 && ok2 && ok3) {
		return geom.Vec{Z: 1}, false
	}
	return geom.Vec{X: (a - b) / (2 * h), Y: (c - d) / (2 * h), Z: 1}.Unit(), true
}

// lying is a hair that lies along the skin.
type lying struct {
	x, y   float64
	length float64
	lean   float64 // angle off the skin at the root, radians; it lies down toward a third of it
	// way returns the direction along the skin, as seen from the front, at a place.
	way   func(x, y float64) (dx, dy float64)
	knots int
}

// lay follows the skin with a hair: its knots, the first beneath the skin, and the share of the length at each. It returns
// nothing where there is no skin.
func (f *front) lay(q lying) (p []geom.Vec, at []float64) {
	ds := q.length / float64(q.knots)
	x, y, height := q.x, q.y, 0.0
	for i := range q.knots + 1 {
		n, ok := f.normal(x, y, 0.5)
		z, there := f.at(x, y)
		if !ok || !there {
			return nil, nil
		}
		u := float64(i) / float64(q.knots)
		dx, dy := q.way(x, y)
		// The direction along the skin whose view from the front this is.
		d := geom.Vec{X: dx, Y: dy, Z: -(n.X*dx + n.Y*dy) / max(0.2, n.Z)}.Unit()
		on := geom.Vec{X: x, Y: y, Z: z}
		sin, cos := math.Sincos(q.lean * (1 - 0.67*u))
		if i == 0 {
			p, at = append(p, on.Mad(-underSkin*cos, d).Mad(-underSkin*sin, n)), append(at, -underSkin/q.length)
		}
		p, at = append(p, on.Mad(height, n)), append(at, u)
		x, y, height = x+ds*cos*d.X, y+ds*cos*d.Y, height+ds*sin
	}
	return p, at
}

// add puts a hair of a right eye's socket into a set in the head's frame.
func (s *socket) add(set *strand.Set, p []geom.Vec, r []float32, eu, ph float64) {
	q := make([]geom.Vec, len(p))
	for i, v := range p {
		q[i] = s.head(v)
	}
	set.Add(q, r, float32(eu), float32(ph))
}

// socketOf takes a point of the head's frame into a right eye's socket: head the other way round.
func (s *socket) socketOf(v geom.Vec) geom.Vec {
	v.X -= s.at
	if s.left {
		v.X = -v.X
	}
	return v
}
