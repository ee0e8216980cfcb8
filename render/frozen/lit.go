package frozen

import (
	"math"

	"catchlight/light"
	"catchlight/scene/geom"
)

// Lit says how light falls on an object, by the outward normal in the world, visibility ignored: it only sets odds, which no
// mean depends on. It is a table over the square of the octahedron.
type Lit struct {
	cells [litSide * litSide]LitCell
}

// LitCell is what falls on one normal.
type LitCell struct {
	Share float64  // of what falls on the normal that most falls on, in [0, 1]
	Rest  float64  // the part of it that comes from farther than 60 degrees from Way
	Net   float64  // net flux of all light over what falls on that normal, in [0, 1]
	Way   geom.Vec // unit vector to where light comes from, that of the near side first; zero where it comes from all around
}

const litSide = 16

// NewLit makes the table for an object about centre. Each light is stood for by the points of a lattice of Fibonacci.
func NewLit(lights []*light.Light, centre geom.Vec) *Lit {
	type ray struct {
		d geom.Vec
		w float64
	}
	var rays []ray
	for _, l := range lights {
		n, step := 13, 8
		if l.Kind == light.Environment {
			n, step = 377, 233
		} else if l.Kind == light.Constant {
			n, step = 89, 55
		}
		for i := range n {
			s, ok := l.Sample(centre, (float64(i)+0.5)/float64(n), math.Mod(float64(i*step)+0.5, float64(n))/float64(n))
			if w := s.L.Luminance() / s.Pdf / float64(n); ok && s.Pdf > 0 && w > 0 && !math.IsInf(w, 0) {
				rays = append(rays, ray{s.Wi, w})
			}
		}
	}
	t := &Lit{}
	least, most := math.Inf(1), 0.0
	for i := range t.cells {
		c, n := &t.cells[i], litNormal(i)
		for _, r := range rays {
			c.Share += r.w * max(0, r.d.Dot(n))
		}
		least, most = min(least, c.Share), max(most, c.Share)
	}
	for i := range t.cells {
		c, n := &t.cells[i], litNormal(i)
		// What falls on the near side counts most: light dies away on its way around the object. The even part of all light,
		// of the radiance least/pi, points nowhere; weighted so it would point along n.
		sum := 0.0
		for _, r := range rays {
			k := r.w * math.Exp(r.d.Dot(n))
			c.Way = c.Way.Mad(k, r.d)
			sum += k
		}
		c.Way = c.Way.Mad(-4*least/math.E, n)
		if c.Way.Len() > 0.1*sum {
			c.Way = c.Way.Unit()
		} else {
			c.Way = geom.Vec{}
		}
		for _, r := range rays {
			if r.d.Dot(c.Way) < 0.5 {
				c.Rest += r.w * max(0, r.d.Dot(n))
			}
		}
	}
	net := 0.0
	if most > 0 {
		var f geom.Vec
		for _, r := range rays {
			f = f.Mad(r.w, r.d)
		}
		net = min(1, f.Len()/most)
	}
	for i := range t.cells {
		if c := &t.cells[i]; most > 0 {
			c.Share /= most
			c.Rest /= most
			c.Net = net
		} else {
			c.Share, c.Rest = 1, 1
		}
	}
	return t
}

// At returns what falls on the unit normal n; nil knows of light from all around.
func (t *Lit) At(n geom.Vec) LitCell {
	if t == nil {
		return LitCell{Share: 1, Rest: 1}
	}
	k := 1 / (math.Abs(n.X) + math.Abs(n.Y) + math.Abs(n.Z))
	x, y := n.X*k, n.Y*k
	if n.Z < 0 {
		x, y = math.Copysign(1-math.Abs(y), x), math.Copysign(1-math.Abs(x), y)
	}
	at := func(x float64) int { return max(0, min(litSide-1, int((x+1)*litSide/2))) }
	return t.cells[at(y)*litSide+at(x)]
}

// litNormal returns the normal in the middle of a cell.
func litNormal(i int) geom.Vec {
	return octahedral((float64(i%litSide)+0.5)/litSide, (float64(i/litSide)+0.5)/litSide)
}

// octahedral returns the direction of a point of the unit square.
func octahedral(u, v float64) geom.Vec {
	x, y := 2*u-1, 2*v-1
	z := 1 - math.Abs(x) - math.Abs(y)
	if z < 0 {
		x, y = math.Copysign(1-math.Abs(y), x), math.Copysign(1-math.Abs(x), y)
	}
	return geom.Vec{X: x, Y: y, Z: z}.Unit()
}
