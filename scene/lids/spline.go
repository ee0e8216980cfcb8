package lids

import "sort"

// spline is a cubic through points with given slopes at both ends; its second derivative has no steps.
type spline struct{ x, y, m []float64 } // m: second derivatives

// newSpline asks for rising x.
func newSpline(x, y []float64, first, last float64) *spline {
	n := len(x)
	s := &spline{x, y, make([]float64, n)}
	// Thomas' algorithm for the tridiagonal system of a clamped spline.
	up, r := make([]float64, n), make([]float64, n)
	slope := func(i int) float64 { return (y[i+1] - y[i]) / (x[i+1] - x[i]) }
	h := x[1] - x[0]
	up[0], r[0] = 0.5, 3/h*(slope(0)-first)
	for i := 1; i < n; i++ {
		a, b, c, d := x[i]-x[i-1], 2.0, 0.0, 0.0
		if i < n-1 {
			c = x[i+1] - x[i]
			l := a + c
			a, c, d = a/l, c/l, 6*(slope(i)-slope(i-1))/l
		} else {
			a, d = 1, 6/a*(last-slope(i-1))
		}
		k := b - a*up[i-1]
		up[i], r[i] = c/k, (d-a*r[i-1])/k
	}
	s.m[n-1] = r[n-1]
	for i := n - 2; i >= 0; i-- {
		s.m[i] = r[i] - up[i]*s.m[i+1]
	}
	return s
}

func (s *spline) at(x float64) float64 {
	i := max(0, min(sort.SearchFloat64s(s.x, x)-1, len(s.x)-2))
	h := s.x[i+1] - s.x[i]
	a, b := (s.x[i+1]-x)/h, (x-s.x[i])/h
	return a*s.y[i] + b*s.y[i+1] + ((a*a*a-a)*s.m[i]+(b*b*b-b)*s.m[i+1])*h*h/6
}
