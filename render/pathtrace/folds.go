package pathtrace

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/scene/geom"
)

// mostPaths is how many paths from one point to one light are kept. Relief of a slope of 0.1 makes up to ten.
const mostPaths = 16

// crossing is a point of the outer shell's mesh.
type crossing struct {
	prim uint32
	u, v float64
}

// beams returns the table of an eye and a light, or nil.
func (t *Tracer) beams(eye int32, light int) *frozen.Beams {
	if t.scene.Beams == nil {
		return nil
	}
	return t.scene.Beams[int(eye)*len(t.scene.Lights)+light]
}

// pathsTo finds paths from x (eye frame, inside) through the eye's outer shell to a point of a light, fills t.found and returns
// how many there are. In cells where the eye's table says that light folds these are all roots in the listed facets, elsewhere
// the one that the solver finds. It is a pure function of x, the light and the target.
func (t *Tracer) pathsTo(eye int32, light int, x geom.Vec, tg target) int {
	e := &t.scene.Eyes[eye]
	bm := t.beams(eye, light)
	var list []int32
	listed := false
	if bm != nil {
		list, listed = bm.At(x)
	}
	if !listed {
		var ok bool
		if t.found[0], ok = t.solveCornea(e, x, tg); ok {
			return 1
		}
		return 0
	}
	t.Stats.SolverCalls++
	n := 0
	src := tg.source()
	var r [mostRoots]root
	for _, id := range list {
		f := bm.Facet(id)
		for i := range t.rootsIn(e, bm, &f, x, src, &r) {
			if n == mostPaths {
				break
			}
			if t.pathOf(e, x, tg, &r[i], &t.found[n]) {
				n++
			}
		}
	}
	if n > 0 {
		t.Stats.SolverFound++
	}
	return n
}

// pathAgain tells whether pathsTo would find the very path that p took by chance from x out through the cornea, and its Jacobian.
func (t *Tracer) pathAgain(p *path, light int, x geom.Vec, tg target) (jacobian float64, ok bool) {
	e := &t.scene.Eyes[p.eye]
	bm := t.beams(p.eye, light)
	if bm != nil {
		if list, listed := bm.At(x); listed {
			t.Stats.SolverCalls++
			return t.isRoot(e, bm, list, x, tg, p.facet)
		}
	}
	s, ok := t.solveCornea(e, x, tg)
	return s.jacobian, ok && s.y.P.Sub(p.y).Len() <= 1e-3
}

// isRoot reports whether the point at, known to send light from the target to x, is one of the roots in the listed facets: one
// facet is looked at.
func (t *Tracer) isRoot(e *frozen.Eye, bm *frozen.Beams, list []int32, x geom.Vec, tg target, at crossing) (jacobian float64, ok bool) {
	id := bm.FacetAt(at.prim, at.u, at.v)
	lo, hi := 0, len(list) // the lists are sorted
	for lo < hi {
		if m := (lo + hi) / 2; list[m] < id {
			lo = m + 1
		} else {
			hi = m
		}
	}
	if lo == len(list) || list[lo] != id {
		return 0, false
	}
	src := tg.source()
	var l frozen.Landing
	if !t.scene.Land(e, at.prim, at.u, at.v, src, x.Z, true, &l) {
		return 0, false
	}
	f := bm.Facet(id)
	var r [mostRoots]root
	for i := range t.rootsIn(e, bm, &f, x, src, &r) {
		if r[i].at.Det*l.Det <= 0 {
			continue
		}
		_, _, side := f.Corner()
		if math.Abs(r[i].at.Y.U-at.u)+math.Abs(r[i].at.Y.V-at.v) > 0.25*math.Abs(side) {
			continue
		}
		t.Stats.SolverFound++
		var s state
		return t.spread(e, x, tg, &l.Y, &s)
	}
	return 0, false
}

func (tg target) source() frozen.Source {
	if tg.distant {
		return frozen.Source{Distant: true, To: tg.dir}
	}
	return frozen.Source{To: tg.point}
}

// root is a point of a facet that sends light to the point asked for.
type root struct{ at frozen.Landing }

const (
	mostRoots    = 2    // in a facet: one each way round
	growAsked    = 0.1  // of a facet's image: points beside it that are asked for too
	rootsNear    = 1e-8 // mm, of where the light lands
	rootSteps    = 24
	evenFacet    = 1.5 // ratio of areas within which a facet's map counts as even, with one root at most
	shortestRoot = 1e-9
)

