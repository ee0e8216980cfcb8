package lids

import (
	"math"
	"sort"

	"catchlight/scene/geom"
)

// part is a piece of the skin's sheet, from deep beneath the lid outward.
type part int

const (
	beneath part = iota
	rearLip
	margin
	frontLip
	skin    // beyond the front lip, in level sets of the distance from it
	outland // on from there to the border
	wall    // the border's back
)

// row is one line round the opening: which part, how far across it (0 to 1; beneath, 1 is as deep as it lies close, 2 deepest), and on the skin how far
// from the front lip, mm.
type row struct {
	part part
	f, e float64
}

// place is a point of the skin's sheet.
type place struct {
	way   float64 // once round the opening along the rear lip from the inner corner over the upper lid, 0 to 1
	arc   float64 // the same in mm
	d     float64 // along the sheet from the rear lip, mm: less than 0 beneath the lid, up to rim on the margin, then skin
	e     float64 // d - rim
	rim   float64 // width of the margin here, mm
	t     float64 // 0 at the outer corner to 1 at the inner one
	upper float64 // 1 on the upper lid, 0 on the lower, smooth about the corners
	part  part
	f     float64 // how far across its part
	land  float64 // 1, and 0 on the border: for what ends before it
	fold  fold

	p     geom.Vec // in the socket of a right eye
	along geom.Vec // unit, round the opening
	out   geom.Vec // unit, across along and up, away from the opening
	up    geom.Vec // unit, out of the skin

	zone zones
}

// zones are weights of the parts that skin differs by; their sum is 1.
type zones struct{ beneath, margin, lid, crease, cheek, brow float64 }

// sheet is the skin about one opening: its places in rows of n, before fine relief.
type sheet struct {
	n    int
	rows []row
	at   []place
}

// mostReach is the farthest that level sets go, mm.
const mostReach = 10.0

// rows lays out the lines of the skin, as many whatever reach is: how far its level sets go, mm.
func rows(p *Params, reach float64) []row {
	var r []row
	for i := range 6 {
		r = append(r, row{part: beneath, f: 2 - float64(i)/6})
	}
	for i := range 10 {
		r = append(r, row{part: beneath, f: math.Pow(float64(10-i)/10, 1.25)})
	}
	steps := func(k part, from, n int) {
		for i := from; i <= n; i++ {
			r = append(r, row{part: k, f: float64(i) / float64(n)})
		}
	}
	steps(rearLip, 0, 4)
	k := max(5, int((p.Rim-rearRound-frontRound)/max(0.9*p.Detail, 0.1)))
	for i := 1; i < k; i++ {
		r = append(r, row{part: margin, f: float64(i) / float64(k)})
	}
	steps(frontLip, 0, 7)
	for e := 0.0; ; {
		e += p.Detail * (0.8 + 0.1*max(0, e-5))
		if e > mostReach-0.5*p.Detail {
			r = append(r, row{part: skin, e: reach})
			break
		}
		r = append(r, row{part: skin, e: e * reach / mostReach})
	}
	steps(outland, 1, max(8, int(12/p.Detail))) // so many that the texels of the relief between them still show lines
	return append(r, row{part: wall})
}

// foot is where on the rear lip a place has its nearest point, in stations from the inner corner.
func (s *socket) foot(way float64) place {
	o := s.o
	n := float64(len(o.s))
	w := math.Mod(way+n, n)
	i := min(int(w), len(o.s)-1)
	f := w - float64(i)
	a, b := &o.s[i], &o.s[o.wrap(i+1)]
	arc := b.arc
	if arc < a.arc {
		arc += o.total
	}
	m := func(x, y float64) float64 { return x + f*(y-x) }
	arc = m(a.arc, arc)
	return place{way: arc / o.total, arc: arc, rim: m(a.width, b.width), t: m(a.t, b.t), upper: m(a.upper, b.upper)}
}

// lips are the front lips of a socket once round.
type lips struct {
	face []geom.Vec // the skin's normal beyond
	p    []geom.Vec
	x, y []float64 // of p
}

