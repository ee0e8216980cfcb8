package base

import (
	"fmt"
	"math"

	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/layout"
	"catchlight/scene/parallel"
)

// Levels are how many there are. The first is finer than the base itself, which is level 1.
const (
	Levels = 4
	Base   = 1
	sides  = 128 // of the rings of level 0
)

// Collar is rho of the loop that stands for the collarette: the mean of that of the built irises, which winds about it.
const Collar = 0.28

// Set is what Make returns.
type Set struct {
	Level          int
	Outer          *Mesh
	Inner          *Mesh
	Tear           *Mesh // the meniscus along both lids
	Shade          *Mesh // the strip that darkens the eye along both lids: v runs from under the lid, 0, out onto the eye, 1
	Narrow         []geom.Vec
	Wide           []geom.Vec // places of the inner shell, and its normals, at the least and the largest pupil
	NarrowN, WideN []geom.Vec
	Pupils         [3]float64 // mm across: as modelled, least, largest
}

// Meshes lists them.
func (s *Set) Meshes() []*Mesh { return []*Mesh{s.Outer, s.Inner, s.Tear, s.Shade} }

// maker holds the eye that is made and that of the defaults, which texture coordinates are of.
type maker struct {
	s, usual *eye.Smooth
	disc     *layout.Disc
	level    int
}

// Make makes a level, 0 to Levels-1, of the eye of p. The coordinates do not depend on p.
func Make(p eye.Params, level int) (*Set, error) {
	if level < 0 || level >= Levels {
		return nil, fmt.Errorf("level %d: there are 0 to %d", level, Levels-1)
	}
	if p.PupilClosed {
		return nil, fmt.Errorf("pupil_closed: the base has a loop at the pupil")
	}
	left := p.Left
	if left {
		p.Left, p.PupilOffset[0] = false, -p.PupilOffset[0]
	}
	s, err := eye.SmoothOf(p)
	if err != nil {
		return nil, err
	}
	usual, err := eye.SmoothOf(eye.Defaults())
	if err != nil {
		return nil, err
	}
	globe, limbus, _, _, _, _, _, _ := usual.Lengths()
	disc, err := layout.NewDisc(globe, limbus, layout.UsualShare, layout.UsualCover)
	if err != nil {
		return nil, err
	}
	k := &maker{s: s, usual: usual, disc: disc, level: level}
	out := &Set{Level: level, Outer: k.outer(), Inner: k.inner()}
	out.Pupils[0] = p.PupilDiameter
	if out.Narrow, out.NarrowN, out.Pupils[1], err = k.moved(p, LeastPupil, -1); err != nil {
		return nil, err
	}
	if out.Wide, out.WideN, out.Pupils[2], err = k.moved(p, MostPupil, 1); err != nil {
		return nil, err
	}
	if out.Tear, out.Shade, err = k.strips(); err != nil {
		return nil, err
	}
	if left {
		for _, m := range out.Meshes() {
			m.Mirror()
		}
		for _, list := range [][]geom.Vec{out.Narrow, out.NarrowN, out.Wide, out.WideN} {
			for i := range list {
				list[i].X = -list[i].X
			}
		}
	}
	return out, nil
}

// The range that a pupil moves over, mm across. Source: 2 to 8 mm, Watson and Yellott, J. Vision 12(10):12 (2012).
const LeastPupil, MostPupil = 2.0, 8.0

// moved is the inner shell's places with the pupil that wide, or as near to it as the eye allows, with its normals.
func (k *maker) moved(p eye.Params, diameter, sign float64) (at, normals []geom.Vec, got float64, err error) {
	s, err := k.s.Wider(diameter)
	for err != nil && sign*(diameter-p.PupilDiameter) > 0.05 {
		diameter -= sign * 0.05
		s, err = k.s.Wider(diameter)
	}
	if err != nil {
		return nil, nil, 0, err
	}
	other := *k
	other.s = s
	m := other.inner()
	return m.P, m.N, diameter, nil
}

// intervals is how many steps of the base's n a level takes.
func (k *maker) intervals(n int) int { return max(1, 2*n>>k.level) }

// The grids: half chord of the cornea's over the limbus' radius, and the angle of the back's.
const (
	capShare = 0.52
	backCap  = 30 // degrees
)

// both evaluates f for the eye and for that of the defaults, whose coordinates count.
func (k *maker) both(f func(s *eye.Smooth) (geom.Vec, geom.UV)) spot {
	p, _ := f(k.s)
	_, uv := f(k.usual)
	return spot{p, uv}
}

