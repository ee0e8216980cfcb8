package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/noise"
)

// corner makes the flesh that shows between globe and lids: at the inner corner the fold of the conjunctiva and the
// caruncle, at the outer one a little tissue. Both are closed blocks whose front comes out of the globe tangentially.
func (s *socket) corner() *mesh.Mesh {
	p := s.p
	in := 0.53 * p.Width
	inner, outer := s.o.corner(1), s.o.corner(-1)
	m := s.block(in-8, in+3, inner.y-6, inner.y+7, func(x, y float64) float64 {
		z := smoothMax(s.g.globe.height(x, y, 0)-0.3, inner.rim.Z-1.9, 1.4)
		u, v := x-(in-2.7), y-(inner.y+0.45)
		lump := noise.Space(s.seed+41, x*1.3, y*1.3, 0) + 0.5*noise.Space(s.seed+42, x*2.9, y*2.9, 0)
		z += (1.9 + 0.2*lump) * math.Exp(-math.Pow(u*u/2.9+v*v/3.6, 1.4)) // caruncle
		w := x - (in - 5.2) + 0.05*v*v                                    // fold, a crescent open to the nose
		z += 0.38 * bell(w/0.55) * bell(v/4)
		z -= 0.25 * bell((w-0.9)/0.45) * bell(v/4)
		return z
	})
	return join(m, s.block(-0.47*p.Width-2, -0.47*p.Width+5, outer.y-5, outer.y+5, func(x, y float64) float64 {
		return smoothMax(s.g.globe.height(x, y, 0)-0.3, outer.rim.Z-0.7, 1.2)
	}))
}

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

// block makes a closed block over a rectangle whose front is z(x, y); its back lies 3 mm behind.
func (s *socket) block(x0, x1, y0, y1 float64, z func(x, y float64) float64) *mesh.Mesh {
	const n = 64
	w := n + 2
	pts := make([]geom.Vec, 0, w*w)
	for j := range w {
		for i := range w {
			// The outermost ring drops back; its middle is closed by the ring's own centre below.
			f, g := float64(max(0, min(n-1, i-1)))/(n-1), float64(max(0, min(n-1, j-1)))/(n-1)
			x, y := x0+f*(x1-x0), y1+g*(y0-y1)
			v := geom.Vec{X: x, Y: y, Z: z(x, y)}
			if i == 0 || j == 0 || i == w-1 || j == w-1 {
				v.Z -= 3
			}
			pts = append(pts, s.head(v))
		}
	}
	m := s.sheet(pts, w)
	// The back: a fan from one point.
	c := uint32(len(m.P))
	m.P = append(m.P, s.head(geom.Vec{X: (x0 + x1) / 2, Y: (y0 + y1) / 2, Z: z((x0+x1)/2, (y0+y1)/2) - 4}))
	m.N = append(m.N, geom.Vec{Z: -1})
	m.UV = append(m.UV, geom.UV{})
	for i := range w - 1 {
		last := w * (w - 1)
		for _, e := range [][2]int{{i + 1, i}, {last + i, last + i + 1}, {i * w, (i + 1) * w}, {(i+1)*w + w - 1, i*w + w - 1}} {
			m.Tri = append(m.Tri, s.wind(uint32(e[0]), c, uint32(e[1])))
		}
	}
	return m
}
