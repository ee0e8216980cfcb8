package pathtrace

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/scene/geom"
)

// target is where light comes from, in the eye's frame: a direction for distant lights, else a point.
type target struct {
	distant bool
	dir     geom.Vec // unit, toward the light
	point   geom.Vec
}

// solution is a light path from a point in the chamber through the cornea to a light.
type solution struct {
	y        frozen.ShellPoint
	wi       geom.Vec // from x to y, unit, eye frame
	wo       geom.Vec // from y on, outside
	cosOut   float64  // of wo and the normal at y
	jacobian float64  // d(solid angle at x) / d(solid angle outside), the light held fixed
}

const (
	solverTolerance = 1e-6 // rad, of the direction outside
	solverSteps     = 20
	solverCap       = 2.0 // mm a step may move on the shell
)

// solveCornea finds the refracted path from x (eye frame, inside) to the target through the outer shell. It is
// deterministic: the same x and target always give the same answer, which is what lets hits and connections be
// weighted against each other without bias, whatever the solver misses.
//
// Newton's method runs on the direction that leaves the shell, with the interpolated normal's exact derivative in
// each triangle, from a seed on the straight line that is pulled in by two steps of refracting the light's own
// direction backward.
//
// Sources: Hanika, Droske, Fascione, Manifold Next Event Estimation, EGSR 2015; Zeltner, Georgiev, Jakob, Specular
// Manifold Sampling, SIGGRAPH 2020 (the direction-difference constraint and the two-stage seed).
func (t *Tracer) solveCornea(e *frozen.Eye, x geom.Vec, tg target) (solution, bool) {
	t.Stats.SolverCalls++
	for seed := 0; seed < 2; seed++ {
		var y frozen.ShellPoint
		if !t.seed(e, x, tg, seed, &y) {
			continue
		}
		if e.Normal.Valid() {
			// First with the plain normals, then from there with the map's.
			if s, ok := t.newton(e, x, tg, y, false); ok {
				y = s.y
			}
			if !t.castOuter(e, x, y.P.Sub(x).Unit(), true, &y) {
				continue
			}
		}
		if s, ok := t.newton(e, x, tg, y, true); ok {
			t.Stats.SolverFound++
			return s, true
		}
	}
	return solution{}, false
}

func (t *Tracer) seed(e *frozen.Eye, x geom.Vec, tg target, which int, y *frozen.ShellPoint) bool {
	d := geom.Vec{Z: 1}
	if which == 0 {
		d = toward(x, tg)
	}
	if !t.castOuter(e, x, d, false, y) {
		return false
	}
	if which != 0 {
		return true
	}
	for i := 0; i < 2; i++ {
		wl := toward(y.P, tg)
		in, ok := geom.Refract(wl, y.N, e.Index)
		if !ok || wl.Dot(y.N) <= 0 {
			break
		}
		var z frozen.ShellPoint
		if !t.castOuter(e, x, in.Neg(), false, &z) {
			break
		}
		*y = z
	}
	return true
}

func toward(from geom.Vec, tg target) geom.Vec {
	if tg.distant {
		return tg.dir
	}
	return tg.point.Sub(from).Unit()
}

func (t *Tracer) castOuter(e *frozen.Eye, x, d geom.Vec, mapped bool, y *frozen.ShellPoint) bool {
	t.Stats.SolverRays++
	return t.scene.CastOuter(t.sc, e, x, d, 0, math.Inf(1), mapped, y)
}

// state is one trial point of the solver.
type state struct {
	wi, wo, wl geom.Vec
	r, c, k, g float64 // distance; cosine inside and outside; k - n c
	d          float64 // distance to a finite light
	frame      geom.Frame
	r0, r1     float64
	err        float64
}