// flat is the place in the disc of a point r mm from the axis on the front.
func (k *maker) flat(r, globe, theta float64) geom.UV {
	sin, cos := math.Sincos(theta)
	return k.disc.UV(math.Asin(min(1, r/globe)), cos, sin)
}

// outer makes the outer shell.
func (k *maker) outer() *Mesh {
	b := &builder{n: sides >> k.level}
	front := func(s *eye.Smooth, r, theta float64) (geom.Vec, geom.UV) {
		globe, _, _, _, _, _, _, _ := s.Lengths()
		p, _ := s.Front(r, theta, 0)
		return p, k.flat(r, globe, theta)
	}
	last := b.grid(0.5, false, func(x, y float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
			_, limbus, _, _, _, _, _, _ := s.Lengths()
			return front(s, capShare*limbus*math.Hypot(x, y), math.Atan2(y, x))
		})
	})
	last = b.rows(last, k.intervals(8), func(share float64, j int, theta float64) spot {
		x, y := rim(j, b.n, 0.5)
		sin, cos := math.Sincos(theta)
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
			_, limbus, begin, _, _, _, _, _ := s.Lengths()
			px, py := (1-share)*capShare*limbus*x+share*begin*cos, (1-share)*capShare*limbus*y+share*begin*sin
			return front(s, math.Hypot(px, py), math.Atan2(py, px))
		})
	})
	last = b.rows(last, k.intervals(2), func(share float64, _ int, theta float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
			_, limbus, begin, _, _, _, _, _ := s.Lengths()
			return front(s, begin+share*(limbus-begin), theta)
		})
	})
	b.loop("limbus", last)
	last = b.rows(last, k.intervals(2), func(share float64, _ int, theta float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
			_, limbus, _, end, _, _, _, _ := s.Lengths()
			return front(s, limbus+share*(end-limbus), theta)
		})
	})
	k.white(b, last, false)
	k.chart(&b.m)
	b.m.Name = "outer"
	b.m.normals()
	return &b.m
}

// white goes on from the end of the limbus over the equator and the seam to the back pole.
func (k *maker) white(b *builder, last ring, inner bool) {
	ball := func(s *eye.Smooth, phi, theta float64) (geom.Vec, geom.UV) {
		in := 0.0
		if _, _, _, _, _, _, _, gap := s.Lengths(); inner {
			in = gap
		}
		p, _ := s.Ball(phi, theta, in)
		sin, cos := math.Sincos(theta)
		return p, k.disc.UV(phi, cos, sin)
	}
	last = b.rows(last, k.intervals(12), func(share float64, _ int, theta float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
			globe, _, _, end, _, _, _, _ := s.Lengths()
			from := math.Asin(end / globe)
			return ball(s, from+share*(math.Pi/2-from), theta)
		})
	})
	b.loop("equator", last)
	seam := geom.Radians(layout.UsualCover)
	last = b.rows(last, 1, func(share float64, _ int, theta float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
			return ball(s, math.Pi/2+share*(seam-math.Pi/2), theta)
		})
	})
	b.loop("seam", last)
	// The back: its own isle, by the angle from the back pole, x turned over so that the picture is seen from behind.
	isle := func(phi, theta float64) geom.UV {
		sin, cos := math.Sincos(theta)
		return layout.Back.UV((math.Pi-phi)/(math.Pi-seam), -cos, sin)
	}
	last = b.reseam(last, func(_ int, theta float64) geom.UV { return isle(seam, theta) })
	behind := func(s *eye.Smooth, x, y float64) (geom.Vec, geom.UV) { // in degrees from the back pole
		phi, theta := math.Pi-geom.Radians(math.Hypot(x, y)), math.Atan2(y, x)
		p, _ := ball(s, phi, theta)
		return p, isle(phi, theta)
	}
	count := k.intervals(8)
	for i := 1; i < count; i++ {
		share := float64(i) / float64(count)
		last = b.row(last, func(j int, theta float64) spot {
			x, y := rim(j, b.n, 0.5)
			sin, cos := math.Sincos(theta)
			const wide = 180 - layout.UsualCover
			return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
				return behind(s, share*backCap*x+(1-share)*wide*cos, share*backCap*y+(1-share)*wide*sin)
			})
		})
	}
	b.join(last, b.grid(0.5, true, func(x, y float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) { return behind(s, backCap*x, backCap*y) })
	}))
}

