package seat

import (
	"errors"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
	"catchlight/scene/parallel"
)

// Globe is an eye in its socket.
type Globe struct {
	Centre geom.Vec   // that it turns about
	Radius float64    // of its white
	Ahead  geom.Vec   // unit: straight out of the face
	Nose   geom.Vec   // unit: toward the nose, level
	Shell  *mesh.Mesh // the outer shell as modelled
}

// Options are how finely it is looked at.
type Options struct {
	Most    float64 // degrees of gaze to either side, up and down
	Steps   int     // gazes from the middle to Most
	Cell    float64 // degrees between the directions that are looked along
	Workers int
}

// Defaults are those of a report.
func Defaults() Options { return Options{Most: 30, Steps: 2, Cell: 1} }

// Worst is the worst of one kind.
type Worst struct {
	MM     float64    // 0: none
	At     geom.Vec   // place on the lid
	Clock  float64    // hours on a clock about the middle of the eye, as seen from before the face; 12 is up
	Beyond float64    // mm beyond the rim, along the globe; 0 is at the rim
	Gaze   [2]float64 // azimuth toward the person's left, elevation up
}

// Fit is how the globe sits with one place of it.
type Fit struct {
	Gap, Clip, Rub Worst
	Mean           float64 // mean gap about the rim, looking as modelled
}

// Report is what was measured.
type Report struct {
	Rest      Fit      // looking as modelled
	Turns     Fit      // over all gazes
	Move      geom.Vec // of the globe, that seats it best as modelled; zero where none is worth it
	Moved     Fit      // over all gazes after it
	MovedRest Fit      // looking as modelled after it
	Open      float64  // share of directions before the eye through which it is seen: 0 where the lids are closed
	Map       Map      // looking as modelled
	Worst     Map      // the worst of all gazes
}

// Map is the distance from globe to lid by direction, straight ahead in its middle, equally many degrees a cell all round.
type Map struct {
	N    int       // cells along a side
	Cell float64   // degrees
	MM   []float64 // rows from the top, the person's right first: above 0 a gap, below 0 the globe's way into or out of the lid; NaN: no lid
	Out  []bool    // the globe stands out of the lid
}

// The bounds of what is looked at: own choice.
const (
	reach     = 80.0 // degrees from straight ahead
	thick     = 6.0  // mm between the faces of a lid
	mostFaces = 16
	far       = 4.0  // radii of the globe within which a surface is lid or face
	near1     = 1.5  // radii within which it can touch the globe
	band      = 12.0 // degrees beyond the rim that count as beside it
	corner    = 35.0 // degrees of clock about the nose where lids leave the globe for the inner corner
	snug      = 0.05 // mm: the gap that seats best, as of a tear film
	furthest  = 4.0  // mm that a move may have
)

// look is a direction and what is met along it.
type look struct {
	x, y  int
	d     geom.Vec
	theta float64 // degrees from straight ahead
	clock float64 // radians, counter-clockwise from +X as seen from before the face
	in    float64 // distance to the inner face; 0: nothing is met
	out   float64
	rim   float64 // degrees beyond the rim of the opening; -1: far from it
}

// Measure looks at a globe among lids; lids are all surfaces about it, in the same frame.
func Measure(lids *near.Tree, g Globe, o Options) (*Report, error) {
	if !(g.Radius > 0) || g.Shell == nil || len(g.Shell.Tri) == 0 {
		return nil, errors.New("no globe to seat")
	}
	s, err := newSocket(lids, g, o)
	if err != nil {
		return nil, err
	}
	r := &Report{Open: s.open}
	gazes := o.gazes()
	r.Rest = s.fit(geom.Vec{}, gazes[:1])
	r.Turns = s.fit(geom.Vec{}, gazes)
	r.Map, r.Worst = s.chart(gazes[:1]), s.chart(gazes)
	// Seated by how it looks as modelled: at a side gaze the cornea presses lids away that stand still in a file.
	r.Move = s.best(gazes[:1])
	r.MovedRest = s.fit(r.Move, gazes[:1])
	if bad(&r.MovedRest) > bad(&r.Rest)-worthMoving {
		r.Move, r.MovedRest, r.Moved = geom.Vec{}, r.Rest, r.Turns
		return r, nil
	}
	r.Moved = s.fit(r.Move, gazes)
	return r, nil
}

// worthMoving is how much less bad a move must make it, mm: own choice.
const worthMoving = 0.1

// bad is what a move is to lessen: what is seen of a clip counts four times a gap.
func bad(f *Fit) float64 { return 4*f.Clip.MM + f.Gap.MM + f.Rub.MM }

