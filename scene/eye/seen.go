package eye

import (
	"math"
)

// seen says where a built eye, when it is rendered, takes the colour of a place of its inner shell. The renderer keeps colour by
// direction from the globe's centre and finds it on the iris plane within the lip, which the shell leaves where it rises to the
// limbus: the colours of root and wall lie there up to half a mm further out than the shell's texture coordinates have them. A map
// to lay on the shell by those has to move them along.
type seen struct {
	c    *chart
	ir   *iris
	lip  float64
	root float64   // distance from the middle of the map where the wall begins
	from []float64 // distance of a station in the map, growing
	to   []float64 // where its colour is
}

// seenStations is how many places of the meridian from the wall's foot to the open globe the way is tabled at.
const seenStations = 512

func newSeen(p *Params, c *chart, ir *iris) *seen {
	s := &seen{c: c, ir: ir, lip: ir.lip, root: ir.wall.foot * c.perMM}
	prof := newProfile(p)
	end := min(c.blend1, 0.98*p.GlobeRadius)
	low := ir.z - ir.convexity
	for i := range seenStations + 1 {
		r := ir.wall.foot + (end-ir.wall.foot)*float64(i)/seenStations
		st := prof.front(r)
		x, z := st.r-p.ShellGap*st.nr, st.z-p.ShellGap*st.nz
		if r < ir.lip {
			t := ir.wall.at(r)
			x, z = r+t*(x-r), low+t*(z-low)
		}
		rho := c.rho(x, z)
		if n := len(s.from); n > 0 && rho <= s.from[n-1] {
			continue
		}
		s.from, s.to = append(s.from, rho), append(s.to, s.colourAt(x, z))
	}
	return s
}

// colourAt returns how far from the middle of the map the renderer takes the colour of a point at half chord r and height z.
func (s *seen) colourAt(r, z float64) float64 {
	if q := r / z * s.ir.z; q < s.lip {
		return s.c.rho(q, s.ir.z)
	}
	k := s.c.globe / math.Hypot(r, z)
	return s.c.rho(k*r, k*z)
}

// place returns where the colour of a place of the texture plane is.
func (s *seen) place(u, v float64) (float64, float64) {
	rho := math.Hypot(u, v)
	n := len(s.from)
	switch {
	case rho == 0 || rho >= s.from[n-1]:
		return u, v
	case rho < s.root:
		x, y := u/s.c.perMM, v/s.c.perMM
		if _, q := s.ir.polar(x, y); q >= 0 {
			k := s.colourAt(rho/s.c.perMM, s.ir.front(x, y, q)) / rho
			return k * u, k * v
		}
		return u, v
	}
	lo, hi := 0, n-1
	for hi-lo > 1 {
		if m := (lo + hi) / 2; s.from[m] <= rho {
			lo = m
		} else {
			hi = m
		}
	}
	t := (rho - s.from[lo]) / (s.from[hi] - s.from[lo])
	k := (s.to[lo] + min(1, max(0, t))*(s.to[hi]-s.to[lo])) / rho
	return k * u, k * v
}