// inner makes the inner shell, from the floor of the pit forward, over the margin and the iris, and back round the globe.
func (k *maker) inner() *Mesh {
	b := &builder{n: sides >> k.level}
	pit := func(s *eye.Smooth, share, theta float64) (geom.Vec, geom.UV) {
		sin, cos := math.Sincos(theta)
		return s.Pit(share, theta), layout.Well.UV(share, cos, sin)
	}
	const floor = 0.36 // of the grid
	last := b.grid(0.5, false, func(x, y float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) { return pit(s, floor*math.Hypot(x, y), math.Atan2(y, x)) })
	})
	last = b.rows(last, k.intervals(1), func(share float64, j int, theta float64) spot {
		x, y := rim(j, b.n, 0.5)
		sin, cos := math.Sincos(theta)
		x, y = (1-share)*floor*x+share*0.5*cos, (1-share)*floor*y+share*0.5*sin
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) { return pit(s, math.Hypot(x, y), math.Atan2(y, x)) })
	})
	last = b.rows(last, k.intervals(2), func(share float64, _ int, theta float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) { return pit(s, 0.5+0.5*share, theta) })
	})
	b.loop("pupil edge", last)
	// On the roll the texture goes on inward by its length, so that it is nowhere stretched.
	iris := func(s *eye.Smooth, p geom.Vec, inward, theta float64) (geom.Vec, geom.UV) {
		globe, _, _, _, _, _, _, _ := s.Lengths()
		return p, k.flat(math.Hypot(p.X, p.Y)-inward, globe, math.Atan2(p.Y, p.X))
	}
	roll := func(s *eye.Smooth, share, theta float64) (geom.Vec, geom.UV) {
		end := s.Roll(1, theta)
		_, uv := iris(s, end, rollLength*(1-share), theta)
		return s.Roll(share, theta), uv
	}
	last = b.reseam(last, func(_ int, theta float64) geom.UV {
		_, uv := roll(k.usual, 0, theta)
		return uv
	})
	last = b.rows(last, k.intervals(4), func(share float64, _ int, theta float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) { return roll(s, share, theta) })
	})
	b.loop("pupil", last)
	stretch := func(count int, rho func(s *eye.Smooth, share, theta float64) float64) {
		last = b.rows(last, k.intervals(count), func(share float64, _ int, theta float64) spot {
			return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) { return iris(s, s.Iris(rho(s, share, theta), theta), 0, theta) })
		})
	}
	stretch(4, func(s *eye.Smooth, share, theta float64) float64 {
		from := s.RollEnd(theta)
		return from + share*(Collar-from)
	})
	b.loop("collarette", last)
	// Where the shell begins to climb to the limbus places keep their distance from the axis, whatever the pupil.
	stretch(6, func(s *eye.Smooth, share, theta float64) float64 { return Collar + share*(s.Foot(0, theta)-Collar) })
	stretch(2, func(s *eye.Smooth, share, theta float64) float64 { return s.Foot(share, theta) })
	at := func(s *eye.Smooth) float64 {
		_, limbus, _, _, root, lip, _, _ := s.Lengths()
		return 1 + (limbus-root)/(lip-root)
	}
	stretch(2, func(s *eye.Smooth, share, _ float64) float64 { return 1 + share*(at(s)-1) })
	b.loop("limbus", last)
	stretch(1, func(s *eye.Smooth, share, _ float64) float64 { return at(s) + share*(2-at(s)) })
	last = b.rows(last, k.intervals(1), func(share float64, _ int, theta float64) spot {
		return k.both(func(s *eye.Smooth) (geom.Vec, geom.UV) {
			globe, _, _, end, _, lip, _, gap := s.Lengths()
			r := lip + share*(end-lip)
			p, _ := s.Front(r, theta, gap)
			return p, k.flat(r, globe, theta)
		})
	})
	k.white(b, last, true)
	k.chart(&b.m)
	b.m.Name = "inner"
	b.m.normals()
	return &b.m
}

// rollLength is the length of the pupil's roll, mm: a quarter circle of 0.12 and 0.08 behind it.
const rollLength = 0.08 + 0.12*math.Pi/2

// chart looks up where the built eye's own maps have each place.
func (k *maker) chart(m *Mesh) {
	m.Chart = make([]geom.UV, len(m.P))
	parallel.Runs(len(m.P), 512, func(a, b int) {
		for i := a; i < b; i++ {
			m.Chart[i] = k.s.UV(m.P[i])
		}
	})
}
