package lids

import (
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// socket is one eye's place in the head with all that its lids are made from.
type socket struct {
	p     *Params
	left  bool
	at    float64 // x of the globe's centre
	g     *ground
	o     *opening
	fine  []satellite
	sheet *sheet
	seed  uint64
	box   [4]float64 // of the face about one socket: x from 0 to 1, y from 2 to 3
}

// head takes a point of a right eye's socket into the head's frame.
func (s *socket) head(v geom.Vec) geom.Vec {
	if s.left {
		v.X = -v.X
	}
	v.X += s.at
	return v
}

// skin makes the closed surface of one socket, in the head's frame, and adds its maps; it returns what multiplies its colour too, one
// texel a vertex.
func (s *socket) skin(joined bool, out *pixels) (*mesh.Mesh, []float32, int) {
	n, h := s.sheet.n, len(s.sheet.rows)
	w := n + 1
	m := &mesh.Mesh{P: make([]geom.Vec, 0, w*h)}
	pix := make([]float32, 0, 3*n*h)
	spots := make([]spot, 0, n*h)
	for j := range h {
		for i := range n {
			v := &s.sheet.at[j*n+i]
			at := v.spot()
			h := s.head(v.p)
			k, c := s.stainAt(v, &at, h)
			spots = append(spots, at)
			out.stain = append(out.stain, float32(k.blood), float32(k.melanin), float32(k.thin))
			m.P = append(m.P, h)
			pix = append(pix, float32(c[0]), float32(c[1]), float32(c[2]))
		}
		m.P = append(m.P, m.P[j*w])
	}
	quad := func(a, b int) {
		for i := range n {
			p, q, u, v := uint32(a*w+i), uint32(a*w+i+1), uint32(b*w+i), uint32(b*w+i+1)
			if joined && s.sheet.rows[b].part == wall && s.o.s[i].end[0] == s.g.far && s.o.s[(i+1)%n].end[0] == s.g.far {
				continue // the other eye's skin goes on here
			}
			m.Tri = append(m.Tri, s.wind(p, u, q), s.wind(q, u, v))
		}
	}
	for j := range h - 1 {
		quad(j, j+1)
	}
	quad(h-1, 0)
	m.N = normals(m, w, h)
	s.relief(m.P, m.N, n, spots, out)
	m.N = normals(m, w, h)
	if joined {
		last := (h - 2) * w
		for i := range w {
			if s.o.s[i%n].end[0] == s.g.far {
				k := &m.N[last+i]
				k.X = 0
				*k = k.Unit()
			}
		}
	}
	m.UV = make([]geom.UV, len(m.P))
	for i := range m.UV {
		m.UV[i] = geom.UV{U: (float64(i%w) + 0.5) / float64(n), V: (float64(i/w) + 0.5) / float64(h)}
	}
	return m, pix, n
}

// wind orders a triangle that is counter-clockwise from outside on a right eye.
func (s *socket) wind(a, b, c uint32) [3]uint32 {
	if s.left {
		return [3]uint32{a, c, b}
	}
	return [3]uint32{a, b, c}
}

// normals are the area-weighted means of the faces about each vertex of a grid whose rows close upon themselves; the edge
// between the wall and the rest stays sharp.
func normals(m *mesh.Mesh, w, h int) []geom.Vec {
	sum := make([]geom.Vec, len(m.P))
	for _, t := range m.Tri {
		if int(max(t[0], t[1], t[2])) >= (h-1)*w {
			continue
		}
		f := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		for _, i := range t {
			sum[i] = sum[i].Add(f)
		}
	}
	for j := range h {
		a, b := j*w, j*w+w-1
		sum[a] = sum[a].Add(sum[b])
		sum[b] = sum[a]
	}
	for i := range sum {
		if l := sum[i].Len(); l > 0 {
			sum[i] = sum[i].Mul(1 / l)
		} else {
			sum[i] = geom.Vec{Z: -1}
		}
	}
	return sum
}

// picture stacks the colours of sockets, one above the other; all are as wide.
func picture(pix []float32, w int) *texture.Image { return texture.NewImage(w, len(pix)/(3*w), 3, pix) }
