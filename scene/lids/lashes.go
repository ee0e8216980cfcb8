package lids

import (
	"math"
	"math/rand/v2"
	"sort"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
	"catchlight/scene/strand"
)

// Where lashes stand. Common practice where no source is named.
const (
	upperRoots = 4.8 // a millimetre at density 1: 90 to 160 on 27 mm (Na et al. 2006; Aumond and Bitton 2018; from memory)
	lowerRoots = 2.8 // 50 to 80
	upperBand  = 1.0 // width of the band of roots, from the lid's front lip inward
	lowerBand  = 0.7
	leastRoots = 0.16 // between two roots
	// From the inner corner to the puncta (from memory); no lash stands nearer the nose.
	upperPunctum, lowerPunctum = 6.0, 6.5
	lashKnots                  = 10
	lashTries                  = 14
	mostClump                  = 0.8 // how far a hair stands from the leader of its clump
	steep                      = 15  // neighbours that cross at more degrees are drawn anew
)

// lidLine is one lid's edge from the inner corner to the outer one.
type lidLine struct {
	upper bool
	q     []*station
	at    []float64 // way along the rear lip, mm
}

func (s *socket) lidLine(upper bool) *lidLine {
	l := &lidLine{upper: upper}
	side := s.o.side(upper)
	for i := range side {
		l.q = append(l.q, side[len(side)-1-i])
	}
	l.at = make([]float64, len(l.q))
	for i := 1; i < len(l.q); i++ {
		l.at[i] = l.at[i-1] + l.q[i].rim.Sub(l.q[i-1].rim).Len()
	}
	return l
}

// zone returns where lashes stand along the lid: from beyond the punctum to before the outer corner.
func (l *lidLine) zone() (from, to float64) {
	from, to = lowerPunctum+0.4, l.at[len(l.at)-1]-1.4
	if l.upper {
		from, to = upperPunctum+0.4, l.at[len(l.at)-1]-0.8
	}
	return min(from, 0.5*to), to
}

// side returns the stations of one lid from the outer corner to the inner one.
func (o *opening) side(upper bool) []*station {
	a, b := 0, 0
	for i := range o.s {
		if o.s[i].x > o.s[a].x {
			a = i
		}
		if o.s[i].x < o.s[b].x {
			b = i
		}
	}
	n := len(o.s)
	var out []*station
	step := n - 1 // backward: over the upper lid from the outer corner
	if !upper {
		step = 1
	}
	for i := b; i != a; i = (i + step) % n {
		out = append(out, &o.s[i])
	}
	return out
}

// stand is a place on the lid's edge with its directions, all unit: out of the face, away from the opening, and along the rim
// toward the temple.
type stand struct {
	p, out, away, side geom.Vec
}

// stand returns the place a mm along the lid and w mm from the front lip inward.
func (s *socket) stand(l *lidLine, a, w float64) stand {
	i := max(1, min(sort.SearchFloat64s(l.at, a), len(l.at)-1))
	u := max(0, min((a-l.at[i-1])/max(1e-9, l.at[i]-l.at[i-1]), 1))
	p, q := l.q[i-1], l.q[i]
	from, to := p.arc, q.arc
	if !l.upper && from == 0 {
		from = s.o.total
	}
	width := p.width + u*(q.width-p.width)
	v := s.sheet.find((from+u*(to-from))/s.o.total, width-w*min(1, width/s.p.Rim)) // the band narrows with the margin
	up := geom.Lerp(p.up, q.up, u).Unit()
	away := geom.Lerp(p.away, q.away, u)
	// Forward is half-way between the lid's own normal and the face's.
	out := up.Mul(0.55).Add(geom.Vec{Z: 0.6}).Unit()
	away = away.Mad(-away.Dot(out), out).Unit()
	side := out.Cross(away)
	if side.X > 0 {
		side = side.Neg()
	}
	return stand{v.p, out, away, side}
}

