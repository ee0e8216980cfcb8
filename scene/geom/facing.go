package geom

import "math"

// Facing returns the frame of a rectangle that faces along n with its height upward, turned by roll about n.
func Facing(n Vec, roll float64) Frame {
	n = n.Unit()
	up := Vec{Y: 1}
	if math.Abs(n.Y) > 0.999 {
		up = Vec{Z: 1}
	}
	s := up.Cross(n).Unit()
	t := n.Cross(s)
	sin, cos := math.Sincos(roll)
	return Frame{S: s.Mul(cos).Mad(sin, t), T: t.Mul(cos).Mad(-sin, s), N: n}
}
