package geom

import "math"

// Ray starts at O and runs along the unit direction D.
type Ray struct{ O, D Vec }

// At returns the point at distance t, in mm.
func (r Ray) At(t float64) Vec { return r.O.Mad(t, r.D) }

// Box is an axis-aligned box. The zero value is the point at the origin; EmptyBox holds nothing.
type Box struct{ Lo, Hi Vec }

// EmptyBox returns a box that grows to whatever is added first.
func EmptyBox() Box {
	i := math.Inf(1)
	return Box{Vec{i, i, i}, Vec{-i, -i, -i}}
}

// Grow returns the smallest box that holds b and p.
func (b Box) Grow(p Vec) Box {
	return Box{
		Vec{min(b.Lo.X, p.X), min(b.Lo.Y, p.Y), min(b.Lo.Z, p.Z)},
		Vec{max(b.Hi.X, p.X), max(b.Hi.Y, p.Y), max(b.Hi.Z, p.Z)},
	}
}

// Union returns the smallest box that holds both.
func (b Box) Union(c Box) Box { return b.Grow(c.Lo).Grow(c.Hi) }

// Empty reports whether the box holds no point.
func (b Box) Empty() bool { return b.Lo.X > b.Hi.X || b.Lo.Y > b.Hi.Y || b.Lo.Z > b.Hi.Z }

// Centre returns the middle of the box.
func (b Box) Centre() Vec { return b.Lo.Add(b.Hi).Mul(0.5) }

// Size returns the edge lengths.
func (b Box) Size() Vec { return b.Hi.Sub(b.Lo) }

// Holds reports whether the box holds p.
func (b Box) Holds(p Vec) bool {
	return p.X >= b.Lo.X && p.X <= b.Hi.X && p.Y >= b.Lo.Y && p.Y <= b.Hi.Y && p.Z >= b.Lo.Z && p.Z <= b.Hi.Z
}

// Meets reports whether the boxes have a point in common.
func (b Box) Meets(c Box) bool {
	return b.Lo.X <= c.Hi.X && c.Lo.X <= b.Hi.X && b.Lo.Y <= c.Hi.Y && c.Lo.Y <= b.Hi.Y && b.Lo.Z <= c.Hi.Z && c.Lo.Z <= b.Hi.Z
}

// Hit returns the parameter interval of o + t d, t in [t0, t1], that lies in the box; ok is false where none does.
// inv is the componentwise reciprocal of d (infinities allowed).
func (b Box) Hit(o, inv Vec, t0, t1 float64) (lo, hi float64, ok bool) {
	lo, hi = clip((b.Lo.X-o.X)*inv.X, (b.Hi.X-o.X)*inv.X, t0, t1)
	lo, hi = clip((b.Lo.Y-o.Y)*inv.Y, (b.Hi.Y-o.Y)*inv.Y, lo, hi)
	lo, hi = clip((b.Lo.Z-o.Z)*inv.Z, (b.Hi.Z-o.Z)*inv.Z, lo, hi)
	return lo, hi, lo <= hi
}

// clip narrows [lo, hi] to what lies between n and f, of either order.
func clip(n, f, lo, hi float64) (float64, float64) {
	if n > f {
		n, f = f, n
	}
	// A NaN (0 times infinity: the ray lies in the slab's plane) loses both comparisons and leaves the interval.
	if n > lo {
		lo = n
	}
	if f < hi {
		hi = f
	}
	return lo, hi
}

// Frame is a right-handed orthonormal basis; N is the normal.
type Frame struct{ S, T, N Vec }

// NewFrame builds a frame about the unit vector n without a branch on its direction except the sign of n.Z.
//
// Source: Duff et al., Building an Orthonormal Basis, Revisited, JCGT 6(1), 2017.
func NewFrame(n Vec) Frame {
	s := math.Copysign(1, n.Z)
	a := -1 / (s + n.Z)
	b := n.X * n.Y * a
	return Frame{Vec{1 + s*n.X*n.X*a, s * b, -s * n.X}, Vec{b, s + n.Y*n.Y*a, -n.Y}, n}
}

// World takes local coordinates to world.
func (f Frame) World(v Vec) Vec {
	return f.S.Mul(v.X).Mad(v.Y, f.T).Mad(v.Z, f.N)
}