// trial evaluates the constraint at y; ok is false past the critical angle or where the light is behind.
func (t *Tracer) trial(e *frozen.Eye, x geom.Vec, tg target, y *frozen.ShellPoint, s *state) bool {
	to := y.P.Sub(x)
	s.r = to.Len()
	s.wi = to.Mul(1 / s.r)
	n := e.Index
	s.c = s.wi.Dot(y.N)
	if s.c <= 0 {
		return false
	}
	k2 := 1 - n*n*(1-s.c*s.c)
	if k2 <= 0 {
		return false
	}
	s.k = math.Sqrt(k2)
	s.g = s.k - n*s.c
	s.wo = s.wi.Mul(n).Mad(s.g, y.N)
	if tg.distant {
		s.wl, s.d = tg.dir, math.Inf(1)
	} else {
		to := tg.point.Sub(y.P)
		s.d = to.Len()
		s.wl = to.Mul(1 / s.d)
	}
	if s.wo.Dot(s.wl) < 0 {
		return false
	}
	s.frame = geom.NewFrame(s.wl)
	diff := s.wo.Sub(s.wl)
	s.r0, s.r1 = diff.Dot(s.frame.S), diff.Dot(s.frame.T)
	s.err = math.Hypot(s.r0, s.r1)
	return true
}

// newton runs from y. mapped says that the normals, that of y too, are tilted by the shell's normal map.
func (t *Tracer) newton(e *frozen.Eye, x geom.Vec, tg target, y frozen.ShellPoint, mapped bool) (solution, bool) {
	var s state
	if !t.trial(e, x, tg, &y, &s) {
		return solution{}, false
	}
	for step := 0; step < solverSteps; step++ {
		t.Stats.SolverSteps++
		e1, e2, n1, n2 := t.scene.ShellDerivs(e, &y, mapped)
		a, di1 := s.derivative(e.Index, y.N, e1, n1)
		b, di2 := s.derivative(e.Index, y.N, e2, n2)
		m00, m01 := a.Dot(s.frame.S), b.Dot(s.frame.S)
		m10, m11 := a.Dot(s.frame.T), b.Dot(s.frame.T)
		det := m00*m11 - m01*m10
		if s.err < solverTolerance {
			if det == 0 {
				return solution{}, false
			}
			f := geom.NewFrame(s.wi)
			di := di1.Dot(f.S)*di2.Dot(f.T) - di2.Dot(f.S)*di1.Dot(f.T)
			y.Dist = s.r
			return solution{y: y, wi: s.wi, wo: s.wo, cosOut: s.k, jacobian: math.Abs(di / det)}, true
		}
		if det == 0 {
			return solution{}, false
		}
		d1 := -(m11*s.r0 - m01*s.r1) / det
		d2 := -(m00*s.r1 - m10*s.r0) / det
		move := e1.Mul(d1).Mad(d2, e2)
		if l := move.Len(); l > solverCap {
			move = move.Mul(solverCap / l)
		}
		better := false
		for half := 0; half < 7; half++ {
			dir := y.P.Add(move).Sub(x).Unit()
			var z frozen.ShellPoint
			var zs state
			if t.castOuter(e, x, dir, mapped, &z) && t.trial(e, x, tg, &z, &zs) && zs.err < s.err {
				y, s, better = z, zs, true
				break
			}
			move = move.Mul(0.5)
		}
		if !better {
			return solution{}, false
		}
	}
	return solution{}, false
}

// derivative returns d(wo - wl) and d(wi) when the point moves by dy and the normal by dn.
func (s *state) derivative(n float64, nn, dy, dn geom.Vec) (dout, din geom.Vec) {
	din = dy.Mad(-s.wi.Dot(dy), s.wi).Mul(1 / s.r)
	dc := din.Dot(nn) + s.wi.Dot(dn)
	dg := (n*n*s.c/s.k - n) * dc
	dout = din.Mul(n).Mad(dg, nn).Mad(s.g, dn)
	if !math.IsInf(s.d, 1) {
		dl := dy.Mad(-s.wl.Dot(dy), s.wl).Mul(-1 / s.d)
		dout = dout.Sub(dl)
	}
	return dout, din
}
