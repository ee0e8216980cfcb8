package lids

import (
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/noise"
	"catchlight/scene/texture"
)

// flesh is closed blocks of flesh with their colours, one texel a vertex of their fronts: blocks of width w stand one above the other.
type flesh struct {
	m    *mesh.Mesh
	pix  []float32
	w    int
	rows []int // of each block
	ends []int // how many vertices end with it
}

// corner makes the flesh that shows between globe and lids: in the inner corner the crescent fold and the caruncle; and the mounds of the puncta on
// the rims. In the outer corner the lids lie on the globe.
func (s *socket) corner(k *hollow) *flesh {
	f := &flesh{w: k.w + 2}
	s.block(f, k.h+2, geom.Vec{Z: -3}, func(i, j int) (geom.Vec, colour.RGB) {
		n := j*k.w + i
		x, y := k.at(n)
		return geom.Vec{X: x, Y: y, Z: k.flesh[n]}, s.hollowTint(k, n)
	})
	const fine = 42
	for _, q := range s.puncta() {
		s.block(f, fine, q.axis.Mul(-0.3), func(i, j int) (geom.Vec, colour.RGB) {
			return q.at(2*float64(i)/float64(f.w-3)-1, 2*float64(j)/(fine-3)-1)
		})
	}
	f.finish()
	return f
}

// hollowTint is the colour of the flesh in the inner corner: pale at the globe, red where the floor is deep, the caruncle's lobes as the
// skin of a well-supplied place with paler, yellower tops.
func (s *socket) hollowTint(k *hollow, i int) colour.RGB {
	x, y := k.at(i)
	c := colour.Lerp(s.foldTint(k.fold[i], y), floorColour, geom.Smoothstep(1.1, 1.9, k.fold[i]))
	skin := s.p.Colour
	lump := skin.Mul(colour.RGB{1.34, 0.80, 0.82})
	lump = colour.Lerp(lump, skin.Mul(colour.RGB{1.52, 1.08, 1.08}), 0.6*k.crown[i])
	pore := noise.Space(s.seed+54, x*3.1, y*3.1, 0)
	lump = lump.Scale(1 - 0.3*geom.Smoothstep(0.35, 0.6, pore))
	c = colour.Lerp(c, lump, k.lobe[i])
	return c.Scale(1 + 0.08*noise.Octaves(s.seed+44, x*0.9, y*1.1, 0, 3))
}

// floorColour is that of the floor between fold, caruncle and lids. Common practice, no published source.
var floorColour = colour.RGB{0.64, 0.37, 0.32}

// corner returns the station farthest toward the nose (side 1) or the temple (-1).
func (o *opening) corner(side float64) *station {
	best := &o.s[0]
	for i := range o.s {
		if o.s[i].x*side > best.x*side {
			best = &o.s[i]
		}
	}
	return best
}

// block adds a closed block of h rows; at says the front's place and colour over a grid of (w-2) x (h-2) places, x rising with i and y
// with j. Its edge goes on by drop to the back.
func (s *socket) block(f *flesh, h int, drop geom.Vec, at func(i, j int) (geom.Vec, colour.RGB)) {
	w := f.w
	pts := make([]geom.Vec, 0, w*h)
	var low geom.Vec
	for j := range h {
		for i := range w {
			p, q := max(0, min(w-3, i-1)), h-3-max(0, min(h-3, j-1))
			v, c := at(p, q)
			if i == w/2 && j == h/2 {
				low = v
			}
			if i == 0 || j == 0 || i == w-1 || j == h-1 {
				v = v.Add(drop)
			}
			pts = append(pts, s.head(v))
			f.pix = append(f.pix, float32(c[0]), float32(c[1]), float32(c[2]))
		}
	}
	m := s.surface(pts, w)
	for i := range m.UV {
		m.UV[i] = geom.UV{U: (float64(i%w) + 0.5) / float64(w), V: float64(i/w) + 0.5}
	}
	// The back: a fan from one point. Its facets are flat, with vertices of their own: bent normals on so long ones would say that
	// the smooth surface lies a millimetre off them, within the globe.
	s.close(m, w, h, s.head(low.Mad(4.0/3, drop)))
	f.add(m, h)
}

// close shuts the back of a grid of points in rows of w by a fan from c.
func (s *socket) close(m *mesh.Mesh, w, h int, c geom.Vec) {
	last := w * (h - 1)
	shut := func(a, b int) {
		if m.P[a] == m.P[b] {
			return
		}
		k := uint32(len(m.P))
		t := s.wind(k, k+1, k+2)
		m.Tri = append(m.Tri, t)
		m.P = append(m.P, m.P[a], c, m.P[b])
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Unit()
		m.N = append(m.N, n, n, n)
		m.UV = append(m.UV, m.UV[a], m.UV[a], m.UV[b])
	}
	for i := range w - 1 {
		shut(i+1, i)
		shut(last+i, last+i+1)
	}
	for j := range h - 1 {
		shut(j*w, (j+1)*w)
		shut((j+1)*w+w-1, j*w+w-1)
	}
}

// add takes in a block of h rows of colours, whose V counts rows.
func (f *flesh) add(m *mesh.Mesh, h int) {
	f.m = join(f.m, m)
	f.rows, f.ends = append(f.rows, h), append(f.ends, len(f.m.P))
}

// finish turns V into a share of all rows.
func (f *flesh) finish() {
	total := len(f.pix) / (3 * f.w)
	i, above := 0, 0
	for b, end := range f.ends {
		for ; i < end; i++ {
			f.m.UV[i].V = (f.m.UV[i].V + float64(above)) / float64(total)
		}
		above += f.rows[b]
	}
}

// joined puts the flesh of sockets together. Grids of unlike width stand in one picture as wide as the widest.
func joined(list []*flesh) (*mesh.Mesh, *texture.Image) {
	w, h := 0, 0
	for _, f := range list {
		w, h = max(w, f.w), h+len(f.pix)/(3*f.w)
	}
	var m *mesh.Mesh
	pix := make([]float32, 3*w*h)
	above := 0
	for _, f := range list {
		rows := len(f.pix) / (3 * f.w)
		for i := range f.m.UV {
			uv := &f.m.UV[i]
			uv.U, uv.V = uv.U*float64(f.w)/float64(w), (uv.V*float64(rows)+float64(above))/float64(h)
		}
		for j := range rows {
			copy(pix[3*w*(above+j):], f.pix[3*f.w*j:3*f.w*(j+1)])
		}
		above += rows
		m = join(m, f.m)
	}
	return m, texture.NewImage(w, h, 3, pix)
}
