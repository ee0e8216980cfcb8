package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// stain is what colours skin at a place, against the skin that the colour of the whole stands for.
type stain struct {
	blood   float64 // multiplies the share of blood
	melanin float64 // multiplies the share of pigment
	thin    float64 // 0 to 1: how much of a dark layer of blood, muscle and veins shows through
}

var (
	mucosa = colour.RGB{0.52, 0.20, 0.175}
	wetRim = colour.RGB{0.58, 0.32, 0.275}
)

// stainAt returns the stain at a place v of the skin, whose spot is q and which lies at h in the head, and what multiplies its colour:
// that of the margin and beneath it is painted as what it is. Sizes and strengths: common practice, no published source.
func (s *socket) stainAt(v *place, q *spot, h geom.Vec) (k stain, tone colour.RGB) {
	sd := s.p.Seed
	k, tone = stain{blood: 1, melanin: 1}, colour.Grey(1)
	over := func(c colour.RGB) (r colour.RGB) {
		for i := range c {
			r[i] = c[i] / s.p.Colour[i]
		}
		return r
	}
	switch v.part {
	case beneath:
		return k, over(mucosa)
	case wall:
		return k, tone
	case rearLip, margin, frontLip:
		tone = over(s.paintMargin(v, h, s.p.Colour))
	}
	groove, crest := v.fold.groove, max(0, min(1, v.fold.over/max(0.8*s.p.Fold, 1e-6)))
	at := func(i uint64, f float64) float64 { return noise.Space(sd+i, h.X*f, h.Y*f, h.Z*f) }
	near := 1 - geom.Smoothstep(5, 15, q.d)
	// Patches, coarse to fine.
	k.blood *= math.Exp(0.3*at(21, 0.13) + 0.28*at(22, 0.35) + 0.2*at(24, 1.0))
	k.melanin *= math.Exp(0.12*at(25, 0.09) + 0.11*at(26, 0.3) + 0.1*at(27, 1.3))
	k.thin = near * (0.55 + 0.15*at(28, 0.25)) * (0.75 + 0.25*q.upper)
	// Rim and corners.
	k.blood *= 1 + 0.5*math.Exp(-q.d/1.6)
	k.blood *= 1 + 0.4*geom.Smoothstep(0.75, 1, q.t)*(1-geom.Smoothstep(2, 10, q.d))
	k.blood *= 1 + 0.3*geom.Smoothstep(0.14, 0, q.t)*(1-geom.Smoothstep(1, 8, q.d))
	k.blood *= 1 - 0.3*crest
	// Dark circles, and the floors of folds.
	k.melanin *= 1 + 0.2*(1-q.upper)*geom.Smoothstep(1, 4, q.d)*(1-geom.Smoothstep(7, 13, q.d))
	k.melanin *= 1 + 0.1*q.upper*near + 0.12*groove
	k.melanin *= 1 + s.freckle(h)*geom.Smoothstep(1, 3, q.d)
	if v.part < skin {
		// The rim's own colour takes over from that of skin at the front lip.
		f := geom.Smoothstep(0.7, 1, v.d/v.rim)
		k = stain{blood: 1 + f*(k.blood-1), melanin: 1 + f*(k.melanin-1), thin: f * k.thin}
	}
	return k, tone
}

// freckle returns how much more pigment a freckle has at a place: spots 0.5 to 2 mm wide, at most one in each cell of 2.4 mm.
func (s *socket) freckle(h geom.Vec) float64 {
	if s.p.Freckles <= 0 {
		return 0
	}
	const cell = 2.4
	best := 0.0
	x, y, z := math.Floor(h.X/cell), math.Floor(h.Y/cell), math.Floor(h.Z/cell)
	for n := range 27 {
		c := geom.Vec{X: x + float64(n%3-1), Y: y + float64(n/3%3-1), Z: z + float64(n/9-1)}
		id := int(int64(c.X)*73856093 ^ int64(c.Y)*19349663 ^ int64(c.Z)*83492791)
		if random(s.p.Seed, id, 111) >= s.p.Freckles {
			continue
		}
		m := geom.Vec{X: (c.X + random(s.p.Seed, id, 113)) * cell, Y: (c.Y + random(s.p.Seed, id, 115)) * cell, Z: (c.Z + random(s.p.Seed, id, 117)) * cell}
		r := 0.25 + 0.75*sqr(random(s.p.Seed, id, 119))
		d := h.Sub(m)
		ragged := 1 + 0.35*noise.Space(s.p.Seed+29, h.X*2.1, h.Y*2.1, h.Z*2.1)
		best = max(best, (0.4+0.8*random(s.p.Seed, id, 121))*geom.Smoothstep(1.1, 0.5, d.Len()/(r*ragged)))
	}
	return best
}

func sqr(x float64) float64 { return x * x }
