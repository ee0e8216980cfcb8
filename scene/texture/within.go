package texture

import (
	"slices"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Strays says what of a map of colours lay outside a range.
type Strays struct {
	Count, Of int        // texels with a channel outside; texels there are
	At        geom.UV    // middle of the first one, in reading order; of tiles: of the lowest number
	Value     colour.RGB // there
}

// Within returns the map with its colours kept within lo to hi, by channel, and says what lay outside: what the picture holds
// after the matrix, gain and offset. Texels are changed, not what is read between them, so that one bright texel
// does not spread over its neighbours and into the smaller copies. It takes the map's picture over: another map of the same
// picture must not be read any more.
func (m Map) Within(lo, hi float64) (Map, Strays) {
	switch m.kind {
	case constant:
		c := clamped(m.c, lo, hi)
		s := Strays{Of: 1, Value: m.c}
		if c != m.c {
			s.Count, m.c = 1, c
		}
		return m, s
	case image:
		im, s := m.within(m.im, lo, hi)
		if s.Count > 0 {
			m.im = im
			m.keep(lo, hi)
		}
		return m, s
	case tiled:
		t := &Tiles{first: m.tiles.first, rows: m.tiles.rows, have: m.tiles.have, pictures: slices.Clone(m.tiles.pictures)}
		var sum Strays
		for _, n := range t.have {
			i := n - FirstTile - 10*t.first
			old := t.pictures[i]
			im, s := m.within(old, lo, hi)
			if sum.Count == 0 && s.Count > 0 {
				sum.Value = s.Value
				sum.At = geom.UV{U: s.At.U + float64((n-FirstTile)%10), V: s.At.V - float64((n-FirstTile)/10)}
			}
			sum.Count, sum.Of = sum.Count+s.Count, sum.Of+s.Of
			for k, q := range t.pictures {
				if q == old {
					t.pictures[k] = im
				}
			}
		}
		if sum.Count > 0 {
			m.tiles, m.im = t, t.pictures[0]
			m.keep(lo, hi)
		}
		return m, sum
	}
	return m, Strays{}
}

// keep has each look-up within lo to hi: codes and matrices round.
func (m *Map) keep(lo, hi float64) { m.kept, m.lo, m.hi = true, lo, hi }

// within returns a picture whose texels m takes to colours from lo to hi: im itself if they are so already.
func (m *Map) within(im *Image, lo, hi float64) (*Image, Strays) {
	w, h, c := im.Size()
	s := Strays{Of: w * h}
	back, canTurn := colour.Matrix{}, true
	if m.turn != nil {
		var err error
		back, err = m.turn.Inverse()
		canTurn = err == nil
	}
	buf := make([]float32, w*c)
	var texel [3]float32
	for y := range h {
		for x, row := 0, im.base.row(y*w*c, w*c, buf); x < w; x++ {
			q := row[x*c : x*c+c]
			v := colour.RGB{float64(q[0]), float64(q[0]), float64(q[0])}
			for k := 1; c > 1 && k < 3; k++ {
				if v[k] = 0; k < c {
					v[k] = float64(q[k])
				}
			}
			v = m.scaled(v)
			to := clamped(v, lo, hi)
			if to == v {
				continue
			}
			if s.Count++; s.Count == 1 {
				s.At, s.Value = geom.UV{U: (float64(x) + 0.5) / float64(w), V: (float64(y) + 0.5) / float64(h)}, v
			}
			if m.gain == 0 || !canTurn {
				continue // the look-up keeps it
			}
			for k := range to {
				to[k] = (to[k] - m.offset) / m.gain
			}
			if m.turn != nil {
				to = back.Apply(to)
			}
			for k := range min(c, 3) {
				texel[k] = float32(to[k])
			}
			im.base.put((y*w+x)*c, texel[:min(c, 3)])
		}
	}
	if s.Count == 0 {
		return im, s
	}
	out := &Image{c: c, base: im.base}
	out.BuildMips()
	return out, s
}

func clamped(c colour.RGB, lo, hi float64) colour.RGB {
	for k, v := range c {
		c[k] = max(lo, min(hi, v))
	}
	return c
}