// lash is one hair of the lids.
type lash struct {
	stand
	upper         bool
	a, t          float64 // along the lid, mm, and as a share of the zone from the nose to the temple
	length, width float64
	grown         float64    // share of its turn that it has: less where it still grows
	root          [2]float64 // along the zone and across the band, mm
	index         int
	clump         int   // which of the tries the clump's lean is from
	leader        *lash // of its clump; itself for the leader
	p             []geom.Vec
	at            []float64 // share of the length at each knot; the first is beneath the skin
}

// lashes grows the hairs of both lids, or nothing.
func (s *socket) lashes(f *front) *strand.Set {
	set := &strand.Set{}
	for _, h := range s.lashList(f) {
		r := s.draws(h.kind(), h.index, 0xfe)
		s.add(set, h.p, widths(h.width, h.at), s.p.LashEu*(1+0.12*within(r)), s.p.LashPh*(1+0.12*within(r)))
	}
	return set
}

// lashList grows the lashes: first the leaders of clumps, then those that follow them.
func (s *socket) lashList(f *front) []*lash {
	var all []*lash
	for _, upper := range []bool{true, false} {
		all = append(all, s.rooted(upper)...)
	}
	var done []*lash
	for _, h := range all {
		if h.leader == h {
			s.grow(h, done, f)
			done = append(done, h)
		}
	}
	for _, h := range all {
		if h.leader != h {
			s.grow(h, done, f)
			done = append(done, h)
		}
	}
	return all
}

func (h *lash) kind() string {
	if h.upper {
		return "upper lash"
	}
	return "lower lash"
}

// rooted sets the roots of one lid, gives each hair its length and width, and gathers them in clumps.
func (s *socket) rooted(upper bool) []*lash {
	length, rate, band := s.p.LowerLash, lowerRoots, lowerBand
	if upper {
		length, rate, band = s.p.UpperLash, upperRoots, upperBand
	}
	if length <= 0 {
		return nil
	}
	l := s.lidLine(upper)
	from, to := l.zone()
	n := int(math.Round(rate * (to - from) * s.p.LashDensity))
	kind := (&lash{upper: upper}).kind()
	full := func(t float64) float64 { // sparse toward the nose, and somewhat at the outer corner
		end := 1 - 0.45*geom.Smoothstep(0.86, 1, t)
		if upper {
			return end * (0.5 + 0.5*geom.Smoothstep(-0.02, 0.3, t))
		}
		return end * (0.4 + 0.6*geom.Smoothstep(0, 0.45, t))
	}
	var out []*lash
	roots := scattered(s.draws(kind, 0, 0xff), n, to-from, min(band, 0.55*s.p.Rim), full)
	for i, q := range roots {
		h := &lash{stand: s.stand(l, from+q[0], q[1]), upper: upper, a: from + q[0], t: q[0] / (to - from), index: i, root: q, grown: 1}
		r := s.draws(kind, i, 0xfd)
		// Longest two thirds of the way to the temple; a third still grows.
		h.length = length * (0.5 + 0.5*math.Sin(math.Pi*(0.1+0.6*h.t))) * (1 - 0.25*geom.Smoothstep(0.85, 1, h.t) - 0.35*geom.Smoothstep(0.2, 0, h.t)) * (1 + 0.06*within(r))
		h.width = s.p.LashWidth * (1 + 0.12*within(r))
		if young, share := r.Float64() < 1.0/3, uniform(r, 0.3, 0.8); young {
			h.length *= share
			h.width *= 0.6 + 0.4*share
			h.grown = 0.4 + 0.6*share
		}
		if !upper {
			h.width *= 0.78
		}
		out = append(out, h)
	}
	gather(out, s.draws(kind, 0, 0xfc))
	return out
}

// scattered returns up to n places in a band w by h, in an order in which the first few are spread as evenly as all: each is
// the best of several by its distance to those before it, and none is nearer than leastRoots to another. full says how
// densely they stand at a share of the band's length.
//
// Source: Mitchell, Spectrally Optimal Sampling for Distribution Ray Tracing, SIGGRAPH 1991 (best candidates).
func scattered(r *rand.Rand, n int, w, h float64, full func(t float64) float64) [][2]float64 {
	var out [][2]float64
	for range n {
		best, far := [2]float64{}, 0.0
		for range 24 {
			c := [2]float64{r.Float64() * w, 0.05 + r.Float64()*(h-0.05)}
			k := full(c[0] / w)
			if r.Float64() > k {
				continue
			}
			if room := roomAt(out, c, k); room > far {
				best, far = c, room
			}
		}
		if far > 0 {
			out = append(out, best)
		}
	}
	return out
}

