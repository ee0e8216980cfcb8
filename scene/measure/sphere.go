package measure

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Sphere is the sphere that most of a shell lies on.
type Sphere struct {
	Centre   geom.Vec
	CentreSE float64 // of each of its coordinates, the largest
	Radius   Value
	Share    float64 // of the shell's area that lies within the last cut of it
	Spread   float64 // standard deviation of what lies within, robust
}

// FitSphere fits a sphere to most of a shell: from the algebraic one, Gauss-Newton on |p - c| - r with Tukey's biweight,
// whose cut shrinks from 0.3 r to 0.03 r, so that a cornea does not pull it. ok is false where no sphere fits.
//
// Source of the weight: Huber, Robust Statistics (1981), section 4.8.
func FitSphere(pts []Point) (s Sphere, ok bool) {
	const by = "sphere of most of the shell"
	c, r, ok := mesh.FitSphere(len(pts), func(i int) (geom.Vec, float64) { return pts[i].P, pts[i].A })
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
