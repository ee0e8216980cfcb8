package adopt

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// revolution returns the axis of the surface of revolution that fits the vertices chosen by keep best: the line that
// the surface's normals come nearest to. point lies on it near the middle of those vertices; dir is unit, of either
// sense. ok is false where there are too few vertices.
//
// A line with direction d and moment c meets the normal line (n, p x n) where d.(p x n) + c.n = 0; the sum of squares
// is least for an eigenvector. Source: Pottmann and Wallner, Computational Line Geometry (2001), section 4.2.
func revolution(m *mesh.Mesh, keep func(p geom.Vec) bool) (point, dir geom.Vec, ok bool) {
	w := make([]float64, len(m.P)) // area about each vertex
	for _, t := range m.Tri {
		a := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Len() / 6
		for _, k := range t {
			w[k] += a
		}
	}
	var mid geom.Vec
	var sum float64
	n := 0
	for i, p := range m.P {
		if keep(p) {
			mid, sum, n = mid.Mad(w[i], p), sum+w[i], n+1
		}
	}
	if n < 12 || !(sum > 0) {
		return
	}
	mid = mid.Mul(1 / sum)
	size := 0.0
	for i, p := range m.P {
		if keep(p) {
			size += w[i] / sum * p.Sub(mid).Len2()
		}
	}
	size = math.Sqrt(size)
	// q = sum of r r^T over r = (p x n, n), lengths in units of size.
	var q [6][6]float64
	for i, p := range m.P {
		if !keep(p) {
			continue
		}
		v := p.Sub(mid).Mul(1 / size)
		k := v.Cross(m.N[i])
		r := [6]float64{k.X, k.Y, k.Z, m.N[i].X, m.N[i].Y, m.N[i].Z}
		for a := range r {
			for b := range r {
				q[a][b] += w[i] / sum * r[a] * r[b]
			}
		}
	}
	// Eliminate the moment (least for c = -C^-1 B^T d), then the smallest eigenvector of the rest is d.
	block := func(r, c int) *mat.Dense {
		d := mat.NewDense(3, 3, nil)
		for i := range 3 {
			for j := range 3 {
				d.Set(i, j, q[r+i][c+j])
			}
		}
		return d
	}
	a, b, c := block(0, 0), block(0, 3), block(3, 3)
	var x mat.Dense // C^-1 B^T
	if err := x.Solve(c, b.T()); err != nil {
		return
	}
	var bx mat.Dense
	bx.Mul(b, &x)
	s := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			s.SetSym(i, j, a.At(i, j)-(bx.At(i, j)+bx.At(j, i))/2)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(s, true) {
		return
	}
	var vec mat.Dense
	e.VectorsTo(&vec)
	dir = geom.Vec{X: vec.At(0, 0), Y: vec.At(1, 0), Z: vec.At(2, 0)}
	cm := geom.Vec{}
	for j, d := range []float64{dir.X, dir.Y, dir.Z} {
		cm = cm.Sub(geom.Vec{X: x.At(0, j), Y: x.At(1, j), Z: x.At(2, j)}.Mul(d))
	}
	// The foot of the line: d x moment, with the moment's part along d (the pitch) left out.
	point = mid.Mad(size, dir.Cross(cm))
	return point, dir, dir.Finite() && point.Finite()
}
