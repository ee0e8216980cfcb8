package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// relief returns the height of pores and fine lines at a place in the head, mm.
func (s *socket) relief(q *place, h geom.Vec) float64 {
	d, inland := max(0, q.e), q.land
	fine := s.p.Age*0.8 + 0.35
	amp := geom.Smoothstep(0.2, 2.5, d)
	if q.part < skin {
		amp = 0
	}
	sd := s.p.Seed
	// Lines along the rim, and rays from the outer corner.
	lines := noise.Space(sd+11, q.arc*0.16, d*1.25+0.5*noise.Space(sd+12, q.arc*0.3, d*0.3, 0), 3*q.upper)
	lines = -math.Pow(max(0, lines), 1.5)
	corner := geom.Smoothstep(0.3, -0.05, q.t) * geom.Smoothstep(2, 6, d) * (1 - geom.Smoothstep(12, 24, d))
	rays := -math.Max(0, noise.Space(sd+13, q.arc*1.1, d*0.07, 7))
	// A net of pores and little plates.
	net := noise.Space(sd+14, h.X*1.1, h.Y*1.3, h.Z*1.1) + 0.7*noise.Space(sd+15, h.X*2.3, h.Y*2.5, h.Z*2.3)
	slow := noise.Space(sd+16, h.X*0.24, h.Y*0.24, h.Z*0.24)
	return amp*fine*(0.2*inland*lines*(1-geom.Smoothstep(9, 16, d))+0.14*inland*corner*rays+0.05*net+0.05*slow) +
		0.012*noise.Space(sd+17, h.X*2.1, h.Y*2.1, h.Z*2.1)*(1-amp)*geom.Smoothstep(0.3, 0.6, q.d)
}

var (
	mucosa = colour.RGB{0.52, 0.20, 0.175}
	wetRim = colour.RGB{0.58, 0.32, 0.275}
)

// paint returns the skin's colour at a place.
func (s *socket) paint(q *place, h geom.Vec, relief float64) colour.RGB {
	d, f := max(0, q.e), q.fold
	p := s.p
	sd := s.p.Seed
	c := p.Colour
	tint := func(r, g, b, w float64) {
		w = max(0, min(1, w))
		c = c.Mul(colour.RGB{1 + w*(r-1), 1 + w*(g-1), 1 + w*(b-1)})
	}
	slow := noise.Octaves(sd+21, h.X*0.09, h.Y*0.09, h.Z*0.09, 3)
	blood := noise.Octaves(sd+22, h.X*0.35, h.Y*0.35, h.Z*0.35, 3)
	c = c.Scale(1 + 0.08*slow)
	c = c.Mul(colour.RGB{1 + 0.04*blood, 1 - 0.07*blood, 1 - 0.06*blood})
	near := 1 - geom.Smoothstep(6, 18, d)
	tint(0.93, 0.83, 0.80, q.upper*near)                                                   // thin skin of the upper lid
	tint(0.90, 0.83, 0.88, (1-q.upper)*near*geom.Smoothstep(1, 4, d))                      // shadowed skin of the lower one
	tint(1.02, 0.80, 0.76, 0.6*geom.Smoothstep(0.72, 1, q.t)*(1-geom.Smoothstep(1, 9, d))) // inner corner
	tint(1, 0.88, 0.86, geom.Smoothstep(0.15, 0, q.t)*(1-geom.Smoothstep(1, 7, d)))
	tint(0.80, 0.70, 0.68, 0.8*f.groove)
	if spot := noise.Space(sd+23, h.X*0.8, h.Y*0.8, h.Z*0.8); spot > 0.45 {
		tint(0.82, 0.74, 0.68, (spot-0.45)*2.2)
	}
	tint(0.86, 0.78, 0.76, max(0, -relief*11)) // the floor of lines and pores
	c = c.Scale(1 + 0.045*noise.Space(sd+25, h.X*2.2, h.Y*2.4, h.Z*2.2))
	if q.part >= skin {
		redder := math.Exp(-d / 1.5)
		tint(1.0, 0.80, 0.76, 0.75*redder)
		tint(0.82, 0.76, 0.74, 0.5*q.upper*bell((d-0.9)/0.7)) // roots of the lashes
	} else {
		c = s.paintMargin(q, h, c)
	}
	for k := range c {
		c[k] = max(0.01, min(c[k], 0.95))
	}
	return c
}
