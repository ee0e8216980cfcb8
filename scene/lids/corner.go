package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/noise"
)

// corner makes the flesh that shows between globe and lids: at the inner corner the fold of the conjunctiva and the
// caruncle, at the outer one a little tissue. Both are closed blocks whose front comes out of the globe tangentially. The
// colours have one texel a vertex of the fronts, one block above the other.
func (s *socket) corner() (*mesh.Mesh, []float32) {
	p := s.p
	in := 0.53 * p.Width
	inner, outer := s.o.corner(1), s.o.corner(-1)
	mid := inner.y + 0.45
	hill := func(x, y float64) float64 { // the caruncle, lumpy
		u, v := x-(in-2.5), y-mid
		lump := noise.Space(s.seed+41, x*1.3, y*1.3, 0) + 0.5*noise.Space(s.seed+42, x*2.9, y*2.9, 0)
		return (1 + 0.14*lump) * math.Exp(-math.Pow(u*u/2.6+v*v/3, 1.3))
	}
	fold := func(x, y float64) float64 { // way from the fold's crest, toward the nose; a crescent about the cornea
		v := y - mid
		return x - (in - 4.7) + 0.11*v*v + 0.25*noise.Line(s.seed+43, y*0.7)
	}
	m, pix := s.block([4]float64{in - 8, in + 3, inner.y - 6, inner.y + 7}, func(x, y float64) float64 {
		w := fold(x, y)
		return smoothMax(s.g.globe.height(x, y, 0)-0.3, inner.rim.Z-1.9, 1.4) + 2.3*hill(x, y) + 0.42*bell(w/0.6) - 0.3*bell((w-1)/0.5)
	}, func(x, y float64) colour.RGB {
		c := colour.Lerp(foldColour, innerColour, geom.Smoothstep(0.2, 1.6, fold(x, y)))
		c = colour.Lerp(c, caruncle, hill(x, y))
		return c.Scale(1 + 0.12*noise.Octaves(s.seed+44, x*0.9, y*1.1, 0, 3))
	})
	x0 := -0.47 * p.Width
	b, more := s.block([4]float64{x0 - 2, x0 + 5, outer.y - 5, outer.y + 5}, func(x, y float64) float64 {
		return smoothMax(s.g.globe.height(x, y, 0)-0.3, outer.rim.Z-1.3, 0.5)
	}, func(x, y float64) colour.RGB {
		return colour.Lerp(innerColour, foldColour, geom.Smoothstep(1, 3.5, x-x0))
	})
	for i := range m.UV {
		m.UV[i].V *= 0.5
		b.UV[i].V = 0.5 + b.UV[i].V*0.5
	}
	return join(m, b), append(pix, more...)
}

// Colours of the corners: the fold is pale as the sclera beside it, the floor redder. Common practice, no published source.
var (
	foldColour  = colour.RGB{0.64, 0.40, 0.35}
	innerColour = colour.RGB{0.56, 0.27, 0.23}
	caruncle    = colour.RGB{0.62, 0.31, 0.25}
)

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

// blockSize is the number of vertices along an edge of a block's front, with the ring that drops to its back.
const blockSize = 66

// block makes a closed block over a rectangle (x from 0 to 1, y from 2 to 3) whose front is z(x, y), and its colours; its
// back lies 3 mm behind.
func (s *socket) block(box [4]float64, z func(x, y float64) float64, paint func(x, y float64) colour.RGB) (*mesh.Mesh, []float32) {
	const w, n = blockSize, blockSize - 2
	pts := make([]geom.Vec, 0, w*w)
	pix := make([]float32, 0, 3*w*w)
	for j := range w {
		for i := range w {
			f, g := float64(max(0, min(n-1, i-1)))/(n-1), float64(max(0, min(n-1, j-1)))/(n-1)
			x, y := box[0]+f*(box[1]-box[0]), box[3]+g*(box[2]-box[3])
			v := geom.Vec{X: x, Y: y, Z: z(x, y)}
			if i == 0 || j == 0 || i == w-1 || j == w-1 {
				v.Z -= 3
			}
			pts = append(pts, s.head(v))
			c := paint(x, y)
			pix = append(pix, float32(c[0]), float32(c[1]), float32(c[2]))
		}
	}
	m := s.surface(pts, w)
	for i := range m.UV {
		m.UV[i] = geom.UV{U: (float64(i%w) + 0.5) / w, V: (float64(i/w) + 0.5) / w}
	}
	// The back: a fan from one point. Its facets are flat, with vertices of their own: bent normals on so long ones would say that
	// the smooth surface lies a millimetre off them, within the globe.
	x, y := (box[0]+box[1])/2, (box[2]+box[3])/2
	c := s.head(geom.Vec{X: x, Y: y, Z: z(x, y) - 4})
	const last = w * (w - 1)
	for i := range w - 1 {
		for _, e := range [][2]int{{i + 1, i}, {last + i, last + i + 1}, {i * w, (i + 1) * w}, {(i+1)*w + w - 1, i*w + w - 1}} {
			if m.P[e[0]] == m.P[e[1]] {
				continue
			}
			k := uint32(len(m.P))
			t := s.wind(k, k+1, k+2)
			m.Tri = append(m.Tri, t)
			m.P = append(m.P, m.P[e[0]], c, m.P[e[1]])
			n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Unit()
			m.N = append(m.N, n, n, n)
			m.UV = append(m.UV, m.UV[e[0]], m.UV[e[0]], m.UV[e[1]])
		}
	}
	return m, pix
}
