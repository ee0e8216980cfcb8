package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
)

// roundCap is the radius of a cap, as a share of the globe's, above which it is no cornea: people's is 0.65, the back of a
// globe drawn out by a tenth 0.9. Own choice.
const roundCap = 0.8

// cornea returns the direction in which the cornea lies: that of what stands out of the sphere most, unless there is no
// cap there that is curved like a cornea, but one on a principal axis of the shell. Of a globe drawn out along its axis
// the back stands out of the sphere as the front does.
func (r *Rough) cornea(most geom.Vec) geom.Vec {
	best, out := r.capRadius(most), most
	if best < roundCap {
		return most
	}
	for _, d := range principal(r.pts) {
		for _, d := range []geom.Vec{d, d.Neg()} {
			if k := r.capRadius(d); k < roundCap && k < best {
				best, out = k, d
			}
		}
	}
	return out
}

// capRadius returns the radius of curvature of the cap about an axis of symmetry near a direction, as a share of the
// sphere's radius: mean of rho^2 by mean of rho sin(theta), which on a sphere is its radius. +Inf where there is none.
func (r *Rough) capRadius(toward geom.Vec) float64 {
	R := r.Sphere.Radius.V
	near := func(at, dir geom.Vec, reach float64) (some []Point) {
		for _, q := range r.pts {
			v := q.P.Sub(at)
			if z := q.P.Sub(r.Sphere.Centre).Dot(dir); z > 0 && q.N.Dot(dir) > 0 && v.Mad(-v.Dot(dir), dir).Len() < reach {
				some = append(some, q)
			}
		}
		return some
	}
	a := Revolution(near(r.Sphere.Centre, toward, 0.6*R), toward, "")
	if !a.SE.Held {
		return math.Inf(1)
	}
	square, slope := 0.0, 0.0
	for _, q := range near(a.Point, a.Dir, 0.35*R) {
		v := q.P.Sub(a.Point)
		rho := v.Mad(-v.Dot(a.Dir), a.Dir)
		square, slope = square+q.A*rho.Len2(), slope+q.A*rho.Dot(q.N)
	}
	if !(slope > 0) {
		return math.Inf(1)
	}
	return square / slope / R
}

// principal returns the principal axes of the points by area; none where they have no extent.
func principal(pts []Point) (axes []geom.Vec) {
	var mid geom.Vec
	area := 0.0
	for _, q := range pts {
		mid, area = mid.Mad(q.A, q.P), area+q.A
	}
	mid = mid.Mul(1 / area)
	s := mat.NewSymDense(3, nil)
	for _, q := range pts {
		v := q.P.Sub(mid)
		d := [3]float64{v.X, v.Y, v.Z}
		for i := range 3 {
			for j := i; j < 3; j++ {
				s.SetSym(i, j, s.At(i, j)+q.A/area*d[i]*d[j])
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(s, true) {
		return nil
	}
	var vec mat.Dense
	e.VectorsTo(&vec)
	for i := range 3 {
		if v := (geom.Vec{X: vec.At(0, i), Y: vec.At(1, i), Z: vec.At(2, i)}); v.Finite() && v.Len2() > 0 {
			axes = append(axes, v.Unit())
		}
	}
	return axes
}
