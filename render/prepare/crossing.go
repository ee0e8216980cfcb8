package prepare

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

const (
	crossingBins   = 256
	crossingPoints = 256 // on the sclera
	crossingRays   = 16  // each way of a grid of directions from each
)

// crossing measures how light that leaves the sclera evenly crosses the outer shell: rays from points spread over the sclera by
// area, in directions spread by Lambert's law. Rays into the iris zone count as little as the shell is a coat there.
func (s *eyeball) crossing(limbus, width float64) frozen.Crossing {
	zone := frozen.Eye{LimbusRadius: limbus, LimbusWidth: width}
	m := s.inner
	corners := func(i int) (a, b, c geom.Vec) { t := m.Tri[i]; return m.P[t[0]], m.P[t[1]], m.P[t[2]] }
	area := func(i int) float64 {
		a, b, c := corners(i)
		if m.Part != nil && m.Part[i] == mesh.Backing || zone.TissueZone(a)+zone.TissueZone(b)+zone.TissueZone(c) > 0 {
			return 0
		}
		return b.Sub(a).Cross(c.Sub(a)).Len() / 2
	}
	all := 0.0
	for i := range m.Tri {
		all += area(i)
	}
	out := make(frozen.Crossing, crossingBins)
	sc := accel.NewScratch()
	sum, seen, next := 0.0, 0.0, 0
	for i := range m.Tri {
		for seen += area(i); next < crossingPoints && seen > (float64(next)+0.5)/crossingPoints*all; next++ {
			a, b, c := corners(i)
			n := b.Sub(a).Cross(c.Sub(a)).Unit()
			if m.N != nil {
				t := m.Tri[i]
				n = geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], 1.0/3, 1.0/3).Unit()
			}
			o, f := geom.Mix(a, b, c, 1.0/3, 1.0/3), geom.NewFrame(n)
			_, shift := math.Modf(float64(next) * 0.618033988749895) // no two points look the same ways
			for k := range crossingRays * crossingRays {
				_, turn := math.Modf((float64(k%crossingRays)+0.5)/crossingRays + shift)
				_, lean := math.Modf((float64(k/crossingRays)+0.5)/crossingRays + shift/crossingRays)
				d := f.World(geom.CosineHemisphere(lean, turn))
				var h accel.Hit
				if !s.outerBVH.Closest(sc, o, d, 0, math.Inf(1), &h) {
					continue
				}
				t := s.outer.Tri[h.Prim]
				p := geom.Mix(s.outer.P[t[0]], s.outer.P[t[1]], s.outer.P[t[2]], h.U, h.V)
				q := s.outer.P[t[1]].Sub(s.outer.P[t[0]]).Cross(s.outer.P[t[2]].Sub(s.outer.P[t[0]])).Unit()
				if s.outer.N != nil {
					q = geom.Mix(s.outer.N[t[0]], s.outer.N[t[1]], s.outer.N[t[2]], h.U, h.V).Unit()
				}
				cos, w := min(1, math.Abs(d.Dot(q))), 1-zone.TissueZone(p)
				out[min(crossingBins-1, int((1-cos*cos)*crossingBins))] += w
				sum += w
			}
		}
	}
	if sum == 0 {
		return nil
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}
