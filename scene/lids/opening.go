package lids

import (
	"math"

	"catchlight/scene/geom"
)

// How far each rim goes with the eye's centre of view when that goes up or down. The upper lid follows nearly all the way
// and the lower one less (Becker and Fuchs, J. Neurophysiol. 60 (1988), 1227, for the upper; the share of the lower one
// is common practice).
const (
	upperFollows = 0.85
	lowerFollows = 0.45
	leastOpening = 0.6 // mm
	highest      = 9.0 // no rim goes farther than this from the middle of the eye, mm
	lowerMost    = 2.5 // nor the lower one up beyond this
	upperLeast   = -2.5
)

// station is a place on the rear lip of a right eye's rims.
type station struct {
	x, y   float64  // as seen from the front
	nx, ny float64  // unit, away from the opening, as seen from the front
	t      float64  // 0 at the outer corner, 1 at the inner one
	upper  float64  // 1 on the upper rim, 0 on the lower, smooth about the corners
	arc    float64  // way round the opening from the inner corner, mm
	open   float64  // height of the opening here, mm
	width  float64  // of the rim here, mm
	tip    float64  // way to the nearer corner, mm
	rim    geom.Vec // the gap off the globe; near the inner corner, off the floor beside it
	up     geom.Vec // unit, out of the lid: normal of that surface, evened out
	away   geom.Vec // unit, across up and away from the opening
	end    [2]float64
}

// opening is the edge of a right eye's lids, anticlockwise from the inner corner over the upper lid as the viewer sees it.
type opening struct {
	s          []station
	upper, low float64 // heights of the rims over the middle of the eye, before a blink
	drop       float64 // how far the upper rim has come down over the middle of the eye, mm, from where it stands straight ahead
	total      float64 // length of the way round, mm
	midX, midY float64 // what the columns of the skin go away from far out, as seen from the front
}

// chordY is the height of the line between the corners over the middle of the eye.
const chordY = -1.1

// openings lays the edge of the lids on each ground for its rise: how much higher than straight ahead the centre of the
// cornea stands, mm. All have as many stations, whatever the blink and the gaze, and columns that end alike on the border of the
// box, so that the skin of a pair meets.
func openings(p []*Params, grounds []*ground, rise []float64, box [4]float64) []*opening {
	wide := *p[0]
	wide.Blink = 0
	n := len(newOpening(&wide, grounds[0], 0, 0).s)
	var out []*opening
	for k, g := range grounds {
		out = append(out, newOpening(p[k], g, rise[k], n))
	}
	(&socket{p: p[0], g: grounds[0], o: out[0]}).spread(box)
	for _, o := range out[1:] {
		for i := range o.s {
			o.s[i].end = out[0].s[i].end
		}
		o.midX, o.midY = out[0].midX, out[0].midY
	}
	return out
}

// newOpening lays the edge of the lids with n stations, or as many as p asks for.
func newOpening(p *Params, g *ground, rise float64, n int) *opening {
	straight := p.Iris - p.Cover
	o := &opening{upper: straight, low: straight - p.height()}
	rise *= 1 - p.Blink // closed lids lie where they lie
	o.upper += upperFollows * rise
	o.low += lowerFollows * rise
	o.low = max(-highest, min(o.low, lowerMost))
	o.upper = max(o.low+leastOpening, upperLeast, min(o.upper, highest))
	l := newLoop(p, g, o.upper, o.low)
	o.place(l, g, p, n)
	o.drop = straight - o.upper + p.Blink*(o.upper-o.low)*0.9
	return o
}

// place sets m stations along the loop, or as many as detail asks for, closer together about the corners.
func (o *opening) place(l *loop, g *ground, p *Params, m int) {
	const n = 2048
	pts, cum, weight := make([]geom.Vec, n), make([]float64, n+1), make([]float64, n+1)
	for i := range pts {
		az, el, _ := l.at(2 * math.Pi * float64(i) / n)
		u := direction(az, el)
		pts[i] = u.Mul(g.lip(u, g.globe.at(u)))
	}
	for i := range pts {
		cum[i+1] = cum[i] + pts[(i+1)%n].Sub(pts[i]).Len()
	}
	total, outer := cum[n], cum[n/2]
	for i := range pts {
		a := (cum[i] + cum[i+1]) / 2
		c := min(a, total-a, math.Abs(a-outer))
		// Besides, some stations for what the loop turns, so that a tip has them however sharp it is.
		in, out := pts[i].Sub(pts[(i+n-1)%n]), pts[(i+1)%n].Sub(pts[i])
		turn := math.Atan2(in.Cross(out).Len(), in.Dot(out))
		weight[i+1] = weight[i] + (cum[i+1]-cum[i])*(1+3*math.Exp(-c*c/4)) + 4*p.Detail*turn
	}
	if m == 0 {
		m = 2 * int(weight[n]/p.Detail/2)
	}
	o.s, o.total = make([]station, m), total
	k := 0
	for i := range o.s {
		// As many on either lid, one in each corner.
		want := 2 * float64(i) / float64(m) * weight[n/2]
		if 2*i > m {
			want = weight[n/2] + float64(2*i-m)/float64(m)*(weight[n]-weight[n/2])
		}
		for k < n-1 && weight[k+1] < want {
			k++
		}
		f := (want - weight[k]) / (weight[k+1] - weight[k])
		a := cum[k] + f*(cum[k+1]-cum[k])
		az, el, half := l.at(2 * math.Pi * (float64(k) + f) / n)
		q := &o.s[i]
		*q = station{arc: a}
		u := direction(az, el)
		q.rim = g.exactLip(u)
		q.x, q.y = q.rim.X, q.rim.Y
		q.open = 2 * half * q.rim.Len()
		q.up = g.lipNormal(u, 1.2)
		along := pts[(k+2)%n].Sub(pts[(k+n-1)%n])
		q.away = along // until all ups are evened out
		flat := math.Hypot(along.X, along.Y)
		q.nx, q.ny = along.Y/flat, -along.X/flat
		// Way from the outer corner, positive along the upper lid, and from the inner one.
		so, si := outer-a, a
		if a > outer {
			si = a - total
		}
		w := so
		if math.Abs(si) < math.Abs(so) {
			w = si
		}
		q.upper = geom.Smoothstep(-0.7, 0.7, w)
		q.tip = math.Abs(w)
		q.width = rimWidth(p, math.Abs(so), math.Abs(si))
	}
	o.evenUps(1.5)
	x0, x1 := o.corner(-1).x, o.corner(1).x
	for i := range o.s {
		o.s[i].t = (o.s[i].x - x0) / (x1 - x0)
	}
}

