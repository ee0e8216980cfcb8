package lids

import (
	"math"
	"sort"

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

// station is a place on the opening's edge as seen from the front: the inner edge of the rim of a right eye.
type station struct {
	x, y   float64
	nx, ny float64  // unit, away from the opening
	t      float64  // 0 at the outer corner, 1 at the inner one
	upper  float64  // 1 on the upper rim, 0 on the lower, smooth about the corners
	arc    float64  // way round the opening from the inner corner, mm
	rim    geom.Vec // on the ground
	up     geom.Vec // unit, out of the lid: normal of the ground, evened out
	away   geom.Vec // unit, across up and away from the opening
	end    [2]float64
}

// opening is the edge of a right eye's lids, anticlockwise from the inner corner over the upper lid as the viewer sees it.
type opening struct {
	s          []station
	upper, low float64 // heights of the rims over the middle of the eye
}

// Where the arches of the lids over the line between the corners are highest, x in mm; with the line's own tilt the upper
// rim is highest about 1 mm nasal of the middle of the eye, and the lower one lowest 1.5 mm temporal of it.
const upperPeak, lowerPeak = 2.8, -3.4

// middle of the opening, where its edges are seen from.
const middleX, middleY = 0.9, -0.8

// chordY is the height of the line between the corners over the middle of the eye.
const chordY = -1.1

// openings lays the edge of the lids for each rise: how much higher than straight ahead the centre of the cornea stands,
// mm. All have as many stations, and rays that end alike on the border of the box, so that the skin of a pair meets.
func openings(p []*Params, rise []float64, box [4]float64) []*opening {
	level := newOpening(p[0], 0, 0)
	level.spread(box)
	var out []*opening
	for k, r := range rise {
		o := newOpening(p[k], r, len(level.s))
		for i := range o.s {
			o.s[i].end = level.s[i].end
		}
		out = append(out, o)
	}
	return out
}

// newOpening lays the edge of the lids with n stations, or as many as p asks for.
func newOpening(p *Params, rise float64, n int) *opening {
	o := &opening{upper: p.Iris - p.Cover, low: p.Iris - p.Cover - p.Height}
	o.upper += upperFollows * rise
	o.low += lowerFollows * rise
	o.low = max(-highest, min(o.low, lowerMost))
	o.upper = max(o.low+leastOpening, upperLeast, min(o.upper, highest))
	inner, outer := 0.53*p.Width, -0.47*p.Width
	// Arch of a lid over the line between the corners: 1 at its highest, 0 at both.
	arch := func(t, peak, beak float64) float64 {
		s := 2*t - 1
		c := 2*(peak-outer)/p.Width - 1
		s = (s - c) / (1 - c*s) // keeps the ends and takes c to the middle
		f := (1 - s*s) * (1 + 0.3*s*s)
		return f * (1 - beak*geom.Smoothstep(0.74, 0.97, t))
	}
	chord := func(t float64) float64 { return chordY + p.Tilt*((1-t)-(inner)/p.Width) }
	t0 := -outer / p.Width
	up := (o.upper - chord(t0)) / arch(t0, upperPeak, 0.3)
	down := (o.low - chord(t0)) / arch(t0, lowerPeak, 0.42)
	const fine = 1600
	dense := make([][2]float64, fine)
	for i := range dense {
		t := (1 + math.Cos(2*math.Pi*float64(i)/fine)) / 2
		high := chord(t) + up*arch(t, upperPeak, 0.3)
		y := high
		if i > fine/2 {
			y = min(chord(t)+down*arch(t, lowerPeak, 0.42), high-leastOpening*4*t*(1-t))
		}
		dense[i] = [2]float64{outer + t*p.Width, y}
	}
	loop := evenly(dense, fine)
	loop = rounded(loop, 0.4)
	fit(loop, outer, inner)
	o.place(loop, p.Detail, n)
	a, b, total := o.corner(1).arc, o.corner(-1).arc, lengths(loop)[fine]
	for i := range o.s {
		q := &o.s[i]
		q.t = (q.x - outer) / p.Width
		// Way from the nearer corner, positive along the upper lid.
		w := math.Mod(q.arc-a+total, total)
		w = min(w, b-a-w)
		if arc := math.Mod(q.arc-a+total, total) + a; arc > b {
			w = max(arc-a-total, b-arc)
		}
		q.upper = geom.Smoothstep(-0.7, 0.7, w)
	}
	return o
}

// evenly returns n points at even steps along a closed line.
func evenly(line [][2]float64, n int) [][2]float64 {
	cum := lengths(line)
	total := cum[len(line)]
	out := make([][2]float64, n)
	for i := range out {
		out[i] = along(line, cum, total*float64(i)/float64(n))
	}
	return out
}

func lengths(line [][2]float64) []float64 {
	cum := make([]float64, len(line)+1)
	for i, a := range line {
		b := line[(i+1)%len(line)]
		cum[i+1] = cum[i] + math.Hypot(b[0]-a[0], b[1]-a[1])
	}
	return cum
}

func along(line [][2]float64, cum []float64, d float64) [2]float64 {
	i := min(sort.SearchFloat64s(cum, d), len(line))
	i = max(0, i-1)
	a, b := line[i], line[(i+1)%len(line)]
	f := 0.0
	if l := cum[i+1] - cum[i]; l > 0 {
		f = (d - cum[i]) / l
	}
	return [2]float64{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])}
}

