package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// The puncta, by which tears leave: a small hole on a pale mound of each rim, turned to the globe. Distances from the corner and the
// mound are common practice, no published source; the hole is 0.2 to 0.3 mm across.
const (
	punctumWide = 1.2 // of the mound
	punctumHigh = 0.35
	punctumHole = 0.26
	punctumSunk = 0.1  // how deep the mound's edge lies beneath the rim
	punctumTurn = 0.45 // how far it is turned to the globe, radians
)

// punctum is a mound in its place.
type punctum struct {
	o, axis, along, across geom.Vec // unit directions: along and across lie in the rim's face, axis is turned to the globe
	half                   float64  // of its width, mm; a narrow rim has a smaller one
	rim                    colour.RGB
}

// puncta finds both on the rims' faces.
func (s *socket) puncta() (list [2]punctum) {
	total := s.o.length()
	for i, at := range []float64{total - lowerPunctum, upperPunctum} {
		best := &s.o.s[0]
		for j := range s.o.s {
			if q := &s.o.s[j]; math.Abs(q.arc-at) < math.Abs(best.arc-at) {
				best = q
			}
		}
		face := s.faceNormal(best)
		on := func(f float64) geom.Vec {
			a, n := best.profile(margin, f, face)
			return best.on(a, n, face)
		}
		list[i] = newPunctum(on(0.1), on(0.9), best.away, best.width)
	}
	return list
}

// newPunctum stands on a rim of that width whose face goes from a place near the globe to one farther out; away points away from the
// opening.
func newPunctum(near, far, away geom.Vec, width float64) punctum {
	tall := far.Sub(near).Unit()
	face := away.Mad(-away.Dot(tall), tall).Unit().Neg() // the rim's own normal
	q := punctum{half: min(punctumWide/2, 0.36*width), rim: colour.RGB{0.54, 0.33, 0.265}}
	q.o = geom.Lerp(near, far, 0.32)
	sin, cos := math.Sincos(punctumTurn)
	q.axis = face.Mul(cos).Mad(-sin, tall)
	q.along = tall.Cross(face)
	q.across = face.Cross(q.along)
	return q
}

// at returns a place of the mound and its colour, u and v from -1 to 1.
func (q *punctum) at(u, v float64) (geom.Vec, colour.RGB) {
	r := math.Hypot(u, v)
	c := math.Cos(math.Pi / 2 * min(1, r))
	mm := r * q.half
	hole := 1 - geom.Smoothstep(punctumHole/2-0.05, punctumHole/2+0.05, mm)
	ring := bell((mm - punctumHole/2 - 0.05) / 0.06)
	h := (punctumHigh+punctumSunk)*c*c - punctumSunk - 0.35*hole + 0.02*ring - 1.3*max(0, r-0.75)
	tint := colour.Lerp(q.rim, colour.RGB{0.62, 0.42, 0.35}, c*c)
	tint = colour.Lerp(tint, colour.RGB{0.25, 0.09, 0.07}, hole)
	return q.o.Mad(u*q.half, q.along).Mad(v*q.half, q.across).Mad(h, q.axis), tint
}

// wet is the film of tears on the mound.
func (s *socket) wet(q *punctum) *mesh.Mesh {
	const n = 33
	pts := make([]geom.Vec, 0, n*n)
	for j := range n {
		for i := range n {
			v, _ := q.at(2*float64(i)/(n-1)-1, 1-2*float64(j)/(n-1))
			pts = append(pts, s.head(v.Mad(filmThick, q.axis)))
		}
	}
	return s.surface(pts, n)
}
