package register

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// The seven numbers of a motion, in the frame that Fit is given: turns about its S, T and N, shifts along them, and the scale.
const (
	TurnS = iota
	TurnT
	TurnN
	ShiftS
	ShiftT
	ShiftN
	Scale
	numbers
)

// Motion lays samples on a mesh: x goes to Centre + Scale R (x - Centre) + Shift.
type Motion struct {
	Centre geom.Vec
	R      geom.Affine // a turn about the origin
	Shift  geom.Vec
	Scale  float64
	Size   float64 // of the samples about Centre: root of the mean square distance

	Value [numbers]float64 // turns in radians, shifts in mm, Scale - 1
	SE    [numbers]float64 // their standard errors
	Held  [numbers]bool
	Eigen [numbers]float64 // square roots of the eigenvalues of the mean normal equations, the largest first; lengths in Size
	RMS   float64          // of what is left, along the normals
	Steps int
}

// heldEigen is the share of the largest square root of an eigenvalue below which a direction is not held. A whole eye in units of its
// radius has 0.037 for its tilts and none about its axis; facets of smooth normals leave some thousandths. Own choice.
const heldEigen = 5e-3

// Apply moves a point.
func (m *Motion) Apply(p geom.Vec) geom.Vec {
	return m.Centre.Add(m.R.Vector(p.Sub(m.Centre)).Mul(m.Scale)).Add(m.Shift)
}

// Fit finds the motion that lays samples on the surface: Gauss-Newton on the distances along the surface's normals at the nearest
// points, with Tukey's weights. Directions that the shape does not hold are left as they are. f is the frame of the seven numbers.
// start begins; zero: as they lie.
//
// Long: matching, normal equations and their eigenvectors are one loop.
func (s *Surface) Fit(list []Point, f geom.Frame, start Motion, far float64) Motion {
	m := start
	if m.Scale == 0 {
		m = Motion{R: geom.Identity(), Scale: 1}
		for _, q := range list {
			m.Centre = m.Centre.Add(q.P.Mul(1 / float64(len(list))))
		}
	}
	for _, q := range list {
		m.Size += q.P.Sub(m.Centre).Len2() / float64(len(list))
	}
	m.Size = math.Sqrt(m.Size)
	rows := make([][numbers]float64, len(list))
	res := make([]float64, len(list))
	var dropped [][numbers]float64
	var inv *mat.SymDense
	sigma := 0.0
	used := 0
	for m.Steps = 1; m.Steps <= 60; m.Steps++ {
		parallel.Runs(len(list), 1024, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				p := m.Apply(list[i].P)
				res[i] = math.NaN()
				q, ok := s.Tree.Nearest(p, far)
				if !ok {
					continue
				}
				n := s.normal(q.Tri, q.U, q.V)
				if n.Dot(m.R.Vector(list[i].N)) < 0.5 {
					continue
				}
				// About the moved centre, lengths in Size, in the frame.
				x := f.Local(p.Sub(m.Centre).Sub(m.Shift)).Mul(1 / m.Size)
				l := f.Local(n)
				k := x.Cross(l)
				rows[i] = [numbers]float64{k.X, k.Y, k.Z, l.X, l.Y, l.Z, x.Dot(l)}
				res[i] = q.P.Sub(p).Dot(n) / m.Size
			}
		})
		var abs []float64
		for _, e := range res {
			if !math.IsNaN(e) {
				abs = append(abs, math.Abs(e))
			}
		}
		if len(abs) < 50 {
			return m
		}
		slices.Sort(abs)
		// 4.685 standard deviations, of which the median is 0.6745: Huber, Robust Statistics (1981).
		cut := max(4.685*abs[len(abs)/2]/0.6745, 1e-12)
		a := mat.NewSymDense(numbers, nil)
		var b [numbers]float64
		sum, sq := 0.0, 0.0
		used = 0
		for i, e := range res {
			if math.IsNaN(e) || math.Abs(e) > cut {
				continue
			}
			w := 1 - e/cut*e/cut
			w *= w
			used++
			sum += w
			sq += w * e * e
			for j := range numbers {
				for k := j; k < numbers; k++ {
					a.SetSym(j, k, a.At(j, k)+w*rows[i][j]*rows[i][k])
				}
				b[j] += w * rows[i][j] * e
			}
		}
		a.ScaleSym(1/sum, a)
		sigma = math.Sqrt(sq / sum)
		m.RMS = sigma * m.Size
		var e mat.EigenSym
		if !e.Factorize(a, true) {
			return m
		}
		val := e.Values(nil)
		var vec mat.Dense
		e.VectorsTo(&vec)
		var d [numbers]float64
		inv = mat.NewSymDense(numbers, nil)
		dropped = dropped[:0]
		most := math.Sqrt(max(0, val[numbers-1]))
		for k := range numbers {
			root := math.Sqrt(max(0, val[k]))
			m.Eigen[numbers-1-k] = root
			var v [numbers]float64
			dot := 0.0
			for j := range v {
				v[j] = vec.At(j, k)
				dot += v[j] * b[j] / sum
			}
			if root < heldEigen*most {
				dropped = append(dropped, v)
				continue
			}
			for j := range v {
				d[j] += v[j] * dot / val[k]
				for i := j; i < numbers; i++ {
					inv.SetSym(j, i, inv.At(j, i)+v[i]*v[j]/val[k])
				}
			}
		}
		m.step(d, f)
		small := 0.0
		for _, x := range d {
			small = max(small, math.Abs(x))
		}
		if small < 1e-8 {
			break
		}
	}
	m.numbersOf(f, inv, dropped, sigma, used)
	return m
}