func (s *socket) frontLips() *lips {
	n := len(s.o.s)
	f := &lips{face: make([]geom.Vec, n), p: make([]geom.Vec, n), x: make([]float64, n), y: make([]float64, n)}
	for i := range s.o.s {
		q := &s.o.s[i]
		f.face[i] = s.faceNormal(q)
		a, b := q.profile(frontLip, 1, f.face[i])
		f.p[i] = q.on(a, b, f.face[i])
		f.x[i], f.y[i] = f.p[i].X, f.p[i].Y
	}
	return f
}

// reach is how far level sets go from the lips, mm: well short of the box about the face (x from 0 to 1, y from 2 to 3), and less
// from lids that have come down (by drop mm), for about the globe's dome those are hollow.
func (f *lips) reach(box [4]float64, drop float64) float64 {
	near := math.Inf(1)
	for i, x := range f.x {
		near = min(near, x-box[0], box[1]-x, f.y[i]-box[2], box[3]-f.y[i])
	}
	return min(mostReach, 0.6*near) * (1 - 0.2*geom.Smoothstep(1, 7, drop))
}

// lay lays the sheet.
func (s *socket) lay() *sheet {
	n := len(s.o.s)
	sh := &sheet{n: n}
	lips := s.frontLips()
	sh.rows = rows(s.p, lips.reach(s.box, s.o.drop))
	back := s.backs()
	for _, r := range sh.rows {
		if r.part >= skin {
			break
		}
		for i := range s.o.s {
			q := &s.o.s[i]
			v := s.foot(float64(i))
			v.part, v.f, v.land = r.part, r.f, 1
			if r.part == beneath {
				v.p, v.d = s.beneath(back[i], r.f)
			} else {
				a, b := q.profile(r.part, r.f, lips.face[i])
				v.p = q.on(a, b, lips.face[i])
				if r.part == rearLip {
					v.p = s.rested(v.p, b)
				}
				v.d = q.width * marginShare(r)
			}
			v.e = v.d - v.rim
			sh.at = append(sh.at, v)
		}
	}
	s.layFace(sh, lips)
	sh.frames()
	for i := range sh.at {
		sh.at[i].zoned()
	}
	return sh
}

// marginShare is how far across the margin a row lies, 0 at the rear lip to 1 at the front one.
func marginShare(r row) float64 {
	switch r.part {
	case rearLip:
		return 0.1 * r.f
	case margin:
		return 0.1 + 0.7*r.f
	}
	return 0.8 + 0.2*r.f
}

// column is the skin's ground along one column of the sheet, from the front lip on.
type column struct {
	e []float64
	p []geom.Vec
}

// at returns the point e mm along the column.
func (c *column) at(e float64) geom.Vec {
	i := max(0, min(sort.SearchFloat64s(c.e, e)-1, len(c.e)-2))
	f := max(0, min(1, (e-c.e[i])/(c.e[i+1]-c.e[i])))
	return geom.Lerp(c.p[i], c.p[i+1], f)
}

// layFace lays the skin from the front lips to the border and its back.
func (s *socket) layFace(sh *sheet, lips *lips) {
	n := sh.n
	var e []float64
	var far []row
	for _, r := range sh.rows {
		switch r.part {
		case skin:
			e = append(e, r.e)
		case outland:
			far = append(far, r)
		}
	}
	levels := s.g.march(lips.x, lips.y, e, s.o.outerIndex())
	last := levels[len(levels)-1]
	off := make([]float64, n) // of the front lip from the skin's ground
	for i := range off {
		off[i] = lips.p[i].Z - levels[0].z[i]
	}
	cols := make([]column, n)
	ways := make([][]float64, 0, len(levels)+len(far))
	for _, l := range levels {
		ways = append(ways, l.way)
		fade := 1 - geom.Smoothstep(0, 6, l.e)
		offs := make([]float64, n)
		for i := range cols {
			w := math.Mod(l.way[i], float64(n))
			k := int(w)
			offs[i] = off[k] + (w-float64(k))*(off[(k+1)%n]-off[k])
		}
		offs = l.even(offs, evenShare*l.e)
		for i := range cols {
			cols[i].p = append(cols[i].p, geom.Vec{X: l.x[i], Y: l.y[i], Z: l.z[i] + fade*offs[i]})
			cols[i].e = append(cols[i].e, l.e)
		}
	}
	s.onward(cols, last, far)
	for range far {
		ways = append(ways, last.way)
	}
	for j := 1; j < len(ways); j++ {
		l := levels[min(j, len(levels)-1)]
		t, upper := make([]float64, n), make([]float64, n)
		for i := range cols {
			v := s.foot(ways[j][i])
			t[i], upper[i] = v.t, v.upper
		}
		t, upper = l.even(t, evenShare*l.e), l.even(upper, evenShare*l.e)
		for i := range cols {
			v := s.foot(ways[j][i])
			v.t, v.upper = t[i], upper[i]
			v.part, v.land = skin, 1
			if j >= len(levels) {
				v.part, v.f = outland, far[j-len(levels)].f
				v.land = 1 - geom.Smoothstep(0.4, 0.95, v.f)
			}
			v.e = cols[i].e[j]
			v.d = v.e + v.rim
			s.lift(&v, &cols[i])
			sh.at = append(sh.at, v)
		}
	}
	for i := range s.o.s {
		v := sh.at[len(sh.at)-n]
		b := s.o.s[i].end
		v.part, v.p = wall, geom.Vec{X: b[0], Y: b[1], Z: cols[i].p[len(cols[i].p)-1].Z - thick}
		sh.at = append(sh.at, v)
	}
}

