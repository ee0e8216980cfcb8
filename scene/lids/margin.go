package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// How many mouths of glands stand along each margin: 25 to 40 above, 20 to 30 below (Knop and others, Invest. Ophthalmol. Vis. Sci.
// 52 (2011), 1938; from memory).
const upperGlands, lowerGlands = 32, 25

// gland is 1 in the mouth of a gland of the margin, 0 away from all: a row of them in front of Marx's line, a little uneven.
func (s *socket) gland(v *place) float64 {
	count := float64(lowerGlands)
	if v.upper > 0.5 {
		count = upperGlands
	}
	x := v.t * count
	k := math.Round(x)
	side := int64(0)
	if v.upper > 0.5 {
		side = 4096
	}
	if v.t < 0.03 || v.t > 0.78 || math.Abs(v.upper-0.5) < 0.49 {
		return 0
	}
	across := (x - k + 0.25*noise.Lattice(s.seed+26, int64(k)+side)) * 26 / count
	at := v.d/v.rim - 0.42 - 0.03*noise.Lattice(s.seed+27, int64(k)+side)
	return bell(across/0.13) * bell(at*v.rim/0.11)
}

// paintMargin returns the colour of the margin, from the wet part next to the globe outward: Marx's line, the mouths of the
// glands, the grey line half-way, skin. Widths: Knop and others 2011 (from memory); colours are common practice.
func (s *socket) paintMargin(v *place, h geom.Vec, skin colour.RGB) colour.RGB {
	x := v.d / v.rim
	wobble := 0.02 * noise.Line(s.seed+28, v.arc*0.9)
	rim := colour.Lerp(skin, wetRim, 0.55)
	c := colour.Lerp(mucosa, wetRim, geom.Smoothstep(-0.02, wetShare, x))
	c = colour.Lerp(c, rim, geom.Smoothstep(wetShare, 0.4, x+wobble))
	c = colour.Lerp(c, c.Mul(colour.RGB{0.97, 0.80, 0.80}), 0.8*bell((x+wobble-wetShare-0.05)*v.rim/0.13)) // Marx's line
	c = colour.Lerp(c, c.Mul(colour.RGB{0.90, 0.88, 0.90}), 0.7*bell((x+wobble-0.53)*v.rim/0.09))          // grey line
	c = colour.Lerp(c, skin.Mul(colour.RGB{1, 0.85, 0.81}), geom.Smoothstep(0.5, 0.85, x))
	c = colour.Lerp(c, colour.RGB{0.60, 0.45, 0.36}, 0.35*s.gland(v))
	c = c.Scale(1 - 0.88*bell((v.d-0.19)/0.15)) // the contact line, where the rear lip turns down to the globe: wet, and no light gets into the cleft
	return c.Scale(1 + 0.05*noise.Space(s.seed+24, h.X*1.7, h.Y*1.7, h.Z*1.7))
}
