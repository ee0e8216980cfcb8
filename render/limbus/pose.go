package limbus

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"catchlight/render/camera"
	"catchlight/scene/geom"
)

// Pose is a camera that sees the limbus where the picture shows it.
type Pose struct {
	Config   camera.Config
	Ellipse  Ellipse // of the limbus as this camera sees it
	RMS      float64 // of the points' distances from it, in pixels
	Tilt     float64 // angle between the line of sight and the eye's axis, in radians
	Distance float64 // from the middle of the limbus, in mm

	// Standard errors, as far as the points' scatter tells. A circle seen from the front looks the same for small tilts, so
	// there the tilt is known badly.
	TiltError     float64
	DistanceError float64
}

// Solve returns the camera that sees the ring of the limbus through the points, with the field of view and the upward
// direction of base, of a perspective kind. ring are points all round the limbus in the world, axis is the eye's, out of
// the cornea. A circle looks alike from two sides: best is the one nearer to base's own position, other the second one.
// What a circle can't tell is how far the head is tilted to its shoulder, and distance apart from focal length.
func Solve(base camera.Config, ring []geom.Vec, axis geom.Vec, points []Point) (best, other Pose, err error) {
	if base.Kind != camera.Perspective {
		return best, other, errors.New("limbus: the camera must be a perspective one")
	}
	if len(ring) < LeastPoints {
		return best, other, errors.New("limbus: the eye shows no limbus")
	}
	seen, err := Fit(points)
	if err != nil {
		return best, other, err
	}
	s := solver{base: base, ring: ring, axis: axis.Unit(), points: points}
	s.base.Shift, s.base.Focus = [2]float64{}, 0
	for _, p := range ring {
		s.centre = s.centre.Add(p.Mul(1 / float64(len(ring))))
	}
	for _, p := range ring {
		s.radius += p.Sub(s.centre).Len() / float64(len(ring))
	}
	s.side = base.Up.Cross(s.axis)
	if s.side.Len() < 1e-3*base.Up.Len() {
		return best, other, errors.New("limbus: the eye looks straight up; give the camera another upward direction")
	}
	s.side = s.side.Unit()
	s.up = s.axis.Cross(s.side)
	focal := base.FocalLength
	if base.FOV > 0 {
		focal = base.SensorWidth / (2 * math.Tan(base.FOV/2))
	}
	pixels := focal / base.SensorWidth * float64(base.Width) // per unit of tangent
	far := pixels * s.radius / seen.A
	mm := far / pixels
	tilt := math.Sqrt(max(0, seen.A*seen.A/(seen.B*seen.B)-1))
	// The short axis lies along the tilt. Film y points down.
	u, v := -math.Sin(seen.Angle)*tilt, -math.Cos(seen.Angle)*tilt
	ox, oy := (float64(base.Width)/2-seen.X)*mm, (seen.Y-float64(base.Height)/2)*mm
	var poses []Pose
	for _, sign := range []float64{1, -1} {
		if p, ok := s.refine([5]float64{sign * u, sign * v, math.Log(far), ox, oy}); ok {
			poses = append(poses, p)
		}
	}
	switch len(poses) {
	case 0:
		return best, other, fmt.Errorf("limbus: no camera of this field of view sees the limbus as an ellipse of half axes %.4g and %.4g px", seen.A, seen.B)
	case 1:
		return poses[0], poses[0], nil
	}
	away := func(p Pose) float64 {
		return p.Config.Position.Sub(s.centre).Unit().Dot(base.Position.Sub(s.centre).Unit())
	}
	// A solution that fits far worse is none.
	if a, b := poses[0], poses[1]; b.RMS > 2*a.RMS+0.05 || a.RMS <= 2*b.RMS+0.05 && away(a) >= away(b) {
		return a, b, nil
	}
	return poses[1], poses[0], nil
}

// solver holds what stays the same. Its unknowns are the tangents of the tilt to the side and up, the logarithm of the
// distance, and how far the camera aims beside the limbus's middle, to the right and up, in mm.
type solver struct {
	base   camera.Config
	ring   []geom.Vec
	axis   geom.Vec
	side   geom.Vec
	up     geom.Vec
	centre geom.Vec
	radius float64
	points []Point
}