// evenShare is how far to either side what comes from the rims is evened out along a level set, over its distance from them: where the
// rims bend away columns from far apart lie side by side, and what they carry would have a step there.
const evenShare = 0.6

// even returns values along the closed level set as means over h mm of its length to either side.
func (l *level) even(v []float64, h float64) []float64 {
	n := len(v)
	at, sum := make([]float64, 3*n+1), make([]float64, 3*n+1)
	for k := range 3 * n {
		i, j := k%n, (k+1)%n
		d := math.Hypot(l.x[j]-l.x[i], l.y[j]-l.y[i]) + 1e-9
		at[k+1], sum[k+1] = at[k]+d, sum[k]+d*(v[i]+v[j])/2
	}
	h = min(h, at[n]/3)
	if h <= 0 {
		return v
	}
	upTo := func(x float64) float64 { // the integral of the values
		k := min(sort.SearchFloat64s(at, x), 3*n) - 1
		k = max(k, 0)
		f := (x - at[k]) / (at[k+1] - at[k])
		a, b := v[k%n], v[(k+1)%n]
		return sum[k] + (x-at[k])*(a+f*(b-a)/2)
	}
	out := make([]float64, n)
	for i := range out {
		x := at[n+i]
		out[i] = (upTo(x+h) - upTo(x-h)) / (2 * h)
	}
	return out
}

// thick is how far behind the skin's border its back lies, mm.
const thick = 9.0

// onward takes the columns on from the last level, where they go across it, to their ends on the border, where they go away from the
// middle.
func (s *socket) onward(cols []column, last *level, far []row) {
	n, m := len(cols), len(far)+1
	p := make([][2]float64, n*m)
	for i := range cols {
		x, y, end := last.x[i], last.y[i], s.o.s[i].end
		l := math.Hypot(end[0]-x, end[1]-y)
		ex, ey := end[0]-s.o.midX, end[1]-s.o.midY
		k := 0.7 * l / math.Hypot(ex, ey)
		p[i] = [2]float64{x, y}
		for j, r := range far {
			t := math.Pow(r.f, 1.6)
			h00, h10 := (1+2*t)*(1-t)*(1-t), 0.6*l*t*(1-t)*(1-t)
			h01, h11 := t*t*(3-2*t), -t*t*(1-t)*k
			p[(j+1)*n+i] = [2]float64{h00*x + h10*last.out[i][0] + h01*end[0] + h11*ex, h00*y + h10*last.out[i][1] + h01*end[1] + h11*ey}
		}
		p[(m-1)*n+i] = end
	}
	for i := range cols {
		c := &cols[i]
		way, before := c.e[len(c.e)-1], c.p[len(c.p)-1]
		for j := 1; j < m; j++ {
			v := geom.Vec{X: p[j*n+i][0], Y: p[j*n+i][1]}
			v.Z, _, _ = s.g.skin(v.X, v.Y)
			way += v.Sub(before).Len()
			before = v
			c.p, c.e = append(c.p, v), append(c.e, way)
		}
	}
}

