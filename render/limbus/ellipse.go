package limbus

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Point is a film position.
type Point struct{ X, Y float64 }

// Ellipse has its centre at X, Y and half axes A >= B > 0; the long one lies Angle radians from +x toward +y, in
// (-pi/2, pi/2].
type Ellipse struct {
	X, Y, A, B, Angle float64
}

// LeastPoints is how many points an ellipse needs.
const LeastPoints = 5

// Fit returns the ellipse that lies nearest to the points, by the algebraic distance.
//
// Source: Halíř and Flusser, Numerically Stable Direct Least Squares Fitting of Ellipses, WSCG 1998, after Fitzgibbon, Pilu
// and Fisher, Direct Least Square Fitting of Ellipses, IEEE Trans. Pattern Anal. Mach. Intell. 21(5), 1999.
func Fit(points []Point) (Ellipse, error) {
	if len(points) < LeastPoints {
		return Ellipse{}, fmt.Errorf("limbus: %d points; an ellipse needs %d at least", len(points), LeastPoints)
	}
	// Centred and scaled, so that squares stay of one size.
	var mx, my, size float64
	n := float64(len(points))
	for _, p := range points {
		if math.IsNaN(p.X-p.X) || math.IsNaN(p.Y-p.Y) {
			return Ellipse{}, fmt.Errorf("limbus: (%g, %g) is no place", p.X, p.Y)
		}
		mx, my = mx+p.X/n, my+p.Y/n
	}
	for _, p := range points {
		size += math.Hypot(p.X-mx, p.Y-my) / n
	}
	if size == 0 {
		return Ellipse{}, errors.New("limbus: all points lie in one place")
	}
	s1, s2, s3 := mat.NewDense(3, 3, nil), mat.NewDense(3, 3, nil), mat.NewDense(3, 3, nil)
	for _, p := range points {
		x, y := (p.X-mx)/size, (p.Y-my)/size
		d1, d2 := [3]float64{x * x, x * y, y * y}, [3]float64{x, y, 1}
		for i := range 3 {
			for j := range 3 {
				s1.Set(i, j, s1.At(i, j)+d1[i]*d1[j])
				s2.Set(i, j, s2.At(i, j)+d1[i]*d2[j])
				s3.Set(i, j, s3.At(i, j)+d2[i]*d2[j])
			}
		}
	}
	line := errors.New("limbus: the points lie on a line")
	var t, m, u mat.Dense
	if err := t.Solve(s3, s2.T()); err != nil {
		return Ellipse{}, line
	}
	t.Scale(-1, &t)
	u.Mul(s2, &t)
	m.Add(s1, &u)
	c := mat.NewDense(3, 3, nil) // the inverse of the constraint 4ac - b^2 = 1, times m
	for j := range 3 {
		c.Set(0, j, m.At(2, j)/2)
		c.Set(1, j, -m.At(1, j))
		c.Set(2, j, m.At(0, j)/2)
	}
	var eig mat.Eigen
	if !eig.Factorize(c, mat.EigenRight) {
		return Ellipse{}, line
	}
	var v mat.CDense
	eig.VectorsTo(&v)
	for k := range 3 {
		a, b, g := real(v.At(0, k)), real(v.At(1, k)), real(v.At(2, k))
		if !(4*a*g-b*b > 1e-12) {
			continue
		}
		var r [3]float64
		for i := range 3 {
			r[i] = t.At(i, 0)*a + t.At(i, 1)*b + t.At(i, 2)*g
		}
		e, ok := conic(a, b, g, r[0], r[1], r[2])
		if !ok {
			continue
		}
		e.X, e.Y, e.A, e.B = mx+size*e.X, my+size*e.Y, size*e.A, size*e.B
		return e, nil
	}
	return Ellipse{}, line
}

// conic turns a x^2 + b xy + c y^2 + d x + e y + f = 0 into an ellipse; ok is false where it is none.
func conic(a, b, c, d, e, f float64) (Ellipse, bool) {
	det := 4*a*c - b*b
	x, y := (b*e-2*c*d)/det, (b*d-2*a*e)/det
	// About its centre: the quadratic form equals k.
	k := -(f + (d*x+e*y)/2)
	mid, half := (a+c)/2, math.Hypot((a-c)/2, b/2)
	s, l := k/(mid+half), k/(mid-half)
	if s > l {
		s, l = l, s
	}
	if !(s > 0) || math.IsInf(l, 0) {
		return Ellipse{}, false
	}
	angle := math.Atan2(b, a-c) / 2 // of the direction in which the form grows fastest for a positive form
	if mid > 0 {
		angle += math.Pi / 2
	}
	for angle > math.Pi/2 {
		angle -= math.Pi
	}
	for angle <= -math.Pi/2 {
		angle += math.Pi
	}
	return Ellipse{x, y, math.Sqrt(l), math.Sqrt(s), angle}, true
}

// Distance returns about how far a point lies outside the ellipse, in pixels (negative inside): along the ray from its centre,
// which is exact for circles and good near any outline that is not slim.
func (e Ellipse) Distance(p Point) float64 {
	sin, cos := math.Sincos(e.Angle)
	x, y := p.X-e.X, p.Y-e.Y
	u, v := (x*cos+y*sin)/e.A, (y*cos-x*sin)/e.B
	r := math.Hypot(u, v)
	if r == 0 {
		return -e.B
	}
	return (1 - 1/r) * math.Hypot(x, y)
}

// At returns the point of the ellipse at a parameter in radians.
func (e Ellipse) At(t float64) Point {
	sin, cos := math.Sincos(e.Angle)
	a, b := math.Sincos(t)
	return Point{e.X + e.A*b*cos - e.B*a*sin, e.Y + e.A*b*sin + e.B*a*cos}
}