// evenUps evens the ups out along the rims over reach mm to each side, weighed by nearness, and turns what lies along the rim in
// away into what lies across it.
func (o *opening) evenUps(reach float64) {
	ups := make([]geom.Vec, len(o.s))
	for i := range o.s {
		for _, step := range []int{1, -1} {
			for k, way := i, 0.0; way < reach; {
				ups[i] = ups[i].Mad(1-way/reach, o.s[k].up)
				next := o.wrap(k + step)
				way += max(1e-3, o.s[next].rim.Sub(o.s[k].rim).Len())
				k = next
			}
		}
	}
	for i := range o.s {
		q := &o.s[i]
		q.up = ups[i].Unit()
		along := q.away.Mad(-q.away.Dot(q.up), q.up).Unit()
		q.away = along.Cross(q.up)
	}
}

// outerIndex is the station at the outer corner.
func (o *opening) outerIndex() int { return len(o.s) / 2 }

// spread says where each station's column of the skin ends: on the border of a box (x from 0 to 1, y from 2 to 3), as seen from
// the middle behind where it leaves the last level set, evened out.
func (s *socket) spread(box [4]float64) {
	s.g.bake()
	n := len(s.o.s)
	f := s.frontLips()
	last := s.g.march(f.x, f.y, []float64{f.reach(box, s.o.drop)}, s.o.outerIndex())[1]
	lo, hi := last.y[0], last.y[0]
	for _, y := range last.y {
		lo, hi = min(lo, y), max(hi, y)
	}
	o := s.o
	o.midX, o.midY = (last.x[0]+last.x[o.outerIndex()])/2, (lo+hi)/2
	turn := make([]float64, n)
	turn[0] = math.Atan2(last.y[0]-o.midY, last.x[0]-o.midX)
	for i := 1; i < n; i++ {
		turn[i] = max(turn[i-1], unwound(math.Atan2(last.y[i]-o.midY, last.x[i]-o.midX), turn[i-1]))
	}
	k := max(1, n/16)
	for i := range turn {
		var sum, w float64
		for j := -k; j <= k; j++ {
			c := math.Cos(float64(j) / float64(k+1) * math.Pi / 2)
			at, lap := i+j, 0.0
			if at < 0 {
				at, lap = at+n, -2*math.Pi
			} else if at >= n {
				at, lap = at-n, 2*math.Pi
			}
			sum, w = sum+c*c*(turn[at]+lap), w+c*c
		}
		o.s[i].end = o.onBox(sum/w, box)
	}
}

// onBox returns where a ray from the middle at an angle meets the border of a box.
func (o *opening) onBox(angle float64, box [4]float64) [2]float64 {
	s, c := math.Sincos(angle)
	t := math.Inf(1)
	if c > 0 {
		t = min(t, (box[1]-o.midX)/c)
	} else if c < 0 {
		t = min(t, (box[0]-o.midX)/c)
	}
	if s > 0 {
		t = min(t, (box[3]-o.midY)/s)
	} else if s < 0 {
		t = min(t, (box[2]-o.midY)/s)
	}
	end := [2]float64{o.midX + t*c, o.midY + t*s}
	if c > 0 && t == (box[1]-o.midX)/c {
		end[0] = box[1]
	}
	return end
}

// unwound returns the angle a by whole turns nearest to b.
func unwound(a, b float64) float64 { return a + 2*math.Pi*math.Round((b-a)/(2*math.Pi)) }

// wrap returns i within the ring of stations.
func (o *opening) wrap(i int) int {
	n := len(o.s)
	return ((i % n) + n) % n
}