// lift puts a place of the skin on its column, with the lids' folds.
func (s *socket) lift(v *place, c *column) {
	f := s.folds(v, c.at(v.e))
	v.fold = f
	b := c.at(max(0, v.e-f.over*v.land))
	v.p = b.Mad(f.out*v.land, s.g.evenNormal(b.X, b.Y, 2.5))
}

// frames finds the directions at each place from its neighbours.
func (sh *sheet) frames() {
	n, h := sh.n, len(sh.rows)
	for j := range h {
		for i := range n {
			v := &sh.at[j*n+i]
			a := sh.at[j*n+(i+1)%n].p.Sub(sh.at[j*n+(i+n-1)%n].p)
			b := sh.at[min(j+1, h-2)*n+i].p.Sub(sh.at[max(0, min(j, h-2)-1)*n+i].p)
			v.along = a.Unit()
			v.up = b.Cross(a)
			if l := v.up.Len(); l > 1e-12 {
				v.up = v.up.Mul(1 / l)
			} else {
				v.up = geom.Vec{Z: 1}
			}
			v.out = v.along.Cross(v.up)
		}
	}
}

// zoned finds a place's weights.
func (v *place) zoned() {
	z := zones{}
	switch v.part {
	case beneath:
		z.beneath = 1
	case rearLip, margin, frontLip:
		z.margin = 1
	default:
		far := geom.Smoothstep(5, 11, v.e)
		z.crease = min(1, v.fold.groove)
		z.lid = (1 - z.crease) * (1 - far)
		z.brow = (1 - z.crease) * far * v.upper
		z.cheek = (1 - z.crease) * far * (1 - v.upper)
	}
	v.zone = z
}

// find returns the place of the sheet at a way round the opening (0 to 1) and d mm from the rear lip, between its rows and columns.
func (sh *sheet) find(way, d float64) place {
	n, h := sh.n, len(sh.rows)-1
	way -= math.Floor(way)
	// Columns drift on the skin: look for the one whose places at d have that way.
	in := func(i int) (j int, f float64) {
		j = sort.Search(h, func(j int) bool { return sh.at[j*n+i].d >= d })
		j = max(1, min(j, h-1))
		a, b := sh.at[(j-1)*n+i].d, sh.at[j*n+i].d
		return j, max(0, min(1, (d-a)/(b-a)))
	}
	wayOf := func(i int) float64 {
		j, f := in(i)
		a, b := sh.at[(j-1)*n+i].way, sh.at[j*n+i].way
		if a-b > 0.5 {
			b++
		} else if b-a > 0.5 {
			a++
		}
		return a + f*(b-a)
	}
	i := sort.Search(n, func(i int) bool { return wayOf(i) > way })
	a, b := (i+n-1)%n, i%n
	wa, wb := wayOf(a), wayOf(b)
	if wb <= wa {
		wb++
	}
	if way < wa {
		way++
	}
	g := max(0, min(1, (way-wa)/(wb-wa)))
	mix := func(i int) place {
		j, f := in(i)
		return between(&sh.at[(j-1)*n+i], &sh.at[j*n+i], f)
	}
	p, q := mix(a), mix(b)
	return between(&p, &q, g)
}

// between mixes two neighbouring places.
func between(a, b *place, f float64) place {
	v := *a
	if f > 0.5 {
		v = *b
	}
	m := func(x, y float64) float64 { return x + f*(y-x) }
	if math.Abs(a.way-b.way) < 0.5 {
		v.way, v.arc = m(a.way, b.way), m(a.arc, b.arc)
	}
	v.d, v.e, v.rim, v.t, v.upper, v.land = m(a.d, b.d), m(a.e, b.e), m(a.rim, b.rim), m(a.t, b.t), m(a.upper, b.upper), m(a.land, b.land)
	v.p = geom.Lerp(a.p, b.p, f)
	v.up = geom.Lerp(a.up, b.up, f).Unit()
	v.along = geom.Lerp(a.along, b.along, f)
	v.along = v.along.Mad(-v.along.Dot(v.up), v.up).Unit()
	v.out = v.along.Cross(v.up)
	return v
}
