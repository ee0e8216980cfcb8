package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Of the strip of tears, mm.
const (
	tearFacet  = 0.025 // length of a facet along the arc: with normals of the closed form its glint is one line
	tearFillet = 0.08  // radius by which the arc turns on into the film
	filmWidth  = 0.3   // how far the film reaches over the rim
	filmThick  = 0.012 // above the skin, so that it is seen
)

// tears makes the water along the lids: the meniscus between globe and rim, from corner to corner, and the film that goes on over the
// rim's last 0.3 mm. Its normals are those of the closed form.
func (s *socket) tears() *mesh.Mesh {
	n := len(s.o.s)
	length := s.o.length()
	lines := make([]tearSection, n)
	steps := 1
	for i := range lines {
		q := &s.o.s[i]
		lines[i] = s.tearSection(q, s.tearHeight(q, length))
		steps = max(steps, int(math.Ceil(lines[i].m.r*lines[i].m.end()/tearFacet)))
	}
	const fillet, film = 4, 6
	rows := steps + fillet + film + 1
	pts, normals := make([]geom.Vec, 0, (n+1)*rows), make([]geom.Vec, 0, (n+1)*rows)
	for j := range rows {
		for i := range n + 1 {
			c := &lines[i%n]
			var v, up geom.Vec
			switch end := c.m.end(); {
			case j <= steps:
				v, up = c.on(end * float64(j) / float64(steps))
			case j <= steps+fillet:
				v, up = c.turn(float64(j-steps) / fillet)
			default:
				v, up = c.over(float64(j-steps-fillet) / film)
			}
			pts, normals = append(pts, s.head(v)), append(normals, s.turned(up))
		}
	}
	m := s.surface(pts, n+1)
	m.N = normals
	return m
}

// tearSection is a meniscus in its place: square to the lid's edge, on the globe.
type tearSection struct {
	m       meniscus
	o       geom.Vec // contact line on the globe
	up, in  geom.Vec // unit: out of the globe there, and along it toward the wall
	slant   float64  // how far the wall leans over the opening for each mm out of the globe
	buried  float64  // how deep the strip lies beneath its place, where the lake takes over, mm
	outward float64  // angle of the wall's normal from up
}

// tearSection lays a meniscus of height h at a station.
func (s *socket) tearSection(q *station, h float64) tearSection {
	c := tearSection{m: newMeniscus(h), slant: q.lean()}
	wall := s.g.globe.under(q.rim)
	lift := q.rim.Len() - wall.Len()
	c.o = s.g.globe.under(wall.Mad(-h, q.away))
	c.up = s.g.globe.normal(c.o)
	// Where the rim leaves the globe for the inner corner, the film stays on the rim, and the arc goes under: there is the lake.
	if away := smoothstep5(0.02, 0.25, lift); away > 0 {
		wall = geom.Lerp(wall, q.rim, away)
		c.o = geom.Lerp(c.o, q.rim.Mad(-h, q.away), away)
		c.up = geom.Lerp(c.up, q.up, away).Unit()
	}
	in := wall.Sub(c.o)
	c.in = in.Mad(-in.Dot(c.up), c.up).Unit()
	c.outward = math.Pi/2 + math.Atan(c.slant)
	c.buried = 0.6 * smoothstep5(0.1, 0.5, lift)
	return c
}

// place returns the point s along the globe toward the wall and n out of it.
func (c *tearSection) place(s, n float64) geom.Vec { return c.o.Mad(s, c.in).Mad(n, c.up) }

// facing is the normal that has turned by an angle from the globe's, away from the wall.
func (c *tearSection) facing(a float64) geom.Vec {
	sin, cos := math.Sincos(a)
	return c.up.Mul(cos).Mad(-sin, c.in)
}

// on returns a place on the arc and its normal.
func (c *tearSection) on(a float64) (v, up geom.Vec) {
	s, n := c.m.at(a)
	return c.place(s, n-c.buried), c.facing(a)
}

// bent returns the place where the fillet's normal has turned to an angle.
func (c *tearSection) bent(a float64) (s, n float64) {
	e := c.m.end()
	s0, n0 := c.m.at(e)
	return s0 + tearFillet*(math.Sin(a)-math.Sin(e)), n0 + tearFillet*(math.Cos(e)-math.Cos(a))
}

// turn returns a place on the fillet and its normal, f from 0 to 1.
func (c *tearSection) turn(f float64) (v, up geom.Vec) {
	a := c.m.end() + f*(c.outward-c.m.end())
	s, n := c.bent(a)
	return c.place(s, n-c.buried), c.facing(a)
}

// over returns a place on the film over the rim and its normal; it ends within the skin.
func (c *tearSection) over(f float64) (v, up geom.Vec) {
	s, n := c.bent(c.outward)
	n += f*filmWidth - c.buried*(1-geom.Smoothstep(0, 0.4, f))
	wall := c.m.h - c.slant*n - filmThick + (filmThick+0.05)*smoothstep5(0.6, 1, f)
	return c.place(s+(wall-s)*geom.Smoothstep(0, 0.4, f), n), c.facing(c.outward)
}

// length is the way round the opening, mm.
func (o *opening) length() float64 {
	return o.total
}

// under returns the point of the globe in the direction of v.
func (g *globe) under(v geom.Vec) geom.Vec { return v.Mul(g.at(v) / v.Len()) }

// normal returns the globe's unit normal at its point v, evened out over the size of a meniscus.
func (g *globe) normal(v geom.Vec) geom.Vec {
	const reach = 0.25
	f := geom.NewFrame(v.Unit())
	at := func(a, b float64) geom.Vec { return g.under(v.Mad(a*reach, f.S).Mad(b*reach, f.T)) }
	n := at(1, 0).Sub(at(-1, 0)).Cross(at(0, 1).Sub(at(0, -1))).Unit()
	if n.Dot(v) < 0 {
		n = n.Neg()
	}
	return n
}
