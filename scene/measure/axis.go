package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
)

// Axis is a line that was measured.
type Axis struct {
	Point geom.Vec // on it
	Dir   geom.Vec // unit, out of the eye
	SE    Value    // V: standard error of its direction in degrees, the larger of two; Held: there is an axis
}

// Between returns the angle between two axes in degrees, with its error.
func Between(a, b Axis) Value {
	const by = "angle between the cornea's axis and the iris'"
	if !a.SE.Held || !b.SE.Held {
		return none(by, "one of them is not held")
	}
	return Value{V: degrees(a.Dir, b.Dir), SE: math.Hypot(a.SE.V, b.SE.V), By: by, N: a.SE.N + b.SE.N, Held: true}
}

func degrees(a, b geom.Vec) float64 {
	return geom.Degrees(math.Atan2(a.Cross(b).Len(), a.Dot(b)))
}

// sectors about the axis, each of which is left out once for the error.
const sectors = 12

// heldAxis is the error in degrees above which a surface has no axis to speak of: own choice.
const heldAxis = 2.0

// Revolution returns the axis of the surface of revolution that fits the points best: the line that their normals come
// nearest to, near the direction toward. Its error is that of leaving out sectors about it.
//
// A line with direction d and moment c meets the normal line (n, p x n) where d.(p x n) + c.n = 0; the sum of squares
// is least for an eigenvector. Source: Pottmann and Wallner, Computational Line Geometry (2001), section 4.2.
//
// Long: the fit and its error share the sums over points.
func Revolution(pts []Point, toward geom.Vec, by string) Axis {
	no := func(why string) Axis { return Axis{Dir: toward, SE: none(by, "%s", why)} }
	if len(pts) < 24 {
		return no("too few vertices")
	}
	var mid geom.Vec
	sum := 0.0
	for _, q := range pts {
		mid, sum = mid.Mad(q.A, q.P), sum+q.A
	}
	mid = mid.Mul(1 / sum)
	size := 0.0
	for _, q := range pts {
		size += q.A / sum * q.P.Sub(mid).Len2()
	}
	if size = math.Sqrt(size); !(size > 0) {
		return no("no extent")
	}
	f := geom.NewFrame(toward)
	type scatter [6][6]float64 // sum of r r^T over r = (p x n, n), lengths in units of size
	var part [sectors]scatter
	for _, q := range pts {
		v := q.P.Sub(mid).Mul(1 / size)
		k := v.Cross(q.N)
		r := [6]float64{k.X, k.Y, k.Z, q.N.X, q.N.Y, q.N.Z}
		l := f.Local(v)
		s := &part[int((math.Atan2(l.Y, l.X)/(2*math.Pi)+1)*sectors)%sectors]
		for a := range r {
			for b := range r {
				s[a][b] += q.A / sum * r[a] * r[b]
			}
		}
	}
	solve := func(out int) (point, dir geom.Vec, ok bool) {
		var q scatter
		for k := range part {
			if k != out {
				for a := range q {
					for b := range q {
						q[a][b] += part[k][a][b]
					}
				}
			}
		}
		block := func(r, c int) *mat.Dense {
			d := mat.NewDense(3, 3, nil)
			for i := range 3 {
				for j := range 3 {
					d.Set(i, j, q[r+i][c+j])
				}
			}
			return d
		}
		// Eliminate the moment (least for c = -C^-1 B^T d), then the smallest eigenvector of the rest is d. A plane has
		// no moment: then a trace of the unit matrix keeps C from being singular.
		a, b, c := block(0, 0), block(0, 3), block(3, 3)
		for i := range 3 {
			c.Set(i, i, c.At(i, i)+1e-12)
		}
		var x mat.Dense // C^-1 B^T
		if err := x.Solve(c, b.T()); err != nil {
			if _, odd := err.(mat.Condition); !odd {
				return
			}
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
		if dir.Dot(toward) < 0 {
			dir = dir.Neg()
		}
		return point, dir, dir.Finite() && point.Finite()
	}
	point, dir, ok := solve(-1)
	if !ok {
		return no("no axis fits")
	}
	var x, y []float64
	g := geom.NewFrame(dir)
	for k := range sectors {
		_, d, ok := solve(k)
		if !ok {
			return no("no axis fits")
		}
		l := g.Local(d)
		x, y = append(x, geom.Degrees(math.Atan2(l.X, l.Z))), append(y, geom.Degrees(math.Atan2(l.Y, l.Z)))
	}
	out := Axis{Point: point, Dir: dir, SE: Value{V: max(jackknife(x), jackknife(y)), By: by, N: len(pts), Held: true}}
	switch off := degrees(dir, toward); {
	case out.SE.V > heldAxis:
		out.SE.Held, out.SE.Why = false, "its symmetry tells an axis to "+short(out.SE.V)+" degrees only"
	case off > farAxis:
		out.SE.Held, out.SE.Why = false, "the line of symmetry lies "+short(off)+" degrees off the front"
	}
	return out
}

// farAxis is how far in degrees an axis may lie off the direction in which the shell stands out: a sphere's front fits
// any axis, so an answer far from it is noise. Own choice.
const farAxis = 12.0
