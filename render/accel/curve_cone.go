package accel

import (
	"math"

	"catchlight/scene/geom"
)

// cone finds where the ray o + t d (d of unit length) enters the hull of two balls of different places: t, and the ball of the
// swept family that it touches there, as its share s of the way from the first to the second. far is the middle of the ray's way
// through. A ray that starts inside does not enter.
//
// A point lies in ball s where its distance from the centre is at most the radius; the outermost of all balls is that at which
// the discriminant of this in s is 0. That is a quadratic in t; where its s lies beyond an end, the end's ball is met.
func cone(a, b *curveKnot, o, d geom.Vec) (t, s, mid float64, ok bool) {
	w := geom.Vec{X: o.X - float64(a.at[0]), Y: o.Y - float64(a.at[1]), Z: o.Z - float64(a.at[2])}
	shift := -w.Dot(d) // t is counted from where the ray is nearest to the first centre
	w = w.Mad(shift, d)
	v := geom.Vec{X: float64(b.at[0]) - float64(a.at[0]), Y: float64(b.at[1]) - float64(a.at[1]), Z: float64(b.at[2]) - float64(a.at[2])}
	ra, rb := float64(a.r), float64(b.r)
	dr := rb - ra
	w2 := w.Len2()
	vd := v.Dot(d)
	m := v.Len2() - dr*dr
	if m > 0 {
		a0 := v.Dot(w) + ra*dr
		k := a0*a0 - m*(w2-ra*ra) // of A t^2 - 2 a0 vd t - k <= 0
		A := m - vd*vd
		p := a0 * vd
		disc := p*p + A*k
		switch {
		case disc < 0 && A > 0:
			return 0, 0, 0, false
		case disc >= 0:
			sq := math.Sqrt(disc)
			// The smaller root where A > 0, the larger where the ray runs inside the cone's opening: where it enters in both.
			if p < 0 {
				t = (p - sq) / A
			} else {
				t = -k / (p + sq)
			}
			if s = (a0 + vd*t) / m; s >= 0 && s <= 1 {
				mid = t
				if A > 0 {
					mid = p / A
				}
				return t + shift, s, mid + shift, true
			}
		}
	}
	// The first of the end balls that the ray enters.
	best := math.Inf(1)
	if q := ra*ra - w2; q >= 0 {
		best, s, mid = -math.Sqrt(q), 0, 0
	}
	if q := rb*rb - (w2 - 2*w.Dot(v) + v.Len2() - vd*vd); q >= 0 {
		if t := vd - math.Sqrt(q); t < best {
			best, s, mid = t, 1, vd
		}
	}
	return best + shift, s, mid + shift, best < math.Inf(1)
}
