package inspect

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/near"
	"catchlight/scene/parallel"
)

// shiftFirst is the remedy of what follows from a shift of the inner shell.
const shiftFirst = "move the inner shell back as a whole first: see layers.shift; then inspect anew"

const shiftWhat = "the inner shell against the outer one, across the axis, by the gap over the white about the limbus"

// roundUp rounds away from zero, so that who does as told has done enough.
func roundUp(x float64, digits int) float64 {
	k := math.Pow(10, float64(digits))
	return math.Copysign(math.Ceil(math.Abs(x)*k-1e-9)/k, x)
}

// shiftSums are the normal equations of a gap over the white as a + b nz + c nz^2 - d n, by sectors of the clock: 5 unknowns, and the
// gap's own sum of squares.
type shiftSums struct {
	a [5][5]float64
	b [5]float64
	n int
}

// solve leaves one sector out (-1: none) and returns the five unknowns.
func solveShift(part []shiftSums, leave int) (x [5]float64, ok bool) {
	var m [5][6]float64
	for k := range part {
		if k == leave {
			continue
		}
		for i := range 5 {
			for j := range 5 {
				m[i][j] += part[k].a[i][j]
			}
			m[i][5] += part[k].b[i]
		}
	}
	for i := range 5 {
		p := i
		for j := i + 1; j < 5; j++ {
			if math.Abs(m[j][i]) > math.Abs(m[p][i]) {
				p = j
			}
		}
		m[i], m[p] = m[p], m[i]
		if math.Abs(m[i][i]) < 1e-12 {
			return x, false
		}
		for j := range 5 {
			if k := m[j][i] / m[i][i]; j != i {
				for c := i; c < 6; c++ {
					m[j][c] -= k * m[i][c]
				}
			}
		}
	}
	for i := range 5 {
		x[i] = m[i][5] / m[i][i]
	}
	return x, true
}

// shift looks whether the inner shell lies aside of the outer one as a whole. The gap over the white is fitted by a part that goes with
// the height along the axis alone, as good eyes have it, and by that of a shift across the axis, d: a place with the outward direction
// n loses d n of its gap. A shift along the axis can't be told from a gap that is meant to be wider behind, and is not looked for.
func (r *Run) shift(inner *Part, out *near.Tree) {
	s, e := r.Subject, r.Subject.Eye
	if !e.Limbus.Held {
		return
	}
	const sectors = 12
	R := s.Radius()
	list := r.overWhite(inner)
	if len(list) < 60 {
		r.Add(Finding{Code: "layers.shift", Part: inner.Name, Good: true, Number: Number{Unit: "mm", What: shiftWhat, Why: "too little of the inner shell lies about the limbus"}})
		return
	}
	var d geom.Vec // in the eye's frame, X and Y
	var se float64
	gaps := make([]float64, len(list))
	for range 4 { // distances are not linear in the shift: move back and look again
		back := e.Frame.World(d)
		parallel.Runs(len(list), 500, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				gaps[i] = math.NaN()
				if q, ok := out.Nearest(list[i].at.Sub(back), 0.5*R); ok {
					gaps[i] = -q.D
				}
			}
		})
		part := make([]shiftSums, sectors)
		for i, q := range list {
			if math.IsNaN(gaps[i]) {
				continue
			}
			l := e.Frame.Local(q.at.Sub(back).Sub(e.Centre))
			n := l.Unit()
			k := &part[int((math.Atan2(l.Y, l.X)/(2*math.Pi)+1)*sectors)%sectors]
			row := [5]float64{1, n.Z, n.Z * n.Z, -n.X, -n.Y}
			for a := range row {
				for b := range row {
					k.a[a][b] += q.area * row[a] * row[b]
				}
				k.b[a] += q.area * row[a] * gaps[i]
			}
			k.n++
		}
		x, ok := solveShift(part, -1)
		if !ok {
			return
		}
		d.X, d.Y = d.X+x[3], d.Y+x[4]
		if d.Len() > 0.5*R {
			return
		}
		var sum geom.Vec
		var each [sectors]geom.Vec
		for k := range each {
			y, ok := solveShift(part, k)
			if !ok {
				return
			}
			each[k] = geom.Vec{X: y[3], Y: y[4]}
			sum = sum.Add(each[k].Mul(1.0 / sectors))
		}
		var v float64
		for k := range each {
			v += each[k].Sub(sum).Len2() / 2
		}
		se = math.Sqrt(v * (sectors - 1) / sectors) // the jackknife's, as in irisPlane
	}
	r.addShift(inner, d, se)
}

