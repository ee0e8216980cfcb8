package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/noise"
	"catchlight/scene/texture"
)

// socket is one eye's place in the head with all that its lids are made from.
type socket struct {
	p    *Params
	left bool
	at   float64 // x of the globe's centre
	g    *ground
	o    *opening
	seed uint64
}

// head takes a point of a right eye's socket into the head's frame.
func (s *socket) head(v geom.Vec) geom.Vec {
	if s.left {
		v.X = -v.X
	}
	v.X += s.at
	return v
}

// row is one line round the opening: how far from its edge (d) and above the ground (n), or, beneath the lid, how deep.
type row struct {
	d, n float64
	deep float64 // way in beneath the lid as a share; 0 elsewhere
	wall bool    // the far edge's back
	edge float64 // 0 on the inner edge of the rim to 1 on its outer edge, 2 on the skin, -1 beneath
}

const (
	innerRound = 0.3 // radius of the rim's edge toward the globe
	outerRound = 0.55
	tuck       = 5.0  // how deep the lid's back reaches at least
	rayMean    = 26.0 // length of a ray over the face that rows are laid out for
	thick      = 9.0  // of the far edge
)

// rows lays out the lines of the skin from the lid's back out over the rim and over the face.
func rows(p *Params) []row {
	var r []row
	for i := range 9 {
		r = append(r, row{deep: math.Pow(1-float64(i)/9, 1.5), edge: -1})
	}
	arc := func(d, n, rad, from, to float64, steps int, e0, e1 float64) {
		for i := range steps + 1 {
			f := float64(i) / float64(steps)
			s, c := math.Sincos(geom.Radians(from + f*(to-from)))
			r = append(r, row{d: d + rad*c, n: n + rad*s, edge: e0 + f*(e1-e0)})
		}
	}
	arc(innerRound, p.Gap+innerRound, innerRound, 270, 180, 4, 0, 0.15)
	flat := p.Rim - innerRound - outerRound
	k := max(4, int(flat/max(p.Detail, 0.12)))
	for i := 1; i < k; i++ {
		f := float64(i) / float64(k)
		r = append(r, row{d: -0.07 * math.Sin(math.Pi*f), n: p.Gap + innerRound + f*flat, edge: 0.15 + 0.6*f})
	}
	arc(outerRound, p.Gap+p.Rim-outerRound, outerRound, 180, 90, 6, 0.75, 1)
	for d := outerRound; d < rayMean; {
		d += p.Detail * (1 + 0.085*d)
		r = append(r, row{d: min(d, rayMean), n: p.Gap + p.Rim, edge: 2})
	}
	return append(r, row{wall: true, edge: 2})
}

