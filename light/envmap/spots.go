package envmap

import (
	"cmp"
	"math"
	"slices"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// A hot spot is a small bright part of the picture, such as the sun or a lamp, that brings a good share of the light.
// What of it stands out above a level is moved to a map of its own; below the level the picture stays. As a look-up is
// linear in the texels, picture and spots add up to what was there before, texel by texel to the rounding of float32.
// So nothing changes but how light is sampled: each spot gets samples of its own, and the rest of the sky gets the ones
// that the spots would have taken.
//
// Source: the level and the sizes are own choices; the idea is that of Debevec, Rendering Synthetic Objects into Real
// Scenes, SIGGRAPH 1998, and A Median Cut Algorithm for Light Probe Sampling, SIGGRAPH 2005 posters (from memory).
const (
	spotLevel  = 4    // the lowest level, over the mean of the picture; each next one is twice as high
	spotRadius = 5.0  // degrees from the spot's centre of light to the farthest texel
	spotShare  = 0.05 // of the picture's light, at least
	maxSpots   = 4    // the strongest are kept: each costs a connection at every vertex
)

// Spots returns the hot spots that were cut out under Options.CutSpots, the strongest first. They are not in the map itself any
// more, neither in Radiance nor in MeanRadiance.
func (m *Map) Spots() []*Map { return m.spots }

// spot is a connected set of texels above a level.
type spot struct {
	level  float64
	texels []int32
	power  float64 // of what stands out
	axis   geom.Vec
}

// cutSpots finds the hot spots by the channels' mean after gain g and cuts them out.
func (m *Map) cutSpots(g colour.RGB) {
	total := m.integrate(g)
	if !(total > 0) {
		return
	}
	var found []spot
	taken := make([]bool, m.w*m.h) // in a spot
	bright := make([]int32, 0, 1024)
	level := spotLevel * total / (4 * math.Pi)
	for i := range taken {
		if m.grey(i%m.w, i/m.w, g) > level {
			bright = append(bright, int32(i))
		}
	}
	mark := make([]bool, m.w*m.h) // above the level and not yet visited
	for len(bright) > 0 {
		for _, i := range bright {
			mark[i] = true
		}
		for _, i := range bright {
			if !mark[i] {
				continue
			}
			s := spot{level: level, texels: m.connected(mark, i)}
			if m.measure(&s, g); s.power >= spotShare*total && m.compact(&s) {
				found = append(found, s)
				for _, k := range s.texels {
					taken[k] = true
				}
			}
		}
		// What was too wide is looked at again at a higher level.
		level *= 2
		bright = slices.DeleteFunc(bright, func(i int32) bool {
			return taken[i] || m.grey(int(i)%m.w, int(i)/m.w, g) <= level
		})
	}
	slices.SortStableFunc(found, func(a, b spot) int { return cmp.Compare(b.power, a.power) })
	for i := range found[:min(len(found), maxSpots)] {
		m.spots = append(m.spots, m.cut(&found[i], g))
	}
}

// connected returns the marked texels that hang together with i by sides or corners, across the seam, and unmarks them.
func (m *Map) connected(mark []bool, i int32) []int32 {
	set := []int32{i}
	mark[i] = false
	for k := 0; k < len(set); k++ {
		x, y := int(set[k])%m.w, int(set[k])/m.w
		for yy := max(0, y-1); yy <= min(m.h-1, y+1); yy++ {
			for dx := -1; dx <= 1; dx++ {
				n := yy*m.w + (x+dx+m.w)%m.w
				if mark[n] {
					mark[n] = false
					set = append(set, int32(n))
				}
			}
		}
	}
	return set
}

// measure finds the power above the level and the centre of that light.
func (m *Map) measure(s *spot, g colour.RGB) {
	for _, i := range s.texels {
		x, y := int(i)%m.w, int(i)/m.w
		p := (m.grey(x, y, g) - s.level) * m.texelSolidAngle(y)
		s.power += p
		s.axis = s.axis.Mad(p, m.texel(x, y))
	}
	s.axis = s.axis.Unit()
}

// texel returns the direction of a texel's centre.
func (m *Map) texel(x, y int) geom.Vec {
	return Direction((float64(x)+0.5)/float64(m.w), (float64(y)+0.5)/float64(m.h))
}

// compact reports whether all of the spot is near its axis.
func (m *Map) compact(s *spot) bool {
	least := math.Cos(spotRadius * math.Pi / 180)
	return !slices.ContainsFunc(s.texels, func(i int32) bool { return m.texel(int(i)%m.w, int(i)/m.w).Dot(s.axis) < least })
}

// cut moves what stands out of a spot to a map of its own.
func (m *Map) cut(s *spot, g colour.RGB) *Map {
	lo, hi := m.h, -1
	used := make([]bool, m.w)
	for _, i := range s.texels {
		used[int(i)%m.w] = true
		lo, hi = min(lo, int(i)/m.w), max(hi, int(i)/m.w)
	}
	x, n := columns(used)
	q := &Map{w: m.w, h: m.h, part: window{x, lo, n, hi - lo + 1}, spot: true, axis: s.axis}
	q.pix = make([]float32, 3*q.part.w*q.part.h)
	for _, i := range s.texels {
		tx, ty := int(i)%m.w, int(i)/m.w
		keep := s.level / m.grey(tx, ty, g)
		cx, _ := q.part.column(tx, m.w)
		to := 3 * ((ty-lo)*q.part.w + cx)
		for c := range 3 {
			v := m.pix[3*int(i)+c]
			rest := float32(float64(v) * keep)
			m.pix[3*int(i)+c], q.pix[to+c] = rest, v-rest
		}
	}
	q.mean = q.integrate(g) / (4 * math.Pi)
	// The cells that touch its texels, and the farthest corner of those from the axis.
	cells := window{(x + m.w - 1) % m.w, lo, n + 1, q.part.h + 1}
	if n+1 >= m.w {
		cells.x, cells.w = 0, m.w
	}
	q.dist = newDistribution(m.w, m.h, cells, func(tx, ty int) float64 {
		c, ok := q.part.column(tx, m.w)
		if r := ty - lo; ok && r >= 0 && r < q.part.h {
			return q.grey(c, r, g)
		}
		return 0
	})
	q.least = 1
	for j := lo - 1; j <= hi+1; j++ {
		for i := range n + 2 {
			q.least = min(q.least, Direction((float64((x+i-1+m.w)%m.w)+0.5)/float64(m.w), min(1, max(0, (float64(j)+0.5)/float64(m.h)))).Dot(s.axis))
		}
	}
	q.least = math.Cos(math.Acos(q.least) + math.Pi/float64(m.h)) // edges bulge between corners
	return q
}

// columns returns the shortest run of columns around the circle that holds all that are used.
func columns(used []bool) (first, n int) {
	w := len(used)
	gap, from := 0, 0 // the longest run of unused ones ends before from
	run := 0
	for i := range 2 * w {
		if used[i%w] {
			if run > gap {
				gap, from = run, i%w
			}
			run = 0
		} else {
			run++
		}
	}
	return from, w - gap
}

// Cone returns the axis of a hot spot and the angle about it, in radians, that holds all of its light.
func (m *Map) Cone() (axis geom.Vec, angle float64) {
	return m.axis, math.Acos(max(-1, min(1, m.least)))
}

// away reports whether d is too far from a hot spot to meet it.
func (m *Map) away(d geom.Vec) bool { return m.spot && d.Dot(m.axis) < m.least }

// patch interpolates between texels of which some may lie outside the map.
func (m *Map) patch(x0, y0, x1, y1 int, fx, fy float64) colour.RGB {
	var c colour.RGB
	for k, w := range [4]float64{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy} {
		x, y := x0, y0-m.part.y
		if k&1 == 1 {
			x = x1
		}
		if k&2 == 2 {
			y = y1 - m.part.y
		}
		if x, ok := m.part.column(x, m.w); ok && y >= 0 && y < m.part.h {
			p := m.pix[3*(y*m.part.w+x):]
			c[0] += w * float64(p[0])
			c[1] += w * float64(p[1])
			c[2] += w * float64(p[2])
		}
	}
	return c
}
