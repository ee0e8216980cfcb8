package mesh

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
)

// FitSphere returns the sphere of least squares |p|^2 = 2 c.p + k through n weighted points. On small caps it is too small by
// 12 R s^2/h^2 (noise s, sagitta h).
func FitSphere(n int, at func(i int) (p geom.Vec, w float64)) (c geom.Vec, r float64, ok bool) {
	var mid geom.Vec
	sum := 0.0
	for i := range n {
		p, w := at(i)
		mid, sum = mid.Mad(w, p), sum+w
	}
	if !(sum > 0) {
		return
	}
	mid = mid.Mul(1 / sum)
	size := 0.0
	for i := range n {
		p, w := at(i)
		size += w / sum * p.Sub(mid).Len2()
	}
	if size = math.Sqrt(size); !(size > 0) || math.IsInf(size, 0) {
		return
	}
	a, b := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	for q := range n {
		p, w := at(q)
		k := w / sum
		p = p.Sub(mid).Mul(1 / size)
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
