package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
	"catchlight/scene/strand"
)

// Fine hair of the lids and the skin about them. Blume, Ferracin, Verschoore, Czernielewski and Schaefer, Br. J. Dermatol.
// 124 (1991), 21, count 439 a cm^2 on the forehead and 85 on the back, less than 2 mm long and 0.03 wide (from memory); what
// lids have is common practice, no published source.
const (
	downRoots = 170.0 // a cm^2 at density 1
	downKnots = 4
)

// down grows the fine hair about one eye, or nothing. Roots stand one in each cell of a grid.
func (s *socket) down(f *front) *strand.Set {
	set := &strand.Set{}
	if s.p.DownDensity <= 0 || s.p.DownLength <= 0 {
		return set
	}
	pitch := 10 / math.Sqrt(downRoots*s.p.DownDensity)
	lo, hi := math.Inf(1), math.Inf(-1)
	low, high := lo, hi
	for _, q := range s.o.s {
		lo, hi, low, high = min(lo, q.x), max(hi, q.x), min(low, q.y), max(high, q.y)
	}
	x0, y0 := math.Floor((lo-s.p.DownReach)/pitch), math.Floor((low-s.p.DownReach)/pitch)
	for j := y0; j*pitch < high+s.p.DownReach; j++ {
		for i := x0; i*pitch < hi+s.p.DownReach; i++ {
			r := s.draws("down", int(i)+4096, int(j)+4096)
			x, y := (i+0.1+0.8*r.Float64())*pitch, (j+0.1+0.8*r.Float64())*pitch
			d := s.o.beyond(x, y)
			if keep := r.Float64(); d < s.p.DownBare || keep < geom.Smoothstep(0.6*s.p.DownReach, s.p.DownReach, d) {
				continue
			}
			length, own := s.p.DownLength*uniform(r, 0.8, 1.2), 20*within(r)
			if d > 8 {
				length *= 1.15
			}
			lean := geom.Radians(uniform(r, 18, 38))
			p, at := f.lay(lying{x: x, y: y, length: length, lean: lean, knots: downKnots, way: func(x, y float64) (float64, float64) { return s.downWay(x, y, own) }})
			if p != nil {
				s.add(set, p, widths(s.p.DownThick*(1+0.15*within(r)), at), s.p.DownEu, s.p.DownPh)
			}
		}
	}
	return set
}

// downWay returns the direction of growth as seen from the front: toward the temple, down beside the nose and on the cheek, up
// above the lid. Common practice, no published source.
func (s *socket) downWay(x, y, own float64) (dx, dy float64) {
	angle := 180 + 38*(1-geom.Smoothstep(-14, -2, y))*geom.Smoothstep(-24, 4, x) - 24*geom.Smoothstep(6, 18, y) + 45*geom.Smoothstep(12, 26, x)
	angle += own + 25*noise.Space(s.seed+61, x*0.12, y*0.12, 5)
	sin, cos := math.Sincos(geom.Radians(angle))
	return cos, sin
}

// beyond returns how far outside the opening's edge a place as seen from the front lies, mm; less than 0 inside.
func (o *opening) beyond(x, y float64) float64 {
	best, out := math.Inf(1), 1.0
	for i := range o.s {
		q := &o.s[i]
		if d := math.Hypot(x-q.x, y-q.y); d < best {
			best, out = d, (x-q.x)*q.nx+(y-q.y)*q.ny
		}
	}
	if out < 0 {
		return -best
	}
	return best
}