// skin makes the closed surface of one socket, in the head's frame, and its colours: one texel a vertex.
func (s *socket) skin(joined bool) (*mesh.Mesh, []float32, int) {
	p := s.p
	rr := rows(p)
	n := len(s.o.s)
	m := &mesh.Mesh{P: make([]geom.Vec, 0, (n+1)*len(rr))}
	pix := make([]float32, 0, 3*n*len(rr))
	for _, r := range rr {
		for i := range n + 1 {
			q := &s.o.s[i%n]
			v, c := s.vertex(q, r)
			m.P = append(m.P, v)
			if i < n {
				pix = append(pix, float32(c[0]), float32(c[1]), float32(c[2]))
			}
		}
	}
	w := n + 1
	quad := func(a, b int) {
		for i := range n {
			p, q, u, v := uint32(a*w+i), uint32(a*w+i+1), uint32(b*w+i), uint32(b*w+i+1)
			if joined && rr[b].wall && s.o.s[i].end[0] == s.g.far && s.o.s[(i+1)%n].end[0] == s.g.far {
				continue // the other eye's skin goes on here
			}
			m.Tri = append(m.Tri, s.wind(p, u, q), s.wind(q, u, v))
		}
	}
	for j := range len(rr) - 1 {
		quad(j, j+1)
	}
	quad(len(rr)-1, 0)
	m.N = normals(m, w, len(rr))
	if joined {
		last := (len(rr) - 2) * w
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
		m.UV[i] = geom.UV{U: (float64(i%w) + 0.5) / float64(n), V: (float64(i/w) + 0.5) / float64(len(rr))}
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

// vertex returns a point of the skin in the head's frame, and its colour.
func (s *socket) vertex(q *station, r row) (geom.Vec, colour.RGB) {
	p := s.p
	if r.edge < 0 {
		v := s.beneath(q, r.deep)
		return s.head(v), mucosa
	}
	if r.wall {
		x, y := q.end[0], q.end[1]
		return s.head(geom.Vec{X: x, Y: y, Z: s.g.at(x, y, p.Gap+p.Rim) - thick}), p.Colour
	}
	d := r.d
	l := q.reach()
	last := d >= rayMean
	if d > 0 {
		d *= 1 + (l/rayMean-1)*d/rayMean
	}
	f := s.folds(q, d)
	inland := 1 - geom.Smoothstep(0.7, 1, d/l) // what ends before the border
	f.out *= inland
	lean := q.lean() * (r.n - p.Gap) * (1 - geom.Smoothstep(0.5, 7, d))
	x, y := q.ray(max(d-f.over, min(d, 0)) - lean)
	base, up := s.g.point(x, y, 0), q.up
	var v geom.Vec
	switch {
	case r.edge < 2:
		v = base.Mad(r.n, up)
	case last:
		v = geom.Vec{X: q.end[0], Y: q.end[1], Z: s.g.at(q.end[0], q.end[1], r.n)}
	default:
		// From the rim's outer edge, which stands square on the ground, onto the skin's own surface.
		fade := 1 - geom.Smoothstep(0, 10, d)
		x, y = x+fade*r.n*up.X, y+fade*r.n*up.Y
		edge := base.Mad(r.n, up)
		base, up = s.g.point(x, y, r.n), s.g.normal(x, y, r.n, 0.15)
		base.Z += (edge.Z - base.Z) * (1 - geom.Smoothstep(0.3, 6, d))
		v = base.Mad(f.out, up)
	}
	h := s.head(v)
	relief := s.relief(q, h, d, r.edge, inland)
	if s.left {
		up.X = -up.X
	}
	if !last {
		h = h.Mad(relief, up)
	} else {
		h.Z += relief
	}
	return h, s.paint(q, h, d, r.edge, f, relief)
}

// beneath returns a point of the lid's back, clinging to the globe: at share 0 next to the rim, at 1 at its deepest, so far
// round the globe that what closes the skin's back passes the globe by.
func (s *socket) beneath(q *station, share float64) geom.Vec {
	x, y := q.ray(innerRound)
	v := s.g.point(x, y, 0).Mad(s.p.Gap, q.up)
	r := v.Len()
	u := v.Mul(1 / r)
	// Along the lid, and about the corners, where that fans out, away from the middle of the globe's front.
	along := q.away.Mad(-q.away.Dot(u), u).Unit()
	front := geom.Vec{X: u.X, Y: u.Y}
	front = front.Mad(-front.Dot(u), u).Unit()
	along = geom.Lerp(along, front, geom.Smoothstep(0.25, 0.4, math.Abs(q.t-0.5))).Unit()
	const low = 0.55 // z of the deepest direction
	deep := tuck
	if a := math.Hypot(u.Z, along.Z); u.Z > low {
		deep = max(deep, r*(math.Acos(low/a)+math.Atan2(along.Z, u.Z)))
	}
	deep *= share
	sin, cos := math.Sincos(deep / r)
	u = u.Mul(cos).Mad(sin, along)
	g := s.g.globe.at(u) + s.p.Gap + 0.7*geom.Smoothstep(0, tuck, deep) // looser where nobody sees it
	return u.Mul(max(g, r+(g-r)*geom.Smoothstep(0, 3.5, deep)))
}

// fold is what the lids' large folds do to a place on the skin.
type fold struct {
	out    float64 // away from the ground, mm
	over   float64 // toward the opening
	groove float64 // 0 to 1: how deep in a crease it lies
}

func bell(x float64) float64 { return math.Exp(-x * x) }

// folds returns the crease of the upper lid with the fold above it, and the soft bags of the lower one.
func (s *socket) folds(q *station, d float64) (f fold) {
	p := s.p
	if p.Crease > 0 {
		// The crease runs from above the inner corner to beyond the outer one, closer to the rim at its ends.
		at := p.Crease * (0.62 + 0.38*math.Sin(math.Pi*min(1, 0.1+0.85*(1-q.t))))
		w := q.upper * geom.Smoothstep(0.97, 0.62, q.t) * geom.Smoothstep(-0.02, 0.12, q.t)
		u := d - at
		f.groove = w * bell(u/0.42) * min(1, p.Fold)
		f.out -= 0.45 * w * p.Fold * bell(u/0.38)
		f.out += w * p.Fold * geom.Smoothstep(-0.1, 2.2, u) * (1 - geom.Smoothstep(2, 19, u))
		f.over = w * p.Fold * 0.8 * geom.Smoothstep(0, 0.9, u) * (1 - geom.Smoothstep(1.2, 5, u))
	}
	// Lower lid: a faint crease, a soft roll beneath the rim, and the groove from the inner corner.
	low := (1 - q.upper) * geom.Smoothstep(0.02, 0.25, q.t) * geom.Smoothstep(1, 0.8, q.t)
	k := 0.3 + p.Age
	f.out += low * k * (0.22*bell((d-2.2)/1.3) - 0.14*bell((d-4.6)/0.8) + 0.3*bell((d-7.5)/2.6))
	f.groove += 0.35 * low * k * bell((d-4.6)/0.7)
	f.out -= (1 - q.upper) * k * 0.6 * bell((d-13)/3.2) * geom.Smoothstep(0.35, 0.8, q.t)
	return f
}

// relief returns the height of pores and fine lines at a place in the head, mm.
func (s *socket) relief(q *station, h geom.Vec, d, edge, inland float64) float64 {
	fine := s.p.Age*0.8 + 0.35
	amp := geom.Smoothstep(0.2, 2.5, d)
	if edge < 2 {
		amp = 0
	}
	sd := s.p.Seed
	// Lines along the rim, and rays from the outer corner.
	lines := noise.Space(sd+11, q.arc*0.16, d*1.25+0.5*noise.Space(sd+12, q.arc*0.3, d*0.3, 0), 3*q.upper)
	lines = -math.Pow(max(0, lines), 1.5)
	corner := geom.Smoothstep(0.3, -0.05, q.t) * geom.Smoothstep(2, 6, d) * (1 - geom.Smoothstep(12, 24, d))
	rays := -math.Max(0, noise.Space(sd+13, q.arc*1.1, d*0.07, 7))
	// A net of pores and little plates.
	net := noise.Space(sd+14, h.X*1.1, h.Y*1.3, h.Z*1.1) + 0.7*noise.Space(sd+15, h.X*2.3, h.Y*2.5, h.Z*2.3)
	slow := noise.Space(sd+16, h.X*0.24, h.Y*0.24, h.Z*0.24)
	return amp*fine*(0.2*inland*lines*(1-geom.Smoothstep(9, 16, d))+0.14*inland*corner*rays+0.05*net+0.05*slow) +
		0.012*noise.Space(sd+17, h.X*2.1, h.Y*2.1, h.Z*2.1)*(1-amp)
}

var (
	mucosa = colour.RGB{0.52, 0.20, 0.175}
	wetRim = colour.RGB{0.58, 0.32, 0.275}
)

// paint returns the skin's colour at a place.
func (s *socket) paint(q *station, h geom.Vec, d, edge float64, f fold, relief float64) colour.RGB {
	p := s.p
	sd := s.p.Seed
	c := p.Colour
	tint := func(r, g, b, w float64) {
		w = max(0, min(1, w))
		c = c.Mul(colour.RGB{1 + w*(r-1), 1 + w*(g-1), 1 + w*(b-1)})
	}
	slow := noise.Octaves(sd+21, h.X*0.09, h.Y*0.09, h.Z*0.09, 3)
	blood := noise.Octaves(sd+22, h.X*0.35, h.Y*0.35, h.Z*0.35, 3)
	c = c.Scale(1 + 0.08*slow)
	c = c.Mul(colour.RGB{1 + 0.04*blood, 1 - 0.07*blood, 1 - 0.06*blood})
	near := 1 - geom.Smoothstep(6, 18, d)
	tint(0.93, 0.83, 0.80, q.upper*near)                                                   // thin skin of the upper lid
	tint(0.90, 0.83, 0.88, (1-q.upper)*near*geom.Smoothstep(1, 4, d))                      // shadowed skin of the lower one
	tint(1.02, 0.80, 0.76, 0.6*geom.Smoothstep(0.72, 1, q.t)*(1-geom.Smoothstep(1, 9, d))) // inner corner
	tint(1, 0.88, 0.86, geom.Smoothstep(0.15, 0, q.t)*(1-geom.Smoothstep(1, 7, d)))
	tint(0.80, 0.70, 0.68, 0.8*f.groove)
	if spot := noise.Space(sd+23, h.X*0.8, h.Y*0.8, h.Z*0.8); spot > 0.45 {
		tint(0.82, 0.74, 0.68, (spot-0.45)*2.2)
	}
	tint(0.86, 0.78, 0.76, max(0, -relief*11)) // the floor of lines and pores
	c = c.Scale(1 + 0.045*noise.Space(sd+25, h.X*2.2, h.Y*2.4, h.Z*2.2))
	switch {
	case edge == 2:
		redder := math.Exp(-d / 1.5)
		tint(1.0, 0.80, 0.76, 0.75*redder)
		tint(0.82, 0.76, 0.74, 0.5*q.upper*bell((d-0.9)/0.7)) // roots of the lashes
	default:
		rim := colour.Lerp(c, wetRim, 0.72)
		c = colour.Lerp(mucosa, rim, geom.Smoothstep(0, 0.45, edge))
		c = colour.Lerp(c, p.Colour.Mul(colour.RGB{1, 0.82, 0.78}), 0.8*geom.Smoothstep(0.72, 1, edge))
		c = c.Scale(1 + 0.05*noise.Space(sd+24, h.X*1.7, h.Y*1.7, h.Z*1.7))
	}
	for k := range c {
		c[k] = max(0.01, min(c[k], 0.95))
	}
	return c
}

// picture stacks the colours of sockets, one above the other; all are as wide.
func picture(pix []float32, w int) *texture.Image { return texture.NewImage(w, len(pix)/(3*w), 3, pix) }