// shiftPlace is a place with twice the area that it stands for.
type shiftPlace struct {
	at   geom.Vec
	area float64
}

// overWhite are places of the inner shell about the limbus, where it faces outward: there it lies close beneath the outer one, while
// the gap is anyone's guess further back.
func (r *Run) overWhite(inner *Part) (list []shiftPlace) {
	e := r.Subject.Eye
	m := inner.Welded()
	step := 1 + len(m.Tri)/6000
	for i := 0; i < len(m.Tri); i += step {
		c := m.Tri[i]
		p := m.P[c[0]].Add(m.P[c[1]]).Add(m.P[c[2]]).Mul(1.0 / 3)
		n := m.P[c[1]].Sub(m.P[c[0]]).Cross(m.P[c[2]].Sub(m.P[c[0]]))
		l := e.Frame.Local(p.Sub(e.Centre))
		if rho := math.Hypot(l.X, l.Y); l.Z < 0 || rho < 1.08*e.Limbus.V || rho > 1.7*e.Limbus.V || n.Dot(p.Sub(e.Centre)) < 0.7*n.Len()*p.Sub(e.Centre).Len() {
			continue
		}
		list = append(list, shiftPlace{p, n.Len()})
	}
	return list
}

// addShift reports a shift across the axis, mm in the eye's frame.
func (r *Run) addShift(inner *Part, d geom.Vec, se float64) {
	limit := r.Limit("layers.shift_share") * r.Subject.Radius()
	f := Finding{Code: "layers.shift", Part: inner.Name, Cause: true, Range: AtMost(limit, "own choice"), Good: d.Len() <= limit+2*se}
	w := r.Subject.Eye.Frame.World(d)
	f.Number = Number{V: d.Len(), SE: se, Unit: "mm", Held: true, What: shiftWhat}
	if !f.Good {
		r.shifted = true
		f.Title = fmt.Sprintf("the whole inner shell is shifted by %s mm", triple(w, 2))
		f.Shows = Shows{Px: r.Px(d.Len()), Text: "iris and pupil sit aside of the cornea, and on one side the white comes out of its film"}
		f.Remedy.Step = fmt.Sprintf("move the whole inner shell by %s mm%s", triple(w.Neg(), 2), r.Subject.inNumbers(w.Neg()))
	}
	r.Add(f)
}

// inNumbers is a vector of mm as meant in the file's own numbers, in brackets; "" where they are mm.
func (s *Subject) inNumbers(v geom.Vec) string {
	k := s.perNumber()
	if k == 1 || k == 0 {
		return ""
	}
	v = v.Mul(1 / k)
	return fmt.Sprintf(" (in the file's numbers %s)", triple(v, max(0, 3+int(math.Ceil(math.Log10(k))))))
}

// triple is a vector with signs, to some decimals, without a negative zero.
func triple(v geom.Vec, digits int) string {
	k := math.Pow(10, float64(digits))
	f := func(x float64) string { return fmt.Sprintf("%+.*f", digits, math.Round(x*k)/k+0) }
	return "(" + f(v.X) + ", " + f(v.Y) + ", " + f(v.Z) + ")"
}

// perNumber is mm, as meant, of one of the numbers that stand in the file: a reader brings lengths of a file that states its unit in mm
// already.
func (s *Subject) perNumber() float64 {
	if s.InMetres {
		return 1000 * s.MM
	}
	return s.MM
}
