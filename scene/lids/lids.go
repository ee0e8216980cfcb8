package lids

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/strand"
	"catchlight/scene/texture"
)

// Socket is one eye as its lids see it.
type Socket struct {
	Left bool // its nose side is -X
	// Far returns the distance from the globe's centre to the eye's surface along a unit direction of the head's frame, mm.
	Far func(d geom.Vec) float64
	// Axis is the unit direction of the optical axis in the head's frame.
	Axis geom.Vec
}

// Lids is what was grown, in the head's frame. It does not change after Build.
type Lids struct {
	Params Params
	Skin   *mesh.Mesh     // closed
	Stain  *texture.Image // of the skin, one texel a vertex: what multiplies the shares of blood and of melanin, and how much of what is dark beneath a thin skin shows
	Tone   *texture.Image // of the skin, one texel a vertex: what multiplies its colour by channel
	Relief Relief         // of the skin
	Corner *mesh.Mesh     // closed: flesh of the inner corner, and what lies behind the outer one
	Pink   *texture.Image // of the corner, linear, 3 channels, one texel a vertex
	Tears  *mesh.Mesh     // a strip without thickness; nil without tears. Its outer side faces the air
	Hair   []Hair         // lashes, brows, down

	// Rims holds for each socket the inner edge of the rims on the ground, once round from the inner corner over the
	// upper lid.
	Rims [][]geom.Vec
}

// Build checks p and grows the lids of one socket, or of a pair: the right eye first.
func Build(p Params, sockets []Socket) (*Lids, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	if pair := p.Spacing > 0; pair && len(sockets) != 2 || !pair && len(sockets) != 1 {
		return nil, fmt.Errorf("lids: %d sockets for a spacing of %g mm", len(sockets), p.Spacing)
	}
	out := &Lids{Params: p}
	var pix []float32
	var fine pixels
	var parts []*flesh
	var made []*socket
	var grounds []*ground
	var sides []*Params
	var rise []float64
	far, width := 31.5, 0
	if p.Spacing > 0 {
		far = p.Spacing / 2
	}
	for i, k := range sockets {
		s := newSocket(&p, i, k, far)
		if err := s.p.onGlobe(s.g.globe.radius); err != nil {
			return nil, err
		}
		made, grounds, sides = append(made, s), append(grounds, s.g), append(sides, s.p)
		rise = append(rise, s.g.globe.at(k.Axis)*k.Axis.Y)
	}
	hair := []Hair{{"lashes", &strand.Set{}}, {"brows", &strand.Set{}}, {"down", &strand.Set{}}}
	box := border(far)
	for i, o := range openings(sides, grounds, rise, box) {
		s := made[i]
		s.box = box
		s.around(o)
		skin, px, w := s.skin(p.Spacing > 0, &fine)
		k := s.newHollow(s.o.loop())
		corner := s.corner(k)
		parts = append(parts, corner)
		if p.Tears > 0 {
			out.Tears = join(join(out.Tears, s.tears()), s.lake(k))
			for _, q := range s.puncta() {
				out.Tears.Append(s.wet(&q))
			}
		}
		f := s.newFront(skin, box)
		sets := []*strand.Set{s.lashes(f), s.brows(f), s.down(f)}
		for j, set := range sets {
			hair[j].Set.Append(set)
		}
		follicles(skin, px, w+1, sets...)
		s.faded(skin.P, px, w+1, p.Spacing > 0)
		hair[2].Set.Append(s.caruncleHairs(k))
		width = w
		pix = append(pix, px...)
		out.Skin = join(out.Skin, skin)
		rim := make([]geom.Vec, len(s.o.s))
		for j := range rim {
			rim[j] = s.head(s.o.s[j].rim)
		}
		out.Rims = append(out.Rims, rim)
	}
	for _, h := range hair {
		if h.Set.Hairs() > 0 {
			out.Hair = append(out.Hair, h)
		}
	}
	stack(out.Skin.UV, len(sockets))
	out.Corner, out.Pink = joined(parts)
	out.Tone, out.Stain, out.Relief = picture(pix, width), picture(fine.stain, width), fine.images()
	return out, nil
}

// newSocket is the i-th socket, the ground of its face laid about its eye; its nose ends at far, mm.
func newSocket(p *Params, i int, k Socket, far float64) *socket {
	s := &socket{p: p.sided(k.Left), left: k.Left, seed: p.Seed + uint64(i)*0x9e3779b97f4a7c15}
	if p.Spacing > 0 {
		s.at = far
		if !k.Left {
			s.at = -far
		}
	}
	s.g = newGround(s.p, far, newGlobe(func(d geom.Vec) float64 {
		if k.Left {
			d.X = -d.X
		}
		return k.Far(d)
	}))
	return s
}

// around lays the sheet of a socket's skin about its opening.
func (s *socket) around(o *opening) {
	s.o = o
	s.g.bake()
	s.fine = s.satellites()
	s.sheet = s.lay()
}

// stack puts the texture coordinates of n sockets, as many each, one above the other.
func stack(uv []geom.UV, n int) {
	for i := range uv {
		uv[i].V = (uv[i].V + float64(i*n/len(uv))) / float64(n)
	}
}

// join adds b to a, which may be nil.
func join(a, b *mesh.Mesh) *mesh.Mesh {
	if a == nil {
		return b
	}
	a.Append(b)
	return a
}

// surface makes a mesh of a grid of points in rows of w.
func (s *socket) surface(p []geom.Vec, w int) *mesh.Mesh {
	m := &mesh.Mesh{P: p, N: make([]geom.Vec, len(p)), UV: make([]geom.UV, len(p))}
	for j := range len(p)/w - 1 {
		for i := range w - 1 {
			a := uint32(j*w + i)
			m.Tri = append(m.Tri, s.wind(a, a+uint32(w), a+1), s.wind(a+1, a+uint32(w), a+uint32(w)+1))
		}
	}
	for _, t := range m.Tri {
		f := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		for _, i := range t {
			m.N[i] = m.N[i].Add(f)
		}
	}
	for i, v := range m.N {
		if l := v.Len(); l > 0 && !math.IsNaN(l) {
			m.N[i] = v.Mul(1 / l)
		} else {
			m.N[i] = geom.Vec{Z: 1}
		}
	}
	return m
}

// turned takes a direction of a right eye's socket into the head's frame.
func (s *socket) turned(v geom.Vec) geom.Vec {
	if s.left {
		v.X = -v.X
	}
	return v
}
