package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
	"catchlight/scene/strand"
)

// The brow's course over a right eye, x in mm. Common practice, no published source.
const (
	browHead, browTail = 17.5, -31.0 // from above the inner corner to beyond the outer one
	browPeak           = 0.64        // share of its length where it is highest
	browHairs          = 350         // a side at density 1: 250 to 450, from memory
	browKnots          = 6
)

// browAxis returns the middle of the brow at the share u from its head to its tail, and the unit direction of its course.
func (s *socket) browAxis(u float64) (x, y, dx, dy float64) {
	at := func(u float64) (x, y float64) {
		// A rise to the peak and a fall to the tail, without a corner.
		form := func(u float64) float64 {
			if u < browPeak {
				return 0.5 - 0.5*math.Cos(math.Pi*u/browPeak)
			}
			k := (u - browPeak) / (1 - browPeak)
			return 1 - 1.5*k*k*(1-0.25*k)
		}
		const over = browHead / (browHead - browTail) // above the pupil
		return browHead + u*(browTail-browHead), s.p.BrowHeight + s.p.BrowArch*(form(u)-form(over))
	}
	x, y = at(u)
	x0, y0 := at(u - 0.01)
	x1, y1 := at(u + 0.01)
	l := math.Hypot(x1-x0, y1-y0)
	return x, y, (x1 - x0) / l, (y1 - y0) / l
}

// browWidth returns half the brow's width there, mm.
func (s *socket) browWidth(u float64) float64 {
	return 0.5 * s.p.BrowWidth * (0.8 + 0.2*geom.Smoothstep(0, 0.25, u)) * (1 - 0.78*geom.Smoothstep(0.45, 1.02, u))
}

// browPlace returns where a place as seen from the front lies in the brow: the share of its length, and how far above its
// middle, 1 at its edge.
func (s *socket) browPlace(x, y float64) (u, v float64) {
	u = (browHead - x) / (browHead - browTail)
	_, mid, dx, _ := s.browAxis(u)
	return u, (y - mid) * math.Abs(dx) / s.browWidth(max(0, min(u, 1)))
}

// browWay returns the direction of growth as seen from the front: up at the head, then along the brow to the temple, where
// upper rows grow down and lower ones up, so that they meet on a ridge.
func (s *socket) browWay(x, y, own float64) (dx, dy float64) {
	u, v := s.browPlace(x, y)
	_, _, ax, ay := s.browAxis(max(0, min(u, 1)))
	v = max(-1.3, min(v, 1.3))
	body := geom.Smoothstep(0.1, 0.38, u)
	angle := 68 - 52*geom.Smoothstep(0, 0.34, u) - 10*geom.Smoothstep(0.5, 1, u) - v*(10+18*body) + own
	angle += 9 * noise.Space(s.seed+51, x*0.3, y*0.3, 3)
	sin, cos := math.Sincos(geom.Radians(angle))
	// ay is the course's rise; across it stands (-ay, ax) turned up.
	return ax*cos + ay*sin, ay*cos - ax*sin
}

// brows grows the brow of one eye, or nothing.
func (s *socket) brows(f *front) *strand.Set {
	set := &strand.Set{}
	n := int(math.Round(browHairs * s.p.BrowDensity))
	if s.p.BrowLength <= 0 {
		return set
	}
	for i, q := range s.browRoots(n) {
		x, y := q[0], q[1]
		u, v := s.browPlace(x, y)
		r := s.draws("brow", i, 0)
		own, lean := 7*within(r), geom.Radians(uniform(r, 14, 34))
		length := s.p.BrowLength * (0.6 + 0.4*geom.Smoothstep(0, 0.3, u)) * (1 - 0.35*geom.Smoothstep(0.55, 1, u)) * (1 + 0.14*within(r))
		length *= 1 - 0.2*math.Abs(v)
		width := s.p.BrowThick * (1 + 0.15*within(r)) * (0.8 + 0.2*geom.Smoothstep(0, 0.25, u)) * (1 - 0.25*geom.Smoothstep(0.6, 1, u))
		if young, share := r.Float64() < 0.3, uniform(r, 0.35, 0.8); young {
			length *= share
			width *= 0.6 + 0.4*share
		}
		p, at := f.lay(lying{x: x, y: y, length: length, lean: lean, knots: browKnots, way: func(x, y float64) (float64, float64) { return s.browWay(x, y, own) }})
		if p == nil {
			continue
		}
		s.add(set, p, widths(width, at), s.p.BrowEu*(1+0.15*within(r)), s.p.BrowPh*(1+0.15*within(r)))
	}
	return set
}

// browRoots returns up to n places as seen from the front, in an order in which the first few are spread like all: the best
// of several by their distance, dense along the middle, sparse at head, tail and edges.
func (s *socket) browRoots(n int) [][2]float64 {
	r := s.draws("brow roots", 0, 0)
	var out [][2]float64
	for range n {
		best, far := [2]float64{}, 0.0
		for range 10 {
			u, v := uniform(r, -0.03, 1.02), uniform(r, -1.25, 1.25)
			k := geom.Smoothstep(-0.04, 0.16, u) * (1 - 0.5*geom.Smoothstep(0.55, 1, u)) * (1 - geom.Smoothstep(0.55, 1.25, math.Abs(v+0.1))) * s.browWidth(u) / (0.5 * s.p.BrowWidth)
			if keep := r.Float64(); keep > k {
				continue
			}
			x, y, dx, dy := s.browAxis(u)
			w := v * s.browWidth(u)
			c := [2]float64{x + dy*w, y - dx*w}
			if room := roomAt(out, c, k); room > far {
				best, far = c, room
			}
		}
		if far > 0 {
			out = append(out, best)
		}
	}
	return out
}