// rounded smooths a closed line of even steps by a Gaussian of the given width in mm.
func rounded(line [][2]float64, sigma float64) [][2]float64 {
	cum := lengths(line)
	step := cum[len(line)] / float64(len(line))
	k := int(3 * sigma / step)
	out := make([][2]float64, len(line))
	for i := range line {
		var sum, x, y float64
		for j := -k; j <= k; j++ {
			w := math.Exp(-0.5 * math.Pow(float64(j)*step/sigma, 2))
			q := line[(i+j+len(line))%len(line)]
			sum, x, y = sum+w, x+w*q[0], y+w*q[1]
		}
		out[i] = [2]float64{x / sum, y / sum}
	}
	return out
}

// fit stretches a line across so that it reaches from lo to hi.
func fit(line [][2]float64, lo, hi float64) {
	a, b := math.Inf(1), math.Inf(-1)
	for _, q := range line {
		a, b = min(a, q[0]), max(b, q[0])
	}
	for i := range line {
		line[i][0] = lo + (line[i][0]-a)/(b-a)*(hi-lo)
	}
}

// place sets m stations along the line, or as many as detail asks for, closer together about the corners.
func (o *opening) place(line [][2]float64, detail float64, m int) {
	n := len(line)
	cum := lengths(line)
	step := cum[n] / float64(n)
	weight := make([]float64, n+1)
	for i := range n {
		c := min(cum[i], cum[n]-cum[i], math.Abs(cum[i]-cum[n]/2))
		weight[i+1] = weight[i] + step*(1+2*math.Exp(-c*c/4))
	}
	if m == 0 {
		m = int(weight[n] / detail)
	}
	o.s = make([]station, m)
	k := 0
	for i := range o.s {
		want := weight[n] * float64(i) / float64(m)
		for weight[k+1] < want {
			k++
		}
		f := (want - weight[k]) / (weight[k+1] - weight[k])
		d := (float64(k) + f) * step
		q := along(line, cum, d)
		a, b := line[(k+n-2)%n], line[(k+3)%n]
		tx, ty := b[0]-a[0], b[1]-a[1]
		l := math.Hypot(tx, ty)
		o.s[i] = station{x: q[0], y: q[1], nx: ty / l, ny: -tx / l, arc: d}
	}
}

// rest lays the stations on the ground.
func (o *opening) rest(g *ground) {
	for i := range o.s {
		q := &o.s[i]
		q.rim, q.up = g.point(q.x, q.y, 0), g.normal(q.x, q.y, 0, 1.2)
		q.away = geom.Vec{X: q.nx, Y: q.ny}
		q.away = q.away.Mad(-q.away.Dot(q.up), q.up).Unit()
	}
}

// spread says where each station's ray over the face ends: on the border of a box (x from 0 to 1, y from 2 to 3).
func (o *opening) spread(box [4]float64) {
	n := len(o.s)
	// Directions over the face: the edge's own, which must not turn back, mixed with even steps and evened out, so that they
	// fan without bunching.
	turn, back := make([]float64, n), make([]float64, n)
	last := math.Atan2(o.s[0].ny, o.s[0].nx)
	for i := range o.s {
		last = unwound(math.Atan2(o.s[i].ny, o.s[i].nx), last)
		turn[i], back[i] = last, last
	}
	for i := 1; i < n; i++ {
		turn[i] = max(turn[i], turn[i-1])
		back[n-1-i] = min(back[n-1-i], back[n-i])
	}
	for i := range turn {
		turn[i] = 0.35*(turn[i]+back[i]) + 0.3*(turn[0]+2*math.Pi*float64(i)/float64(n))
	}
	k := n / 12
	for i := range o.s {
		q := &o.s[i]
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
		s, c := math.Sincos(sum / w)
		t := math.Inf(1)
		if c > 0 {
			t = min(t, (box[1]-middleX)/c)
		} else if c < 0 {
			t = min(t, (box[0]-middleX)/c)
		}
		if s > 0 {
			t = min(t, (box[3]-middleY)/s)
		} else if s < 0 {
			t = min(t, (box[2]-middleY)/s)
		}
		q.end = [2]float64{middleX + t*c, middleY + t*s}
		if c > 0 && t == (box[1]-middleX)/c {
			q.end[0] = box[1]
		}
	}
}

// lean is how far the rim's face leans over the opening as it goes outward: that of the upper lid hangs down, so that it
// is not seen from the front; that of the lower one lies nearly square on the globe.
func (q *station) lean() float64 { return 0.36*q.upper - 0.04 }

// unwound returns the angle a by whole turns nearest to b.
func unwound(a, b float64) float64 { return a + 2*math.Pi*math.Round((b-a)/(2*math.Pi)) }

// reach returns the length of a station's ray.
func (q *station) reach() float64 { return math.Hypot(q.end[0]-q.x, q.end[1]-q.y) }

// ray returns where, d mm along a station's ray over the face (negative: into the opening), one stands as seen from the
// front. It leaves at right angles to the edge and ends away from the middle.
func (q *station) ray(d float64) (x, y float64) {
	l := q.reach()
	t := d / l
	if t <= 0 {
		return q.x + d*q.nx, q.y + d*q.ny
	}
	if t >= 1 {
		return q.end[0], q.end[1]
	}
	ex, ey := q.end[0]-middleX, q.end[1]-middleY
	e := l / math.Hypot(ex, ey)
	h00, h10 := (1+2*t)*(1-t)*(1-t), t*(1-t)*(1-t)
	h01, h11 := t*t*(3-2*t), -t*t*(1-t)
	return h00*q.x + h10*l*q.nx + h01*q.end[0] + h11*e*ex, h00*q.y + h10*l*q.ny + h01*q.end[1] + h11*e*ey
}
