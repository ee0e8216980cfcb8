package strand

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// tubeSag is how far a tube's middle line may stray from its curve, mm: a pixel of a picture of 4096 pixels over 20 mm.
const tubeSag = 0.005

// Tubes makes a closed tube of so many sides (at least 3) along each hair. Its texture coordinates are the place around (u) and
// along the hair by knots (v, 0 at the root to 1 at the tip). Corners lie on the circle of the hair's half width, so the tube is
// thinner than the hair by up to 1 - cos(pi/sides) of it.
func Tubes(s *Set, sides int) *mesh.Mesh {
	sides = max(3, sides)
	m := &mesh.Mesh{}
	for i := range s.Hairs() {
		tube(m, s, i, sides)
	}
	return m
}

// tube adds the tube of hair i. The frame around is carried along by the least turn, so that the tube does not twist.
func tube(m *mesh.Mesh, s *Set, i, sides int) {
	spans := int(s.Start[i+1]-s.Start[i]) - 1
	first := uint32(len(m.P))
	rings := uint32(0)
	var a, last geom.Vec
	ring := func(c *Span, k int, t float64) {
		d := direction(c, t, last)
		if rings == 0 {
			a = geom.NewFrame(d).S
		}
		a = a.Mad(-a.Dot(d), d)
		if l := a.Len(); l > 1e-6 {
			a = a.Mul(1 / l)
		} else {
			a = geom.NewFrame(d).S
		}
		last = d
		b := d.Cross(a)
		p, r := c.At(t), c.Radius(t)
		for j := range sides {
			sin, cos := math.Sincos(2 * math.Pi * float64(j) / float64(sides))
			n := a.Mul(cos).Mad(sin, b)
			m.P, m.N = append(m.P, p.Mad(r, n)), append(m.N, n)
			m.UV = append(m.UV, geom.UV{U: float64(j) / float64(sides), V: (float64(k) + t) / float64(spans)})
		}
		rings++
	}
	for k := range spans {
		c := s.Span(i, k)
		n := c.Pieces(tubeSag)
		for j := range n {
			ring(&c, k, float64(j)/float64(n))
		}
		if k == spans-1 {
			ring(&c, k, 1)
		}
	}
	at := func(r uint32, j int) uint32 { return first + r*uint32(sides) + uint32(j%sides) }
	for r := range rings - 1 {
		for j := range sides {
			m.Tri = append(m.Tri, [3]uint32{at(r, j), at(r, j+1), at(r+1, j)}, [3]uint32{at(r, j+1), at(r+1, j+1), at(r+1, j)})
		}
	}
	for j := 1; j < sides-1; j++ {
		m.Tri = append(m.Tri, [3]uint32{at(0, 0), at(0, j+1), at(0, j)}, [3]uint32{at(rings-1, 0), at(rings-1, j), at(rings-1, j+1)})
	}
}

// direction is the unit tangent at t; where the curve stands still, the last one, or that of the chord.
func direction(c *Span, t float64, last geom.Vec) geom.Vec {
	d := c.Slope(t)
	if d.Len2() < 1e-24 {
		if d = last; d.Len2() == 0 {
			d = c.At(1).Sub(c.At(0))
		}
		if d.Len2() < 1e-24 {
			d = geom.Vec{Z: 1}
		}
	}
	return d.Unit()
}
