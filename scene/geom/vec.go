// Package geom holds the geometry that everything else is written in: vectors, rays, boxes, frames, affine maps
// and maps from the unit square. Lengths are in mm unless a function says otherwise, angles in radians, all in
// float64. It imports nothing of ours.
package geom

import "math"

// Vec is a point or a direction in three dimensions.
type Vec struct{ X, Y, Z float64 }

// UV is a point of a texture plane: u to the right, v down from the top left corner of the picture, one picture
// covering [0, 1) x [0, 1).
type UV struct{ U, V float64 }

// Add returns a + b.
func (a Vec) Add(b Vec) Vec { return Vec{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }

// Sub returns a - b.
func (a Vec) Sub(b Vec) Vec { return Vec{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }

// Mul returns a scaled by s.
func (a Vec) Mul(s float64) Vec { return Vec{a.X * s, a.Y * s, a.Z * s} }

// Mad returns a + s b.
func (a Vec) Mad(s float64, b Vec) Vec { return Vec{a.X + s*b.X, a.Y + s*b.Y, a.Z + s*b.Z} }

// Neg returns -a.
func (a Vec) Neg() Vec { return Vec{-a.X, -a.Y, -a.Z} }

// Dot returns the scalar product.
func (a Vec) Dot(b Vec) float64 { return a.X*b.X + a.Y*b.Y + a.Z*b.Z }

// Cross returns the vector product.
func (a Vec) Cross(b Vec) Vec {
	return Vec{a.Y*b.Z - a.Z*b.Y, a.Z*b.X - a.X*b.Z, a.X*b.Y - a.Y*b.X}
}

// Len returns the Euclidean length.
func (a Vec) Len() float64 { return math.Sqrt(a.Dot(a)) }

// Len2 returns the squared length.
func (a Vec) Len2() float64 { return a.Dot(a) }

// Unit returns a scaled to length 1; the zero vector gives NaN components.
func (a Vec) Unit() Vec { return a.Mul(1 / a.Len()) }

// Hadamard returns the componentwise product.
func (a Vec) Hadamard(b Vec) Vec { return Vec{a.X * b.X, a.Y * b.Y, a.Z * b.Z} }

// MaxAbs returns the largest absolute component.
func (a Vec) MaxAbs() float64 { return max(math.Abs(a.X), math.Abs(a.Y), math.Abs(a.Z)) }

// At returns component i of 0, 1, 2.
func (a Vec) At(i int) float64 {
	switch i {
	case 0:
		return a.X
	case 1:
		return a.Y
	}
	return a.Z
}

// Finite reports whether no component is NaN or infinite.
func (a Vec) Finite() bool {
	s := a.X + a.Y + a.Z
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}

// Lerp returns (1-t) a + t b.
func Lerp(a, b Vec, t float64) Vec { return a.Mul(1-t).Mad(t, b) }

// Mix returns the barycentric mean (1-u-v) a + u b + v c.
func Mix(a, b, c Vec, u, v float64) Vec {
	w := 1 - u - v
	return Vec{w*a.X + u*b.X + v*c.X, w*a.Y + u*b.Y + v*c.Y, w*a.Z + u*b.Z + v*c.Z}
}

// Reflect mirrors w, which leaves the surface, about the unit normal n; the result leaves the surface too.
func Reflect(w, n Vec) Vec { return n.Mul(2 * w.Dot(n)).Sub(w) }

// Refract bends w through a smooth interface. w leaves the surface on the side of the unit normal n (w.n > 0);
// eta is n_t/n_i, the index of the other side over that of w's side. The result leaves the surface on the other
// side. ok is false past the critical angle.
//
// Source: Snell's law in vector form, Born and Wolf, Principles of Optics, 7th ed., section 1.5.
func Refract(w, n Vec, eta float64) (wt Vec, ok bool) {
	ci := w.Dot(n)
	s2 := (1 - ci*ci) / (eta * eta)
	if s2 >= 1 {
		return Vec{}, false
	}
	ct := math.Sqrt(1 - s2)
	return n.Mul(ci/eta-ct).Mad(-1/eta, w), true
}

// Smoothstep rises from 0 at x <= a to 1 at x >= b with zero slope at both ends; a < b.
func Smoothstep(a, b, x float64) float64 {
	t := (x - a) / (b - a)
	if t <= 0 {
		return 0
	}
	if t >= 1 {
		return 1
	}
	return t * t * (3 - 2*t)
}

// Radians turns degrees into radians.
func Radians(deg float64) float64 { return deg * (math.Pi / 180) }

// Degrees turns radians into degrees.
func Degrees(rad float64) float64 { return rad * (180 / math.Pi) }