// gather makes clumps of three to five neighbours, each about its longest hair; some hairs stand alone.
func gather(all []*lash, r *rand.Rand) {
	order := append([]*lash(nil), all...)
	sort.Slice(order, func(i, j int) bool { return order[i].a < order[j].a })
	for i := 0; i < len(order); {
		k := 3 + r.IntN(3)
		if r.Float64() < 0.15 {
			k = 1
		}
		j := i
		lead := order[i]
		for ; j < len(order) && j < i+k && order[j].a-order[i].a <= 2*mostClump; j++ {
			if order[j].length > lead.length {
				lead = order[j]
			}
		}
		for _, h := range order[i:j] {
			h.leader = lead
			if h.p0().Sub(lead.p0()).Len() > mostClump {
				h.leader = h
			}
		}
		i = j
	}
}

func (h *lash) p0() geom.Vec { return h.stand.p }

// grow shapes a hair so that it crosses none of those that are there steeply and clears globe and skin, or does so least.
func (s *socket) grow(h *lash, done []*lash, f *front) {
	var near []*lash
	for _, q := range done {
		if q.p0().Sub(h.p0()).Len() < 4 {
			near = append(near, q)
		}
	}
	var best []geom.Vec
	least := math.Inf(1)
	for try := range lashTries {
		s.shape(h, try)
		bad := 10 * s.sunk(h, f)
		for _, q := range near {
			if h.crosses(q) {
				bad++
			}
		}
		if bad < least {
			best, least = h.p, bad
		}
		if bad == 0 {
			break
		}
	}
	h.p = best
	s.raise(h, f)
}

// shape draws a hair's curve: it leaves the lid forward and a little down, and turns upward on the upper lid, downward on the
// lower one, most near the root. Hairs fan out toward nose and temple, and those of a clump draw their tips together.
func (s *socket) shape(h *lash, try int) {
	r := s.draws(h.kind(), h.index, try)
	if h.leader == h {
		h.clump = try
	}
	c := s.draws(h.kind()+" clump", h.leader.index, h.leader.clump)
	calm := 1 / (1 + 0.06*float64(try)) // a later try keeps closer to its neighbours
	clump, lift := 5*calm*within(c), 3*calm*within(c)
	slow := func(salt uint64) float64 { return noise.Space(s.seed+salt, h.a*0.35, h.root[1]*0.6, 0.5) }
	leave, turn := -24+5*slow(71), s.p.LashCurl*(1+0.12*slow(72))
	if !h.upper {
		leave, turn = 15+4*slow(73), 0.62*s.p.LashCurl*(1+0.15*slow(74))
	}
	leave = geom.Radians(leave + lift + 2.5*calm*within(r))
	turn *= (1 + 0.06*calm*within(r)) * h.grown
	fan := 0.6*(h.t-0.45) + geom.Radians(clump+3*calm*within(r))
	draw := uniform(r, 0.4, 0.8)
	sin, cos := math.Sincos(fan)
	out := h.out.Mul(cos).Mad(sin, h.side)
	k := bend(geom.Radians(min(turn, 84)))
	dir := func(u float64) geom.Vec {
		sin, cos := math.Sincos(leave + turnedAt(k, u))
		return out.Mul(cos).Mad(sin, h.away)
	}
	h.at = make([]float64, lashKnots+1)
	h.p = make([]geom.Vec, lashKnots+1)
	h.at[0], h.p[0] = -underSkin/h.length, h.stand.p.Mad(-underSkin, dir(0))
	p := h.stand.p
	h.p[1] = p
	const fine = 6
	for i := 2; i <= lashKnots; i++ {
		h.at[i] = math.Pow(float64(i-1)/(lashKnots-1), 1.25)
		du := (h.at[i] - h.at[i-1]) / fine
		for j := range fine {
			p = p.Mad(du*h.length, dir(h.at[i-1]+(float64(j)+0.5)*du))
		}
		h.p[i] = p
	}
	if q := h.leader; q != h {
		for i := 2; i <= lashKnots; i++ {
			u := h.at[i]
			h.p[i] = geom.Lerp(h.p[i], q.along(u*h.length), draw*u*u)
		}
	}
}

