package lids

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// fold is what the lids' large folds do to a place on the skin.
type fold struct {
	out    float64 // away from the ground, mm
	over   float64 // toward the opening, mm
	groove float64 // 0 to 1: how deep in a crease it lies
}

func bell(x float64) float64 { return math.Exp(-x * x) }

// satellite is a fine crease beside the main one: a piece of a line that rises or falls across it.
type satellite struct {
	upper    float64 // 1 upper lid, 0 lower
	from, to float64 // of the share across the opening, 0 at the outer corner
	at       float64 // distance in its middle from the main crease, or on the lower lid from the front lip, mm
	rise     float64 // mm over the whole opening
	bow      float64 // mm
	depth    float64 // mm
	width    float64 // mm
}

// satellites draws the fine creases: two to five above, as many below, 0.05 to 0.15 mm deep, 0.8 to 2 mm apart, crossing the main
// one at 5 to 20 degrees. Common practice, no published source.
func (s *socket) satellites() []satellite {
	r := rand.New(rand.NewPCG(s.seed, 0xc3ea5e))
	u := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	var out []satellite
	for _, upper := range []float64{1, 0} {
		n := 2 + int(3*s.p.Age+0.5)
		at := -1.6
		if upper == 0 {
			at = 1.2
		}
		for range n {
			at += u(0.8, 2)
			if upper == 1 && math.Abs(at) < 0.6 {
				at = 1.1
			}
			mid, long := u(0.25, 0.75), u(0.12, 0.38)
			out = append(out, satellite{upper: upper, from: mid - long, to: mid + long, at: at, rise: math.Copysign(u(2, 6), r.Float64()-0.5), bow: u(-1, 1),
				depth: u(0.05, 0.15) * (0.4 + 0.9*s.p.Age), width: u(0.12, 0.22)})
		}
	}
	return out
}

// creaseAt returns how far from the front lip the upper lid's crease lies over the share t of the opening, mm: nearer at both
// ends, and farther when the lid has come down, for the skin unrolls from beneath the fold.
func (s *socket) creaseAt(t float64) float64 {
	k := s.p.Crease * (0.62 + 0.38*math.Sin(math.Pi*min(1, 0.1+0.85*(1-t))))
	return k + max(-0.5*k, 0.8*s.o.drop*(1-(2*t-1)*(2*t-1)))
}

// folds returns the crease of the upper lid with the fold that hangs over it, the fine creases beside, and the soft roll of
// the lower one, about a point of the skin's ground.
func (s *socket) folds(v *place, at geom.Vec) (f fold) {
	p, e := s.p, v.e
	if e > 32 {
		return
	}
	// Toward the nose the level sets of both lids meet, and neighbouring places come from far apart: nothing that goes by these.
	inside := geom.Smoothstep(0.9, 0.62, at.X/s.g.tip.X)
	shut := geom.Smoothstep(0.5, 5, s.o.drop)
	if p.Crease > 0 && v.upper > 0 {
		at := s.creaseAt(v.t) + 0.15*noise.Line(s.seed+18, v.arc*0.3)
		w := inside * v.upper * geom.Smoothstep(0.97, 0.66, v.t) * geom.Smoothstep(0.02, 0.36, v.t)
		u := e - at
		w *= 1 - 0.65*shut - 0.4*geom.Smoothstep(-1, -5, s.o.drop)
		w *= 1 + 0.25*noise.Line(s.seed+19, v.arc*0.45) // no two places of it are as deep
		over := 0.7 * p.Fold * w * (1 - shut)           // it unfolds as the lid comes down
		f.groove = w * bell(u/0.45) * min(1, p.Fold)
		f.over = over * geom.Smoothstep(0, max(0.5*over+0.1, 2.5*p.Detail), u) * (1 - geom.Smoothstep(1.6, 7.5, u))
		f.out = w * p.Fold * (geom.Smoothstep(-0.1, 1.3, u)*(1-geom.Smoothstep(2, 20, u)) - 0.26*(1-shut)*bell((u+0.05)/0.5))
	}
	// Lower lid: a soft roll beneath the margin and a faint crease under it.
	low := inside * (1 - v.upper) * geom.Smoothstep(0.02, 0.25, v.t) * geom.Smoothstep(1, 0.8, v.t)
	k := 0.3 + p.Age
	f.out += low * k * (0.22*bell((e-2.2)/1.3) - 0.14*bell((e-4.6)/0.8))
	f.groove += 0.25 * low * k * bell((e-4.6)/0.7)
	for i := range s.fine {
		q := &s.fine[i]
		w := inside * (q.upper*v.upper + (1-q.upper)*(1-v.upper))
		if w == 0 || v.t < q.from || v.t > q.to || v.part == outland { // there rows stand too far apart
			continue
		}
		x := (v.t - q.from) / (q.to - q.from)
		at := q.at + (x-0.5)*q.rise*(q.to-q.from) + q.bow*(x-0.5)*(x-0.5)
		if q.upper == 1 {
			at += s.creaseAt(v.t)
		}
		if u := (e - at) / q.width; math.Abs(u) < 3 {
			w *= bell(u) * geom.Smoothstep(0, 0.25, x) * geom.Smoothstep(1, 0.7, x) * geom.Smoothstep(0.3, 1.2, e)
			f.out -= q.depth * w
			f.groove += 0.5 * w * q.depth / 0.15
		}
	}
	f.groove = min(1, f.groove)
	return f
}
