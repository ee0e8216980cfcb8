package spread

import (
	"math"

	"catchlight/render/pathtrace"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Edge is what the border between light and shadow does at one place of the white, by channel. Both come from the same walks:
// a shadow with a sharp edge is cast along the normal of the globe, and light comes from the side.
type Edge struct {
	// Width is the distance over the surface between where the light that comes back out is 10 % and 90 % of what it is
	// without the shadow.
	Width [3]Value `json:"width_10_90_mm"`
	// Past is how far beyond the terminator, over the surface, light from the side still brings Level of what a surface that
	// faces it gives back; below 0 it ends before the terminator.
	Past [3]Value `json:"past_terminator_mm"`
	// RedPastBlue is how much further that is in red than in blue.
	RedPastBlue Value `json:"red_past_blue_mm"`
	Whole       bool  `json:"wider_than_globe"` // some edge does not come to an end on this globe: what is said of it is a bound
	Walks       int   `json:"walks"`
}

// Level is the share of full light at which the terminator's place is told: what is left there is 1 % of what a surface that
// faces the light gives back, about where a picture that shows the lit side at 60 % of full signal goes to black. Own choice.
const Level = 0.01

// places is how many places across an edge are looked at.
const places = 61

// profile is what came back out at each place across the edge, by channel.
type profile struct {
	lit, all, side, out [places][3]float64
}

func (p *profile) add(q *profile) {
	for i := range p.lit {
		for c := range 3 {
			p.lit[i][c] += q.lit[i][c]
			p.all[i][c] += q.all[i][c]
			p.side[i][c] += q.side[i][c]
			p.out[i][c] += q.out[i][c]
		}
	}
}

// Edge measures the edge about a direction from the globe's centre. across is the direction that it is crossed in, at right
// angles to dir; both are unit vectors of the eye's frame. reach is the radius of the globe, mm of the world, and spread a
// radius that holds most of what comes back out in each channel, to know where to look.
//
// By reciprocity walks that go in by the cosine law where one looks, and leave where light falls, carry what light does that
// takes the way back: tissue takes in and gives out light by the same law.
func (s *Seen) Edge(dir, across geom.Vec, reach, spread float64, walks int) (Edge, bool) {
	x := s.across(reach, spread)
	dirs := make([]geom.Vec, places)
	for i := range x {
		sin, cos := math.Sincos(x[i] / reach)
		dirs[i] = dir.Mul(cos).Mad(sin, across)
	}
	per := max(1, walks/groups/places)
	parts := make([]profile, groups)
	found := make([]bool, groups)
	parallel.With(groups, s.Workers, s.tracers, func(t *pathtrace.Tracer, g int) {
		found[g] = s.cross(t, dirs, dir, across, per, g, &parts[g])
	})
	e := Edge{Walks: per * groups * places}
	for _, ok := range found {
		if !ok {
			return e, false
		}
	}
	list := make([][]*profile, groups)
	for g := range parts {
		list[g] = []*profile{&parts[g]}
	}
	sum := func(p []*profile) (all profile) {
		for _, q := range p {
			all.add(q)
		}
		return all
	}
	for c := range 3 {
		whole := func(v Value, ok bool) Value {
			e.Whole = e.Whole || !ok
			return v
		}
		_, ok := width(x, ptr(sum(flat(list))), c)
		e.Width[c] = whole(pooled(list, func(p []*profile) float64 { v, _ := width(x, ptr(sum(p)), c); return v }), ok)
		_, ok = past(x, ptr(sum(flat(list))), c)
		e.Past[c] = whole(pooled(list, func(p []*profile) float64 { v, _ := past(x, ptr(sum(p)), c); return v }), ok)
	}
	e.RedPastBlue = pooled(list, func(p []*profile) float64 {
		q := sum(p)
		r, _ := past(x, &q, 0)
		b, _ := past(x, &q, 2)
		return r - b
	})
	return e, true
}

func ptr(p profile) *profile { return &p }

func flat(list [][]*profile) (out []*profile) {
	for _, l := range list {
		out = append(out, l...)
	}
	return out
}

// across lists places across an edge, mm over the surface from the shadow's side, close together at the edge itself.
func (s *Seen) across(reach, spread float64) (x [places]float64) {
	far := min(max(2.5*spread, 0.04*reach), 1.45*reach)
	for i := range x {
		u := 2*float64(i)/(places-1) - 1
		x[i] = far * u * (0.15 + 0.85*u*u)
	}
	return x
}

// cross follows one group of walks. They go in all over the edge's reach, and each is counted at every place across the edge,
// turned there about the globe's centre: over that reach the white is taken as alike, and as round as it is about its centre.
func (s *Seen) cross(t *pathtrace.Tracer, dirs []geom.Vec, dir, across geom.Vec, per, g int, p *profile) bool {
	b := &s.Scene.Objects[s.Scene.Eyes[s.Eye].Inner]
	for i, d := range dirs {
		sf, ok := t.Site(s.Eye, d)
		if !ok {
			return false
		}
		for k := range per {
			exit, w, ok := t.Spread(&sf, uint64(g*places+i)+1<<20, uint32(k))
			if !ok {
				continue
			}
			q, n := b.ToLocal.Point(exit.P), b.ToLocal.Vector(exit.Ns).Unit()
			qa, qb, na, nb := q.Dot(dir), q.Dot(across), n.Dot(dir), n.Dot(across)
			ci, si := d.Dot(dir), d.Dot(across)
			for j := range dirs {
				// By the angle from place i to place j.
				cj, sj := dirs[j].Dot(dir), dirs[j].Dot(across)
				cos, sin := ci*cj+si*sj, ci*sj-si*cj
				p.count(j, w, max(0, na*cos-nb*sin), max(0, nb*cos+na*sin), qb*cos+qa*sin > 0)
			}
		}
	}
	return true
}

// count adds a walk at place i that comes out where a light in front and one from the side fall at these cosines.
func (p *profile) count(i int, w colour.RGB, front, side float64, lit bool) {
	for c := range 3 {
		p.out[i][c] += w[c]
		p.all[i][c] += w[c] * front
		p.side[i][c] += w[c] * side
		if lit {
			p.lit[i][c] += w[c] * front
		}
	}
}

// width returns the distance between 10 % and 90 % of the light without the shadow. ok is false where these are not both within
// reach; then it is how far one looked.
func width(x [places]float64, p *profile, c int) (v float64, ok bool) {
	lo, okLo := rise(x, &p.lit, &p.all, c, 0.1)
	hi, okHi := rise(x, &p.lit, &p.all, c, 0.9)
	return hi - lo, okLo && okHi
}

// past returns how far into the dark light from the side brings Level.
func past(x [places]float64, p *profile, c int) (v float64, ok bool) {
	at, ok := rise(x, &p.side, &p.out, c, Level)
	return -at, ok
}

// rise returns where the share of one sum in another comes to a level: of the rising curve nearest to the shares (pool adjacent
// violators; Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order Restrictions, 1972), by straight lines.
func rise(x [places]float64, part, whole *[places][3]float64, c int, level float64) (at float64, ok bool) {
	type block struct{ sum, all, x float64 }
	var blocks []block
	for i := range x {
		a := whole[i][c]
		if !(a > 0) {
			continue
		}
		blocks = append(blocks, block{part[i][c], a, a * x[i]})
		for n := len(blocks); n > 1 && blocks[n-2].sum*blocks[n-1].all > blocks[n-1].sum*blocks[n-2].all; n-- {
			b := &blocks[n-2]
			b.sum, b.all, b.x = b.sum+blocks[n-1].sum, b.all+blocks[n-1].all, b.x+blocks[n-1].x
			blocks = blocks[:n-1]
		}
	}
	for i, b := range blocks {
		y := b.sum / b.all
		if y < level {
			continue
		}
		if i == 0 {
			return x[0], false
		}
		a := blocks[i-1]
		y0, x0, x1 := a.sum/a.all, a.x/a.all, b.x/b.all
		return x0 + (x1-x0)*(level-y0)/(y-y0), true
	}
	return x[places-1], false
}
