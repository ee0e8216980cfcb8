package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
)

// Sphere is the sphere that most of a shell lies on.
type Sphere struct {
	Centre   geom.Vec
	CentreSE float64 // of each of its coordinates, the largest
	Radius   Value
	Share    float64 // of the shell's area that lies within the last cut of it
	Spread   float64 // standard deviation of what lies within, robust
}

// algebraic returns the sphere of least squares |p|^2 = 2 c.p + k, weighted by area. It is the start of the fit: on
// small caps it is too small by 12 R s^2/h^2 (noise s, sagitta h).
func algebraic(pts []Point) (c geom.Vec, r float64, ok bool) {
	var mid geom.Vec
	sum := 0.0
	for _, q := range pts {
		mid, sum = mid.Mad(q.A, q.P), sum+q.A
	}
	if !(sum > 0) {
		return
	}
	mid = mid.Mul(1 / sum)
	size := 0.0
	for _, q := range pts {
		size += q.A / sum * q.P.Sub(mid).Len2()
	}
	if size = math.Sqrt(size); !(size > 0) || math.IsInf(size, 0) {
		return
	}
	a, b := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	for _, q := range pts {
		k, p := q.A/sum, q.P.Sub(mid).Mul(1/size)
		j := [4]float64{2 * p.X, 2 * p.Y, 2 * p.Z, 1}
		for i := range j {
			for l := i; l < 4; l++ {
				a.SetSym(i, l, a.At(i, l)+k*j[i]*j[l])
			}
			b.SetVec(i, b.AtVec(i)+k*j[i]*p.Len2())
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		return
	}
	c = geom.Vec{X: x.AtVec(0), Y: x.AtVec(1), Z: x.AtVec(2)}
	r = math.Sqrt(x.AtVec(3)+c.Len2()) * size
	c = c.Mul(size).Add(mid)
	return c, r, r > 0 && !math.IsInf(r, 0) && c.Finite()
}

// FitSphere fits a sphere to most of a shell: from the algebraic one, Gauss-Newton on |p - c| - r with Tukey's biweight,
// whose cut shrinks from 0.3 r to 0.03 r, so that a cornea does not pull it. ok is false where no sphere fits.
//
// Source of the weight: Huber, Robust Statistics (1981), section 4.8.
func FitSphere(pts []Point) (s Sphere, ok bool) {
	const by = "sphere of most of the shell"
	c, r, ok := algebraic(pts)
	if !ok {
		s.Radius = none(by, "no sphere passes through it")
		return s, false
	}
	area := 0.0
	for _, q := range pts {
		area += q.A
	}
	rows := make([]row, len(pts))
	fill := func() {
		for i, q := range pts {
			v := q.P.Sub(c)
			l := v.Len()
			u := v.Mul(1 / max(l, 1e-300))
			rows[i] = row{e: l - r, j: [5]float64{-u.X, -u.Y, -u.Z, -1}, w: q.A / area * float64(len(pts)), patch: patchOf(u)}
		}
	}
	least := 0.03
	for cut := 0.3; ; cut = max(least, cut*0.8) {
		fill()
		d, good := step(rows, 4, cut*r)
		if !good {
			break
		}
		c, r = c.Add(geom.Vec{X: d[0], Y: d[1], Z: d[2]}), r+d[3]
		if !(r > 0) || !c.Finite() {
			s.Radius = none(by, "no sphere passes through it")
			return s, false
		}
		if cut == least && math.Abs(d[3]) < 1e-9*r && math.Abs(d[0])+math.Abs(d[1])+math.Abs(d[2]) < 1e-8*r {
			break
		}
		if cut == least {
			if least *= 0.999; least < 0.0295 { // a limit of steps
				break
			}
		}
	}
	fill()
	s.Centre = c
	cut := 0.03 * r
	var near []float64
	for i := range rows {
		if math.Abs(rows[i].e) < cut {
			near = append(near, rows[i].e)
			s.Share += pts[i].A / area
		}
	}
	s.Spread = spread(near)
	cov, used, good := covariance(rows, 4, cut)
	if !good {
		s.Radius = none(by, "only %d vertices lie near one sphere", used)
		return s, false
	}
	s.Radius = Value{V: r, SE: math.Sqrt(cov.At(3, 3)), By: by, N: used, Held: true}
	for i := range 3 {
		s.CentreSE = max(s.CentreSE, math.Sqrt(cov.At(i, i)))
	}
	if s.Radius.SE > 0.05*r {
		s.Radius.Held, s.Radius.Why = false, "too little of it lies on one sphere"
	}
	return s, true
}

// patchOf numbers one of 96 patches of the sphere of directions: four by four on each face of the cube about it.
func patchOf(u geom.Vec) int {
	v := [3]float64{u.X, u.Y, u.Z}
	k := 0
	for i := range 3 {
		if math.Abs(v[i]) > math.Abs(v[k]) {
			k = i
		}
	}
	m := math.Abs(v[k])
	if !(m > 0) {
		return 0
	}
	face := 2 * k
	if v[k] < 0 {
		face++
	}
	at := func(x float64) int { return max(0, min(3, int(2*(x/m+1)))) }
	return 16*face + 4*at(v[(k+1)%3]) + at(v[(k+2)%3])
}