// Local takes world coordinates to local.
func (f Frame) Local(v Vec) Vec { return Vec{v.Dot(f.S), v.Dot(f.T), v.Dot(f.N)} }

// Affine is the map x -> M x + T, M given by rows.
type Affine struct {
	M [3]Vec
	T Vec
}

// Identity returns the map that changes nothing.
func Identity() Affine { return Affine{M: [3]Vec{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}} }

// Translate returns the map that adds t.
func Translate(t Vec) Affine { a := Identity(); a.T = t; return a }

// Scale returns the map that scales all axes by s.
func Scale(s float64) Affine { return Affine{M: [3]Vec{{s, 0, 0}, {0, s, 0}, {0, 0, s}}} }

// RotateX turns, as RotateY and RotateZ do, by an angle in radians, right-handed about their axis.
func RotateX(a float64) Affine {
	s, c := math.Sincos(a)
	return Affine{M: [3]Vec{{1, 0, 0}, {0, c, -s}, {0, s, c}}}
}

// RotateY turns about +Y; see RotateX.
func RotateY(a float64) Affine {
	s, c := math.Sincos(a)
	return Affine{M: [3]Vec{{c, 0, s}, {0, 1, 0}, {-s, 0, c}}}
}

// RotateZ turns about +Z; see RotateX.
func RotateZ(a float64) Affine {
	s, c := math.Sincos(a)
	return Affine{M: [3]Vec{{c, -s, 0}, {s, c, 0}, {0, 0, 1}}}
}

// Turn returns the smallest rotation that takes the unit vector from to the unit vector to: about their common normal.
// They must not be opposite.
func Turn(from, to Vec) Affine {
	v := from.Cross(to)
	k := 1 / (1 + from.Dot(to))
	c := from.Dot(to)
	return Affine{M: [3]Vec{
		{c + k*v.X*v.X, k*v.X*v.Y - v.Z, k*v.X*v.Z + v.Y},
		{k*v.X*v.Y + v.Z, c + k*v.Y*v.Y, k*v.Y*v.Z - v.X},
		{k*v.X*v.Z - v.Y, k*v.Y*v.Z + v.X, c + k*v.Z*v.Z},
	}}
}

// Point maps a point.
func (a Affine) Point(p Vec) Vec { return a.Vector(p).Add(a.T) }

// Vector maps a direction or displacement.
func (a Affine) Vector(v Vec) Vec { return Vec{a.M[0].Dot(v), a.M[1].Dot(v), a.M[2].Dot(v)} }

// Then returns the map that applies a first and b after it.
func (a Affine) Then(b Affine) Affine {
	c := a.columns()
	m0, m1, m2 := b.Vector(c[0]), b.Vector(c[1]), b.Vector(c[2])
	return Affine{M: [3]Vec{{m0.X, m1.X, m2.X}, {m0.Y, m1.Y, m2.Y}, {m0.Z, m1.Z, m2.Z}}, T: b.Point(a.T)}
}

func (a Affine) columns() [3]Vec {
	return [3]Vec{{a.M[0].X, a.M[1].X, a.M[2].X}, {a.M[0].Y, a.M[1].Y, a.M[2].Y}, {a.M[0].Z, a.M[1].Z, a.M[2].Z}}
}

// Det returns the determinant of the linear part; negative for a mirror.
func (a Affine) Det() float64 { return a.M[0].Dot(a.M[1].Cross(a.M[2])) }

// Inverse returns the inverse map; the linear part must not be singular.
func (a Affine) Inverse() Affine {
	d := 1 / a.Det()
	c0, c1, c2 := a.M[1].Cross(a.M[2]).Mul(d), a.M[2].Cross(a.M[0]).Mul(d), a.M[0].Cross(a.M[1]).Mul(d)
	inv := Affine{M: [3]Vec{{c0.X, c1.X, c2.X}, {c0.Y, c1.Y, c2.Y}, {c0.Z, c1.Z, c2.Z}}}
	inv.T = inv.Vector(a.T).Neg()
	return inv
}

// Normal maps a surface normal, given the inverse of the map that moves points: the result is not of unit length.
func (a Affine) Normal(n Vec) Vec {
	return a.M[0].Mul(n.X).Mad(n.Y, a.M[1]).Mad(n.Z, a.M[2])
}
