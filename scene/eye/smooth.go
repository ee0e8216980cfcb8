package eye

import (
	"math"

	"catchlight/scene/geom"
)

// Smooth is the form of an eye without relief, wobble and raggedness: what meshes that are made elsewhere are laid on. Angles
// run from +X toward +Y.
type Smooth struct {
	s *shells
	c *chart
	p Params
}

// SmoothOf checks p and takes the smooth form of its eye.
func SmoothOf(p Params) (*Smooth, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	p.WobbleSlopeCornea, p.WobbleSlopeSclera, p.PupilRagged, p.IrisRelief = 0, 0, 0, 0
	prof := newProfile(&p)
	z := prof.apex - p.IrisDepth
	c := newChart(&p, z)
	s := &shells{p: &p, prof: prof, w: newWobble(&p, c, prof), ir: newIris(&p, z)}
	return &Smooth{s: s, c: c, p: p}, nil
}

// Lengths of the form, mm: radius of the globe, of the limbus, half chords at which its blend begins and ends, of the iris root,
// of the lip where the inner shell has come up beneath the outer one, height of the apex, and how deep the inner shell lies.
func (s *Smooth) Lengths() (globe, limbus, begin, end, root, lip, apex, gap float64) {
	return s.p.GlobeRadius, s.p.LimbusRadius, s.s.prof.a, s.s.prof.b, s.s.ir.root, s.s.ir.lip, s.s.prof.apex, s.p.ShellGap
}

// Front is the outer shell's point at half chord r (mm, less than the globe's radius) with its normal; in is how far below it.
func (s *Smooth) Front(r, theta, in float64) (p, n geom.Vec) {
	p, n = s.s.surface(s.s.prof.front(r), theta)
	return p.Mad(-in, n), n
}

// Ball is the outer shell's point at an angle phi from the axis, outside the limbus.
func (s *Smooth) Ball(phi, theta, in float64) (p, n geom.Vec) {
	p, n = s.s.surface(s.s.prof.sphere(phi), theta)
	return p.Mad(-in, n), n
}

// Iris is a point of the inner shell before the lip: rho is 0 at the pupil's margin, 1 at the root and 2 at the lip.
func (s *Smooth) Iris(rho, theta float64) geom.Vec { return s.s.at(row{rho: rho}, theta) }

// Roll is a point of the pupil's rolled margin: share 0 where the tissue ends behind it, 1 where the front of the iris begins.
func (s *Smooth) Roll(share, theta float64) geom.Vec {
	const back = marginEdge / (marginEdge + math.Pi/2*marginRound) // the straight part's share of the way
	if share < back {
		return s.s.at(row{drop: marginRound + marginEdge*(1-share/back)}, theta)
	}
	sin, cos := math.Sincos(math.Pi / 2 * (share - back) / (1 - back))
	return s.s.at(row{d: marginRound * (1 - cos), drop: marginRound * (1 - sin)}, theta)
}

// RollEnd is rho where the roll ends, in the direction theta.
func (s *Smooth) RollEnd(theta float64) float64 {
	sin, cos := math.Sincos(theta)
	return marginRound / (s.s.ir.root - s.s.ir.edge(cos, sin))
}

// Foot is rho between where the inner shell begins to climb to the limbus, share 0, and the root, share 1, by the distance from the axis.
func (s *Smooth) Foot(share, theta float64) float64 {
	ir := s.s.ir
	r := ir.wall.foot + share*(ir.root-ir.wall.foot)
	lo, hi := 0.0, 1.0
	for range 50 {
		mid := (lo + hi) / 2
		if x, y := ir.planar(theta, mid); math.Hypot(x, y) < r {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Pit is a point of what lies behind the pupil: share 0 in the middle of its floor, 1/2 at the floor's edge, 1 where the tissue begins.
func (s *Smooth) Pit(share, theta float64) geom.Vec {
	ir := s.s.ir
	x, y := ir.margin(theta, pitFlare)
	if share <= 0.5 {
		return geom.Vec{X: ir.cx + 2*share*(x-ir.cx), Y: ir.cy + 2*share*(y-ir.cy), Z: ir.z - pitDepth}
	}
	t := 2*share - 1
	top := s.Roll(0, theta)
	w := geom.Smoothstep(0.5, 1, t)
	return geom.Vec{X: x + w*(top.X-x), Y: y + w*(top.Y-y), Z: ir.z - pitDepth + t*(top.Z-ir.z+pitDepth)}
}

// Far is the distance of the outer shell from the globe's centre in a direction at an angle phi from the axis.
func (s *Smooth) Far(phi float64) float64 {
	end := s.s.prof.front(s.s.prof.b)
	if phi >= math.Atan2(end.r, end.z) {
		return s.p.GlobeRadius
	}
	lo, hi := 0.0, s.s.prof.b
	for range 50 {
		mid := (lo + hi) / 2
		if st := s.s.prof.front(mid); math.Atan2(st.r, st.z) < phi {
			lo = mid
		} else {
			hi = mid
		}
	}
	st := s.s.prof.front((lo + hi) / 2)
	return math.Hypot(st.r, st.z)
}

// UV is where a point of the eye lies in the texture plane of the built eye's maps.
func (s *Smooth) UV(p geom.Vec) geom.UV { return s.c.uv(p) }

// Wider is the same eye with another pupil, mm across; its points are those of s, moved.
func (s *Smooth) Wider(diameter float64) (*Smooth, error) {
	p := s.p
	p.PupilDiameter = diameter
	return SmoothOf(p)
}
