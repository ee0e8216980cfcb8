package lids

import (
	"math"

	"catchlight/scene/geom"
)

// The margin's profile from the globe outward: a rear lip that touches the globe, the margin's face, a front lip. Radii, mm.
const (
	rearRound  = 0.15
	frontRound = 0.4
	wetShare   = 0.22 // of the margin's width: the part next to the globe that tears keep wet
)

// rimWidth is the margin's width so far, along the rear lip, from the outer and from the inner corner: whole in the middle,
// 0.4 of it at the outer corner, where the front lips run together beyond the rear ones, and 0.3 nasal of the puncta, which lie
// 6 mm from the inner corner.
func rimWidth(p *Params, outer, inner float64) float64 {
	return p.Rim * (0.4 + 0.6*geom.Smoothstep(0, 5, outer)) * (0.3 + 0.7*geom.Smoothstep(3.5, 11, inner))
}

// lean is how far the margin's face leans over the opening as it goes outward: that of the upper lid hangs down, so that it
// is not seen from the front; that of the lower one lies nearly square on the globe. Where both meet their faces lie side by side.
func (q *station) lean() float64 {
	o := q.openness()
	u, l := 0.05+0.27*o, -0.05+0.01*o
	return (l + (u-l)*q.upper) * geom.Smoothstep(0, 2, q.tip)
}

// openness is 0 where the lids meet, near 1 where they stand well apart.
func (q *station) openness() float64 { return q.open / (q.open + 0.8) }

// profile returns a place on the margin: across (a) and out of (n) the rear lip's surface, mm. face is the skin's normal beyond.
func (q *station) profile(k part, f float64, face geom.Vec) (a, n float64) {
	rear, front := min(rearRound, 0.2*q.width), min(frontRound, 0.4*q.width)
	flat := q.width - rear - front
	lean := q.lean()
	switch k {
	case rearLip:
		sin, cos := math.Sincos(geom.Radians(270 - 90*f))
		return rear * (1 + cos), rear * (1 + sin)
	case margin:
		// A little hollow; of closed lids the upper one's is bent as the lower one's bulges.
		o := q.openness()
		bend := (0.05*(1-o)*(2*q.upper-1) - 0.05*o) * geom.Smoothstep(0, 1.5, q.tip)
		return -lean*f*flat + bend*math.Sin(math.Pi*f), rear + f*flat
	}
	turn := math.Atan2(face.Dot(q.away), face.Dot(q.up))
	end := math.Pi/2 - max(-0.2-0.7*q.openness(), min(turn, 0.1+0.6*q.openness())) // short of the other lid
	sin, cos := math.Sincos(math.Pi + f*(end-math.Pi))
	return -lean*flat + front*(1+cos), rear + flat + front*sin
}

// on returns the point a mm across from the rear lip and n mm out of it, on a margin that bends toward the skin's normal.
func (q *station) on(a, n float64, face geom.Vec) geom.Vec {
	up := q.up.Mad(0.35*n/q.width, face.Sub(q.up))
	return q.rim.Mad(a, q.away).Mad(n, up)
}

// faceNormal is the normal of the skin beyond the margin of a station.
func (s *socket) faceNormal(q *station) geom.Vec {
	v := q.rim.Mad(q.width, q.up) // not across: that turns fast about a tip
	return s.g.normal(v.X, v.Y)
}

// rested puts a point of a rear lip, n mm out, onto the eye itself where the lip touches it.
func (s *socket) rested(v geom.Vec, n float64) geom.Vec {
	u := v.Unit()
	r := s.g.globe.exact(u) + s.p.Gap
	if s.g.lip(u, r-s.p.Gap)-r < 0.02 {
		return u.Mul(r + n)
	}
	return u.Mul(max(v.Len(), r))
}

const (
	tuck = 7.5 // how deep the lid's back reaches at least, mm
	snug = 5.0 // how deep it lies close to the globe
)

// back is how the lid's back goes on from a station: its foot on the globe, and the great circle from there.
type back struct {
	foot      geom.Vec // unit
	r         float64  // its distance from the globe's centre
	off       float64  // how far it is off the globe, more than the gap, mm
	out, even geom.Vec // unit, across foot: away from the opening, and that evened out round the opening
	deep      float64  // how deep the back reaches, mm: so far round the globe that what closes the skin's back passes it by
}

// backs finds them all.
func (s *socket) backs() []back {
	const low = 0.62 // z of the deepest direction
	n := len(s.o.s)
	out, even, deep := make([]back, n), s.o.evened(), make([]float64, n)
	for i := range out {
		q, b := &s.o.s[i], &out[i]
		v := q.rim.Mad(min(rearRound, 0.2*q.width), q.away)
		b.r = v.Len()
		b.foot = v.Mul(1 / b.r)
		b.off = max(0, b.r-s.g.globe.exact(b.foot)-s.p.Gap)
		b.out = q.away.Mad(-q.away.Dot(b.foot), b.foot).Unit()
		b.even = even[i].Mad(-even[i].Dot(b.foot), b.foot).Unit()
		deep[i] = tuck
		if a := math.Hypot(b.foot.Z, b.even.Z); b.foot.Z > low {
			deep[i] = max(tuck, b.r*(math.Acos(low/a)+math.Atan2(b.even.Z, b.foot.Z)))
		}
	}
	k := max(1, n/16)
	for i := range out {
		for j := -k; j <= k; j++ {
			out[i].deep += deep[s.o.wrap(i+j)] / float64(2*k+1)
		}
	}
	return out
}

// beneath returns a point of the lid's back: at share 0 the rear lip's foot, at 1 as deep as it lies close, at 2 the deepest. It
// follows great circles from the rear lip on; deeper, in directions evened out round the opening, so that none meet where the
// rims are hollow.
func (s *socket) beneath(b back, share float64) (v geom.Vec, d float64) {
	deep := snug*min(share, 1) + (b.deep-snug)*max(0, share-1)
	along := geom.Lerp(b.out, b.even, geom.Smoothstep(0, 4.5, deep)).Unit()
	sin, cos := math.Sincos(deep / b.r)
	w := b.foot.Mul(cos).Mad(sin, along)
	// The eye itself at the lip, its grid farther in; and down to it from beyond, where the lip has left it.
	grid := s.g.globe.at(w)
	if deep < snug+1 {
		grid += (s.g.globe.exact(w) - grid) * (1 - geom.Smoothstep(snug-2, snug+1, deep))
	}
	grid += s.p.Gap + 0.7*geom.Smoothstep(snug, snug+3, deep)
	return w.Mul(grid + b.off*(1-geom.Smoothstep(0, 1.5+2*min(1, b.off), deep))), -deep
}

// evened returns the directions away from the opening, evened out along the rims.
func (o *opening) evened() []geom.Vec {
	n := len(o.s)
	v := make([]geom.Vec, n)
	for i := range v {
		v[i] = o.s[i].away
	}
	k := max(1, n/10)
	for range 2 {
		out := make([]geom.Vec, n)
		for i := range out {
			for j := -k; j <= k; j++ {
				out[i] = out[i].Add(v[o.wrap(i+j)])
			}
			out[i] = out[i].Unit()
		}
		v = out
	}
	return v
}
