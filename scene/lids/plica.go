package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// The crescent fold of the conjunctiva (plica semilunaris): its free edge lies on the globe, and it falls off toward the caruncle.
// 1.5 to 2.5 mm wide: Wolff's Anatomy of the Eye and Orbit, 8th ed., chapter 2; from memory. The rest is common practice, no
// published source.
const (
	foldOff    = 4.9  // from the corner's tip to the free edge, mm
	foldDeep   = 0.95 // behind the rims
	foldProud  = 0.15 // its crest above the rest of it
	foldEdge   = 0.36 // thickness of the edge over the globe
	foldWide   = 0.8  // as seen from the front, on a flank of the globe that falls away: from the edge to where it falls off
	foldGroove = 0.4  // width of its fall
	foldVeins  = 8
	foldBorder = 0.2 // how deep the edge goes on beneath the globe's surface
)

// foldAt returns the way from the free edge toward the nose: the edge is an arc about the cornea, a little wavy.
func (s *socket) foldAt(k *hollow, x, y float64) float64 {
	v := y - k.tip.Y - 0.6
	return math.Hypot(x, v) - (k.tip.X - foldOff) + 0.13*noise.Line(s.seed+43, y)
}

// edgeHeight returns the height of the fold above the globe at a way u from its free edge; outside it lies beneath.
func edgeHeight(u float64) float64 {
	return foldEdge*geom.Smoothstep(-0.35, 0.75, u) - foldBorder*(1-geom.Smoothstep(-0.8, 0.05, u))
}

// foldDepth returns how deep behind the rims the floor lies there: a shelf, with a groove between it and the caruncle.
func foldDepth(u float64) float64 {
	return foldDeep - foldProud*bell((u-0.7*foldWide)/0.4) + (hollowDeep-foldDeep)*geom.Smoothstep(foldWide-0.1, foldWide+foldGroove, u)
}

// foldTint is the fold's colour at a way u from its edge and a height y: the white's there, pinker toward the nose, with vessels
// along it.
func (s *socket) foldTint(u, y float64) colour.RGB {
	c := colour.Lerp(besideWhite, foldColour, geom.Smoothstep(-0.3, 1.2, u))
	for i := range foldVeins {
		q := uint64(i)
		at := 0.1 + 1.5*(float64(i)+0.3*noise.Lattice(s.seed+45, int64(i)))/foldVeins
		at += 0.12*noise.Line(s.seed+46+q, y*0.9) + 0.04*noise.Line(s.seed+66+q, y*2.7)
		width := 0.03 + 0.012*noise.Lattice(s.seed+47, int64(i))
		w := bell((u-at)/width) * (0.55 + 0.45*noise.Line(s.seed+86+q, y*0.6))
		c = c.Mul(colour.RGB{1 - 0.06*w, 1 - 0.3*w, 1 - 0.28*w})
	}
	return c
}

// Common practice, no published source.
var (
	besideWhite = colour.RGB{0.74, 0.66, 0.62}
	foldColour  = colour.RGB{0.70, 0.475, 0.43}
)