// along returns the place s mm from the root.
func (h *lash) along(s float64) geom.Vec {
	u := min(s/h.length, 1)
	i := 2
	for i < len(h.at)-1 && h.at[i] < u {
		i++
	}
	return geom.Lerp(h.p[i-1], h.p[i], (u-h.at[i-1])/(h.at[i]-h.at[i-1]))
}

// bare is the length at the root, mm, where a hair may lie behind skin as seen from the front: it leaves the rim's face.
const bare = 1.2

// hold returns how far in front of globe and skin a place lies, mm.
func (s *socket) hold(v geom.Vec, f *front) float64 {
	gap := v.Len() - s.g.globe.at(v)
	if z, ok := f.at(v.X, v.Y); ok {
		gap = min(gap, v.Z-z)
	}
	return gap
}

// clearance is how far a lash stays from globe and skin, mm.
const clearance = 0.12

// sunk counts a hair's knots that don't clear globe and skin.
func (s *socket) sunk(h *lash, f *front) (n float64) {
	for i := 2; i < len(h.p); i++ {
		if h.at[i]*h.length > bare && s.hold(h.p[i], f) < clearance {
			n++
		}
	}
	return n
}

// raise moves knots that are still too near forward, and what follows with them.
func (s *socket) raise(h *lash, f *front) {
	var more float64
	for i := 2; i < len(h.p); i++ {
		if h.at[i]*h.length <= bare {
			continue
		}
		h.p[i].Z += more
		for k := 0; k < 20; k++ {
			miss := clearance - s.hold(h.p[i], f)
			if miss <= 0 {
				break
			}
			h.p[i].Z += miss + 0.01
			more += miss + 0.01
		}
	}
}

// crosses reports whether two hairs cross steeply as seen from the front or from the temple's side. The quarter next to the
// root doesn't count: there hairs of several rows dip before the rim in one bundle.
func (h *lash) crosses(q *lash) bool {
	for _, view := range [2][2]float64{{1, 0}, {0.766, 0.643}} { // cosine and sine of 0 and 40 degrees
		if crossing(h.p[4:], q.p[4:], view) > steep {
			return true
		}
	}
	return false
}

// crossing returns the steepest angle in degrees at which two lines cross as seen from a side: cosine and sine of its turn
// toward the temple.
func crossing(a, b []geom.Vec, view [2]float64) (most float64) {
	flat := func(v geom.Vec) [2]float64 { return [2]float64{v.X*view[0] + v.Z*view[1], v.Y} }
	for i := range len(a) - 1 {
		a0, a1 := flat(a[i]), flat(a[i+1])
		ax, ay := a1[0]-a0[0], a1[1]-a0[1]
		for j := range len(b) - 1 {
			b0, b1 := flat(b[j]), flat(b[j+1])
			bx, by := b1[0]-b0[0], b1[1]-b0[1]
			k := ax*by - ay*bx
			if k == 0 {
				continue
			}
			u := ((b0[0]-a0[0])*by - (b0[1]-a0[1])*bx) / k
			v := ((b0[0]-a0[0])*ay - (b0[1]-a0[1])*ax) / k
			if u < 0 || u > 1 || v < 0 || v > 1 {
				continue
			}
			sin := math.Abs(k) / (math.Hypot(ax, ay) * math.Hypot(bx, by))
			angle := geom.Degrees(math.Asin(min(sin, 1)))
			if ax*bx+ay*by < 0 {
				angle = 180 - angle
			}
			most = max(most, angle)
		}
	}
	return most
}