// at returns the camera of the unknowns, and the limbus's ellipse in it.
func (s *solver) at(q [5]float64) (camera.Config, Ellipse, error) {
	c := s.base
	dir := s.axis.Mad(q[0], s.side).Mad(q[1], s.up).Unit()
	c.Position = s.centre.Mad(math.Exp(q[2]), dir)
	right := s.base.Up.Cross(dir)
	if !(right.Len() > 1e-6) {
		return c, Ellipse{}, errors.New("limbus: seen from straight above")
	}
	right = right.Unit()
	c.Aim = s.centre.Mad(q[3], right).Mad(q[4], dir.Cross(right))
	k, err := camera.New(c)
	if err != nil {
		return c, Ellipse{}, err
	}
	film := make([]Point, 0, len(s.ring))
	for _, p := range s.ring {
		x, y, _, ok := k.Project(p)
		if !ok {
			return c, Ellipse{}, errors.New("limbus: behind the camera")
		}
		film = append(film, Point{x, y})
	}
	e, err := Fit(film)
	return c, e, err
}

func (s *solver) residuals(q [5]float64) ([]float64, bool) {
	_, e, err := s.at(q)
	if err != nil {
		return nil, false
	}
	r := make([]float64, len(s.points))
	for i, p := range s.points {
		r[i] = e.Distance(p)
	}
	return r, true
}

func square(r []float64) (sum float64) {
	for _, v := range r {
		sum += v * v
	}
	return sum
}

// refine lessens the points' squared distances from q on.
//
// Source: Levenberg, 1944, and Marquardt, An Algorithm for Least-Squares Estimation of Nonlinear Parameters, J. SIAM 11, 1963.
func (s *solver) refine(q [5]float64) (Pose, bool) {
	r, ok := s.residuals(q)
	if !ok {
		return Pose{}, false
	}
	n := len(r)
	lambda, normal := 1e-3, mat.NewSymDense(5, nil)
	for range 200 {
		// Steps of the differences: about a hundredth of a pixel.
		j := make([][5]float64, n)
		for k := range q {
			h := 1e-5
			if k > 2 {
				h = 1e-4 * s.radius
			}
			up, down := q, q
			up[k] += h
			down[k] -= h
			a, ok1 := s.residuals(up)
			b, ok2 := s.residuals(down)
			if !ok1 || !ok2 {
				return Pose{}, false
			}
			for i := range j {
				j[i][k] = (a[i] - b[i]) / (2 * h)
			}
		}
		g := mat.NewVecDense(5, nil)
		for a := range 5 {
			for b := a; b < 5; b++ {
				sum := 0.0
				for i := range j {
					sum += j[i][a] * j[i][b]
				}
				normal.SetSym(a, b, sum)
			}
			for i := range j {
				g.SetVec(a, g.AtVec(a)-j[i][a]*r[i])
			}
		}
		better := false
		for !better && lambda < 1e12 {
			damped := mat.NewSymDense(5, nil)
			damped.CopySym(normal)
			for a := range 5 {
				damped.SetSym(a, a, normal.At(a, a)*(1+lambda)+1e-12)
			}
			var step mat.VecDense
			if err := step.SolveVec(damped, g); err != nil {
				lambda *= 10
				continue
			}
			next := q
			for k := range next {
				next[k] += step.AtVec(k)
			}
			if t, ok := s.residuals(next); ok && square(t) < square(r) {
				better = square(r)-square(t) > 1e-14*square(r) && mat.Norm(&step, 2) > 1e-12
				q, r, lambda = next, t, max(lambda/10, 1e-12)
				break
			}
			lambda *= 10
		}
		if !better {
			break
		}
	}
	c, e, err := s.at(q)
	if err != nil {
		return Pose{}, false
	}
	p := Pose{Config: c, Ellipse: e, RMS: math.Sqrt(square(r) / float64(n)), Distance: math.Exp(q[2]), Tilt: math.Atan(math.Hypot(q[0], q[1]))}
	p.spread(q, normal, square(r)/float64(max(1, n-5)))
	return p, true
}

// spread sets the errors of distance and tilt, from the normal equations at q and the variance of a point.
func (p *Pose) spread(q [5]float64, normal *mat.SymDense, variance float64) {
	var inverse mat.Dense
	if err := inverse.Inverse(normal); err != nil {
		p.TiltError, p.DistanceError = math.NaN(), math.NaN()
		return
	}
	// Of the tangent's length, along it.
	u, v := q[0], q[1]
	if l := math.Hypot(u, v); l > 0 {
		u, v = u/l, v/l
	} else {
		u, v = 1, 0
	}
	of := u*u*inverse.At(0, 0) + 2*u*v*inverse.At(0, 1) + v*v*inverse.At(1, 1)
	p.TiltError = math.Sqrt(variance*of) / (1 + q[0]*q[0] + q[1]*q[1])
	p.DistanceError = p.Distance * math.Sqrt(variance*inverse.At(2, 2))
}
