package lids

import "math"

// meniscus is the section of the water in the corner between globe and lid, square to the lid: an arc that leaves the globe
// tangentially and meets the rim's wall at the contact angle. At this size weight bends it by less than a micrometre (capillary
// length 2.1 mm).
//
// The arc of a height of 0.24 mm has a radius of 0.31 mm; measured were 0.365 +- 0.153 mm (Yokoi et al. 1999) and heights of 0.16
// to 0.35 mm (Doughty et al. 2002). Both from memory.
type meniscus struct {
	h float64 // from the contact line on the globe to the wall, along the globe, mm
	r float64 // radius, mm
}

// contactAngle is that of tears on the skin of the rim. Our own choice among 10 to 45 degrees that fit measured radii.
const contactAngle = 40 * math.Pi / 180

func newMeniscus(h float64) meniscus { return meniscus{h, h / math.Cos(contactAngle)} }

// end is the angle by which the arc's normal has turned away from the globe's where it meets the wall.
func (m meniscus) end() float64 { return math.Pi/2 - contactAngle }

// foot is how far out of the globe the arc meets the wall, mm.
func (m meniscus) foot() float64 { return m.r - math.Sqrt(m.r*m.r-m.h*m.h) }

// at returns the place where the normal has turned by angle a: s along the globe toward the wall, n out of the globe, mm.
func (m meniscus) at(a float64) (s, n float64) {
	sin, cos := math.Sincos(a)
	return m.r * sin, m.r * (1 - cos)
}

// Share of the lower lid's height along the upper lid, gain in the inner corner where it runs into the tear lake, and how uneven it is.
// Common practice, no published source, but for the upper being the lower one.
const (
	upperTears = 0.15 / 0.24
	lakeGain   = 0.5
	unevenness = 0.15
)

// tearHeight returns the height of the meniscus at a station: never nothing, and the same on both sides of the loop's end.
func (s *socket) tearHeight(q *station, length float64) float64 {
	wave := func(size float64, k uint64) float64 {
		turns := max(1, math.Round(length/size))
		return math.Cos(2 * math.Pi * (turns*q.arc/length + float64((s.seed*2654435761+k*40503)%1000)/1000))
	}
	h := s.p.Tears * (1 + (upperTears-1)*q.upper)
	h *= 1 + lakeGain*smoothstep5(0.72, 0.95, q.t)
	return h * (1 + unevenness*(0.6*wave(9, 1)+0.4*wave(6.5, 2)))
}

// smoothstep5 goes from 0 at a to 1 at b without a step in its curvature, so that no glint shows where it begins.
func smoothstep5(a, b, x float64) float64 {
	t := max(0, min(1, (x-a)/(b-a)))
	return t * t * t * (10 + t*(6*t-15))
}