// rootsIn finds the points of a facet that send light from a source to x, by Newton's method on the plane through x from up to
// four seeds; position and normal run on past the facet's edges as they do within, and what ends outside is not the facet's.
func (t *Tracer) rootsIn(e *frozen.Eye, bm *frozen.Beams, f *frozen.Facet, x geom.Vec, src frozen.Source, r *[mostRoots]root) int {
	var c frozen.Landing
	var px, py [3]float64
	for k := range px {
		if !t.scene.LandCorner(e, bm, f, k, src, x.Z, &c) {
			return 0
		}
		px[k], py[k] = c.XAt-x.X, c.YAt-x.Y
	}
	grow := growAsked * max(max(px[0], px[1], px[2])-min(px[0], px[1], px[2]), max(py[0], py[1], py[2])-min(py[0], py[1], py[2]))
	if min(px[0], px[1], px[2]) > grow || max(px[0], px[1], px[2]) < -grow || min(py[0], py[1], py[2]) > grow || max(py[0], py[1], py[2]) < -grow {
		return 0
	}
	bx, by, cx, cy := px[1]-px[0], py[1]-py[0], px[2]-px[0], py[2]-py[0]
	det := bx*cy - by*cx
	sign := 1.0
	if det < 0 {
		sign = -1
	}
	for k := range px {
		j := (k + 1) % 3
		ex, ey := px[j]-px[k], py[j]-py[k]
		if sign*(ey*px[k]-ex*py[k]) < -grow*math.Hypot(ex, ey) {
			return 0
		}
	}
	u0, v0, side := f.Corner()
	// Where the corners' images say that it is, in the facet's own coordinates.
	s, w := 1./3, 1./3
	if q := math.Abs(bx) + math.Abs(by) + math.Abs(cx) + math.Abs(cy); math.Abs(det) > 1e-3*q*q {
		s, w = clampTo((cx*py[0]-cy*px[0])/det), clampTo((by*px[0]-bx*py[0])/det)
	}
	n := 0
	for k := range 4 {
		switch k {
		case 1:
			s, w = 0.08, 0.08
		case 2:
			s, w = 0.84, 0.08
		case 3:
			s, w = 0.08, 0.84
		}
		var l frozen.Landing
		ok := t.landAt(e, f.Prim, u0+s*side, v0+w*side, x, src, side, &l)
		if k == 0 && ok {
			// The map's area over its triangle's at the root: where the two agree there is no other.
			if ratio := l.Det * side * side / det; ratio < evenFacet && ratio > 1/evenFacet {
				if f.Holds(l.Y.U, l.Y.V) {
					if l.Cos > shortestRoot {
						r[0].at = l
						return 1
					}
				}
				return 0
			}
		}
		if !ok || l.Cos <= shortestRoot || l.Det == 0 || !f.Holds(l.Y.U, l.Y.V) {
			continue
		}
		if n == 0 || n == 1 && l.Det*r[0].at.Det < 0 {
			r[n].at = l
			n++
		}
		if n == mostRoots {
			break
		}
	}
	return n
}

func clampTo(x float64) float64 { return max(-0.2, min(1.2, x)) }

// landAt runs Newton's method from u, v in the plane of a triangle until light from the source lands on x; side is the size of
// the facet in barycentrics.
func (t *Tracer) landAt(e *frozen.Eye, prim uint32, u, v float64, x geom.Vec, src frozen.Source, side float64, l *frozen.Landing) bool {
	side = math.Abs(side)
	if !t.scene.Land(e, prim, u, v, src, x.Z, true, l) {
		return false
	}
	r0, r1 := l.XAt-x.X, l.YAt-x.Y
	err := math.Hypot(r0, r1)
	for range rootSteps {
		t.Stats.SolverSteps++
		if err < rootsNear {
			return true
		}
		if l.Det == 0 {
			return false
		}
		du, dv := -(l.YV*r0-l.XV*r1)/l.Det, -(l.XU*r1-l.YU*r0)/l.Det
		if k := math.Abs(du) + math.Abs(dv); !(k < 1e9*side) {
			return false
		} else if k > 2*side {
			du, dv = du*2*side/k, dv*2*side/k
		}
		better := false
		for range 8 {
			var z frozen.Landing
			if t.scene.Land(e, prim, l.Y.U+du, l.Y.V+dv, src, x.Z, true, &z) {
				a, b := z.XAt-x.X, z.YAt-x.Y
				if q := math.Hypot(a, b); q < err {
					*l, r0, r1, err, better = z, a, b, q, true
					break
				}
			}
			du, dv = du/2, dv/2
		}
		if !better {
			return false
		}
	}
	return false
}

// spread returns the Jacobian of solution for the path from x through y; ok is false past the critical angle.
func (t *Tracer) spread(e *frozen.Eye, x geom.Vec, tg target, y *frozen.ShellPoint, s *state) (jacobian float64, ok bool) {
	if !t.trial(e, x, tg, y, s) {
		return 0, false
	}
	e1, e2, n1, n2 := t.scene.ShellDerivs(e, y, true)
	a, di1 := s.derivative(e.Index, y.N, e1, n1)
	b, di2 := s.derivative(e.Index, y.N, e2, n2)
	det := a.Dot(s.frame.S)*b.Dot(s.frame.T) - b.Dot(s.frame.S)*a.Dot(s.frame.T)
	f := geom.NewFrame(s.wi)
	di := di1.Dot(f.S)*di2.Dot(f.T) - di2.Dot(f.S)*di1.Dot(f.T)
	return math.Abs(di / det), det != 0
}

// pathOf makes a root's path: ok is false where another part of the shell is in the way, or past the critical angle.
func (t *Tracer) pathOf(e *frozen.Eye, x geom.Vec, tg target, r *root, out *solution) bool {
	var s state
	j, ok := t.spread(e, x, tg, &r.at.Y, &s)
	if !ok {
		return false
	}
	var seen frozen.ShellPoint
	if !t.castOuter(e, x, s.wi, false, &seen) || seen.Prim != r.at.Y.Prim && seen.Dist < s.r-1e-5*(1+s.r) {
		return false
	}
	*out = solution{y: r.at.Y, wi: s.wi, wo: r.at.Wl, cosOut: r.at.Cos, jacobian: j}
	out.y.Ng, out.y.Dist = seen.Ng, s.r
	return true
}