// step moves on.
func (m *Motion) step(d [numbers]float64, f geom.Frame) {
	w := f.World(geom.Vec{X: d[TurnS], Y: d[TurnT], Z: d[TurnN]})
	if a := w.Len(); a > 0 {
		m.R = m.R.Then(around(w.Mul(1/a), a))
	}
	m.Shift = m.Shift.Add(f.World(geom.Vec{X: d[ShiftS], Y: d[ShiftT], Z: d[ShiftN]}).Mul(m.Size))
	m.Scale *= math.Exp(d[Scale])
}

// around is the turn by an angle about a unit axis: Rodrigues' formula.
func around(k geom.Vec, angle float64) geom.Affine {
	sin, cos := math.Sincos(angle)
	col := func(e geom.Vec) geom.Vec {
		return e.Mul(cos).Add(k.Cross(e).Mul(sin)).Add(k.Mul(k.Dot(e) * (1 - cos)))
	}
	x, y, z := col(geom.Vec{X: 1}), col(geom.Vec{Y: 1}), col(geom.Vec{Z: 1})
	var a geom.Affine
	a.M = [3]geom.Vec{{X: x.X, Y: y.X, Z: z.X}, {X: x.Y, Y: y.Y, Z: z.Y}, {X: x.Z, Y: y.Z, Z: z.Z}}
	return a
}

// numbersOf writes the motion as its seven numbers. A number is held where the directions that are not have no more than a tenth of
// it.
func (m *Motion) numbersOf(f geom.Frame, inv *mat.SymDense, dropped [][numbers]float64, sigma float64, used int) {
	// The turn as a vector: half the antisymmetric part gives its axis times the sine.
	r := m.R.M
	v := geom.Vec{X: r[2].Y - r[1].Z, Y: r[0].Z - r[2].X, Z: r[1].X - r[0].Y}.Mul(0.5)
	sin := v.Len()
	angle := math.Atan2(sin, (r[0].X+r[1].Y+r[2].Z-1)/2)
	if sin > 0 {
		v = v.Mul(angle / sin)
	}
	l, t := f.Local(v), f.Local(m.Shift)
	m.Value = [numbers]float64{l.X, l.Y, l.Z, t.X, t.Y, t.Z, m.Scale - 1}
	for k := range numbers {
		loose := 0.0
		for _, v := range dropped {
			loose += v[k] * v[k]
		}
		m.Held[k] = loose < 0.01 && inv != nil
		if inv == nil {
			continue
		}
		m.SE[k] = sigma * math.Sqrt(inv.At(k, k)/float64(max(1, used)))
		if k >= ShiftS && k <= ShiftN {
			m.SE[k] *= m.Size
		}
	}
}