// gazes lists azimuth and elevation, straight ahead first.
func (o *Options) gazes() [][2]float64 {
	out := [][2]float64{{}}
	for i := -o.Steps; i <= o.Steps; i++ {
		for j := -o.Steps; j <= o.Steps; j++ {
			if i != 0 || j != 0 {
				k := o.Most / float64(o.Steps)
				out = append(out, [2]float64{float64(i) * k, float64(j) * k})
			}
		}
	}
	return out
}

// socket is a globe and what is met about it.
type socket struct {
	g     Globe
	o     Options
	n     int
	up    geom.Vec
	looks []look // of those along which something is met
	open  float64
	far   *profile
}

func newSocket(lids *near.Tree, g Globe, o Options) (*socket, error) {
	s := &socket{g: g, o: o, n: 2*int(reach/o.Cell) + 1}
	x := g.Nose.Mad(-g.Nose.Dot(g.Ahead), g.Ahead).Unit()
	s.g.Nose = x
	if s.up = g.Ahead.Cross(x); s.up.Y < 0 {
		s.up = s.up.Neg()
	}
	var err error
	if s.far, err = newProfile(g, o.Workers); err != nil {
		return nil, err
	}
	all := make([]look, s.n*s.n)
	half := s.n / 2
	left := s.up.Cross(g.Ahead) // the person's left, +X of the head
	parallel.Each(s.n, o.Workers, func(y int) {
		for i := range s.n {
			l := &all[y*s.n+i]
			l.x, l.y, l.rim = i, y, -1
			a, b := float64(i-half)*o.Cell, float64(half-y)*o.Cell
			l.theta, l.clock = math.Hypot(a, b), math.Atan2(b, a)
			if l.theta > reach {
				continue
			}
			sin, cos := math.Sincos(geom.Radians(l.theta))
			l.d = g.Ahead.Mul(cos)
			if l.theta > 0 {
				l.d = l.d.Mad(sin*a/l.theta, left).Mad(sin*b/l.theta, s.up)
			}
			h, ok := lids.Ray(g.Centre, l.d, 0.3*g.Radius, far*g.Radius, -1)
			if !ok {
				continue
			}
			l.in, l.out = h.T, h.T
			for range mostFaces { // the last face close behind: a lid may be folded
				k, ok := lids.Ray(g.Centre, l.d, l.out+1e-6*g.Radius, h.T+thick, h.Tri)
				if !ok {
					break
				}
				l.out = k.T
			}
		}
	})
	s.opening(all)
	for _, l := range all {
		if l.in > 0 {
			s.looks = append(s.looks, l)
		}
	}
	if len(s.looks) == 0 {
		return nil, errors.New("nothing lies about the globe")
	}
	return s, nil
}

// opening finds the opening between the lids - the largest part of directions along which nothing is met - and how far all others
// lie from its rim.
func (s *socket) opening(all []look) {
	n := s.n
	of := make([]int, len(all))
	best, most := 0, 0
	for start := range all {
		if of[start] != 0 || all[start].in > 0 || all[start].theta > 60 {
			continue
		}
		id, size := start+1, 0
		todo := []int{start}
		of[start] = id
		for len(todo) > 0 {
			i := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			size++
			for _, k := range [4]int{i - 1, i + 1, i - n, i + n} {
				if k >= 0 && k < len(all) && of[k] == 0 && all[k].in == 0 && all[k].theta <= reach && (all[k].y == all[i].y || all[k].x == all[i].x) {
					of[k] = id
					todo = append(todo, k)
				}
			}
		}
		if size > most {
			best, most = id, size
		}
	}
	inside, seen := 0, 0
	var rim []int
	for i := range all {
		if all[i].theta <= 45 {
			inside++
			if best != 0 && of[i] == best {
				seen++
			}
		}
		if best == 0 || of[i] != best {
			continue
		}
		for _, k := range [4]int{i - 1, i + 1, i - n, i + n} {
			if k >= 0 && k < len(all) && all[k].in > 0 {
				rim = append(rim, k)
			}
		}
	}
	s.open = float64(seen) / float64(max(1, inside))
	// How far from the rim, by the nearest cell of it.
	w := int(band / s.o.Cell)
	for _, k := range rim {
		for y := -w; y <= w; y++ {
			for x := -w; x <= w; x++ {
				i := k + y*n + x
				if all[k].x+x < 0 || all[k].x+x >= n || i < 0 || i >= len(all) || all[i].in == 0 {
					continue
				}
				if d := math.Hypot(float64(x), float64(y)) * s.o.Cell; d <= band && (all[i].rim < 0 || d < all[i].rim) {
					all[i].rim = d
				}
			}
		}
	}
}
