package inspect

import (
	"catchlight/scene/colour"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/geom"
)

// colour looks at a colour map, as it lies on its shell. shared says that one picture is both iris and white.
func (r *Run) colour(m *Map, p *picture, shared bool) {
	f := r.Subject.front(m, p)
	if f == nil {
		return
	}
	limbus := r.Subject.Eye.Limbus.V
	pupil := 0.3 * limbus
	if e := r.Subject.Eye; e.Pupil.Held {
		pupil = e.Pupil.V
	}
	iris := shared || !strings.HasPrefix(m.Key, "sclera.")
	white := shared || !strings.HasPrefix(m.Key, "iris.")
	if iris {
		v := f.zone(func(rho float64) bool { return rho > 1.1*pupil && rho < 0.9*limbus })
		r.irisAlbedo(m, v)
		r.catchlights(m, f, pupil, limbus)
	}
	if white {
		r.whiteAlbedo(m, f.zone(func(rho float64) bool { return rho > 1.25*limbus }))
		r.shading(m, f, 1.3*limbus, math.Inf(1))
	}
	if iris && white {
		r.placed(m, f)
	}
	if iris {
		r.paintedPupil(m, f)
	}
}

// sortedAt is a quantile of sorted values.
func sortedAt(v []float64, q float64) float64 {
	return v[min(len(v)-1, int(q*float64(len(v))))]
}

// whiteAlbedo looks at the reflectance of the white.
func (r *Run) whiteAlbedo(m *Map, v []float64) {
	if len(v) < 100 {
		return
	}
	slices.Sort(v)
	least, most := r.Limit("maps.albedo_least"), r.Limit("maps.albedo_most")
	outside := 0
	for _, x := range v {
		if x < least || x > most {
			outside++
		}
	}
	mid, share := sortedAt(v, 0.5), float64(outside)/float64(len(v))
	f := Finding{Code: "maps.albedo", Part: m.name() + ", white", Number: Held(mid, "", fmt.Sprintf("median reflectance; 1 to 99 %%: %.3f to %.3f", sortedAt(v, 0.01), sortedAt(v, 0.99))),
		Range: Between(r.Limit("maps.white_least"), most, "own choice: a grown person's sclera reflects about half (from memory)")}
	f.Good = f.Range.Holds(mid) && share <= r.Limit("maps.albedo_share")
	if f.Good {
		r.Add(f)
		return
	}
	f.Least = Note
	f.Title = fmt.Sprintf("the white's reflectance is %.2f", mid)
	if f.Range.Holds(mid) {
		f.Title = fmt.Sprintf("%.1f %% of the white lies outside %.2f to %.2f", 100*share, least, most)
		f.Shows = Shows{Levels: 3, Text: "spots that no light balances"}
	} else {
		near := min(max(mid, *f.Range.Low), *f.Range.High)
		f.Shows = Shows{Levels: 255 * math.Abs(colour.EncodeSRGB(mid)-colour.EncodeSRGB(near)), Text: "the white is too dark or too light beside skin in the same light"}
		f.Title += readings(mid)
	}
	f.Most = Warning // a creature's white may be dark
	if mid > most {
		f.Most = Error
	}
	if mid > scattersAll {
		f.Least = Error
		f.Shows.Text = "light never ends in it; the renderer holds colours at 0.98"
	}
	f.Remedy.Step = "bring the white to a reflectance of about 0.5; take light out of the paint"
	r.Add(f)
}

// scattersAll is the reflectance from which a surface gives back all light: colours are held below it.
const scattersAll = 0.98

// readings shows what a reflectance would be were its file read the other way; which of them is meant is not picked.
func readings(v float64) string {
	return fmt.Sprintf(" (%.2f if the file was decoded once too often, %.3f if once too little)", colour.EncodeSRGB(v), colour.DecodeSRGB(v))
}

// irisAlbedo looks at the reflectance of the iris.
func (r *Run) irisAlbedo(m *Map, v []float64) {
	if len(v) < 100 {
		return
	}
	slices.Sort(v)
	mid := sortedAt(v, 0.5)
	f := Finding{Code: "maps.albedo", Part: m.name() + ", iris", Number: Held(mid, "", fmt.Sprintf("median reflectance; 1 to 99 %%: %.3f to %.3f", sortedAt(v, 0.01), sortedAt(v, 0.99))),
		Range: Between(0.003, r.Limit("maps.iris_most"), "own choice: pale blue irises reflect about 0.2 (from memory)")}
	if f.Good = f.Range.Holds(mid); !f.Good {
		near := min(max(mid, *f.Range.Low), *f.Range.High)
		f.Title = fmt.Sprintf("the iris' reflectance is %.3f", mid) + readings(mid)
		f.Shows = Shows{Levels: 255 * math.Abs(colour.EncodeSRGB(mid)-colour.EncodeSRGB(near)), Text: "the iris is a hole, or shines like paper"}
		f.Most, f.Remedy.Step = Warning, "look at both readings; bring the iris to 0.02 to 0.3"
		r.Add(f)
		return
	}
	r.Add(f)
}

// catchlights finds white spots on iris and pupil: bright, without hue, and far above what is about them.
func (r *Run) catchlights(m *Map, f *front, pupil, limbus float64) {
	v := f.zone(func(rho float64) bool { return rho < 0.95*limbus })
	if len(v) < 100 {
		return
	}
	slices.Sort(v)
	mid := sortedAt(v, 0.5)
	bright := max(0.45, 4*mid)
	take := func(k int) bool {
		c, _ := f.colour(k)
		x, y := f.place(k)
		top := max(c[0], c[1], c[2])
		return math.Hypot(x, y) < limbus && luminance(c) > bright && min(c[0], c[1], c[2]) > 0.7*top
	}
	out := Finding{Code: "maps.catchlight", Part: m.name(), Good: true, Number: Held(0, "mm^2", "white spots on iris and pupil"), Range: AtMost(r.Limit("maps.paint_mm2"), "own choice: the mirror image of a lamp 2.5 degrees wide")}
	area, level := 0.0, 0.0
	for _, spot := range f.spots(take) {
		a := float64(len(spot)) * f.cell * f.cell
		if a < r.Limit("maps.paint_mm2") {
			continue
		}
		var sx, sy, l float64
		rim := false
		for _, k := range spot {
			x, y := f.place(k)
			c, _ := f.colour(k)
			sx, sy, l = sx+x, sy+y, l+luminance(c)
			rim = rim || math.Hypot(x, y) > 0.93*limbus
		}
		if rim {
			continue // the white reaches in there
		}
		n := float64(len(spot))
		area, level = area+a, max(level, l/n)
		out.Where = append(out.Where, r.Subject.onFront(m, sx/n, sy/n, math.Sqrt(a)))
	}
	if len(out.Where) > 0 {
		out.Good, out.Least = false, Warning
		out.Number.V = area
		out.Shows = Shows{Levels: 255 * (colour.EncodeSRGB(min(1, level)) - colour.EncodeSRGB(mid)), Text: "a light that stays on the iris when the real one moves"}
		out.Remedy.Step = "paint it out; the renderer mirrors the lights by itself"
	}
	r.Add(out)
}

// onFront is a place on the front of a shell from its distance across and up from the axis, mm.
func (s *Subject) onFront(m *Map, x, y, size float64) Place {
	return Place{Part: m.name(), Size: size, Text: s.Words(s.Eye.Centre.Add(s.Eye.Frame.World(geom.Vec{X: x, Y: y, Z: s.Radius()})))}
}

// shading compares the upper half of a ring with the lower.
func (r *Run) shading(m *Map, f *front, from, to float64) {
	var sum [2]float64
	var n [2]int
	for k := range f.hits {
		c, ok := f.colour(k)
		x, y := f.place(k)
		if rho := math.Hypot(x, y); !ok || rho < from || rho > to || math.Abs(y) < math.Abs(x) {
			continue
		}
		h := 0
		if y < 0 {
			h = 1
		}
		sum[h] += luminance(c)
		n[h]++
	}
	if n[0] < 100 || n[1] < 100 {
		return
	}
	up, down := sum[0]/float64(n[0]), sum[1]/float64(n[1])
	if up+down == 0 {
		return
	}
	share := (down - up) / (down + up) * 2
	out := Finding{Code: "maps.shading", Part: m.name(), Number: Held(share, "", "how much darker the white's upper quarter is than its lower one"),
		Range: Between(-r.Limit("maps.shading"), r.Limit("maps.shading"), "own choice"), Most: Warning}
	if out.Good = out.Range.Holds(share); !out.Good {
		out.Shows = Shows{Levels: 255 * math.Abs(colour.EncodeSRGB(up)-colour.EncodeSRGB(down)), Text: "a lid's shadow that is there without a lid, and twice with one"}
		out.Remedy.Step = "take the gradient out of the paint; lids cast their own shadow"
	}
	r.Add(out)
}

// clock sectors of what is fitted below.
const sectors = 36

// placed looks where the painted iris ends: in each sector of the clock the steepest rise of luminance, and a circle through all.
func (r *Run) placed(m *Map, f *front) {
	limbus := r.Subject.Eye.Limbus.V
	var xs, ys []float64
	for s := range sectors {
		v := smooth(f.ring(s, sectors), 3)
		best, at := 0.0, -1
		for i := int(0.6 * frontCells); i+4 < len(v) && i < int(1.6*frontCells); i++ {
			if d := v[i+3] - v[i-3]; d > best {
				best, at = d, i
			}
		}
		in, out := at-frontCells/8, at+frontCells/8
		if at < 0 || in < 0 || out >= len(v) || !(v[out] > 1.25*v[in]) || best < 0.03 {
			continue
		}
		rho := (float64(at) + 0.5) * f.cell
		a := (float64(s) + 0.5) / sectors * 2 * math.Pi
		xs, ys = append(xs, rho*math.Cos(a)), append(ys, rho*math.Sin(a))
	}
	out := Finding{Code: "maps.limbus", Part: m.name(), Good: true, Number: Number{What: "painted limbus' centre from the mesh's axis", Unit: "mm", Why: "the picture has no clear edge from iris to white"}}
	if len(xs) < sectors*2/3 {
		r.Add(out)
		return
	}
	cx, cy, rad, se := circle(xs, ys)
	off := math.Hypot(cx, cy)
	out.Number = Number{V: off, SE: se, Unit: "mm", What: fmt.Sprintf("painted limbus' centre from the mesh's axis; its radius %.2f, the mesh's %.2f mm", rad, limbus), Held: true}
	worst := off + math.Abs(rad-limbus)
	// Artists paint the limbus as a soft band and shells define it by shape: within a tenth of the radius both are one line.
	out.Range = AtMost(0.04*limbus, "own choice: a twenty-fifth of the limbus' radius")
	if out.Good = off <= 0.04*limbus+2*se && math.Abs(rad-limbus) < 0.12*limbus; !out.Good {
		out.Shows = Shows{Px: r.Px(worst), Levels: 0, Text: "the dark ring and the cornea's edge lie beside each other"}
		out.Where = []Place{r.Subject.onFront(m, cx, cy, off)}
		scale := limbus / rad
		if math.Abs(rad-limbus) < 0.12*limbus { // a soft band: see above
			scale = 1
		}
		texels, key := r.movePicture(m, f, -cx*scale, -cy*scale, scale)
		out.Remedy.Step = fmt.Sprintf("move the picture by (%+.2f, %+.2f) mm%s and scale its iris by %.3f, or set limbus.radius=%.2f", -cx, -cy, texels, limbus/rad, rad)
		out.Remedy.Key = cmp.Or(key, r.key(fmt.Sprintf("limbus.radius=%.3g", rad)))
	}
	r.Add(out)
}

// paintedPupil looks whether the picture's dark disc lies on the mesh's pupil, or on the axis where the mesh has none.
func (r *Run) paintedPupil(m *Map, f *front) {
	e := r.Subject.Eye
	limbus := e.Limbus.V
	v := f.zone(func(rho float64) bool { return rho > 0.5*limbus && rho < 0.9*limbus })
	if len(v) < 100 {
		return
	}
	slices.Sort(v)
	iris := sortedAt(v, 0.5)
	var xs, ys []float64
	for s := range sectors {
		w := smooth(f.ring(s, sectors), 2)
		for i := 2; i < int(0.75*frontCells); i++ {
			// Where there is the mesh's hole, values are missing and no comparison holds.
			if w[i-1] < 0.35*iris && w[i] < 0.35*iris && w[i+1] >= 0.35*iris {
				a := (float64(s) + 0.5) / sectors * 2 * math.Pi
				rho := (float64(i) + 1) * f.cell
				xs, ys = append(xs, rho*math.Cos(a)), append(ys, rho*math.Sin(a))
				break
			}
		}
	}
	out := Finding{Code: "maps.pupil", Part: m.name(), Good: true, Number: Number{What: "painted pupil's centre from the mesh's", Unit: "mm", Why: "the picture has no dark disc about the axis"}}
	if len(xs) < sectors/3 { // a third of the clock holds a circle; the mesh's hole may hide the rest
		r.Add(out)
		return
	}
	cx, cy, rad, se := circle(xs, ys)
	hx, hy := 0.0, 0.0
	if e.Hole.Open {
		hx, hy = e.Hole.Offset[0], e.Hole.Offset[1]
	}
	off := math.Hypot(cx-hx, cy-hy)
	out.Number = Number{V: off, SE: se, Unit: "mm", What: fmt.Sprintf("painted pupil's centre (radius %.2f mm) from the mesh's", rad), Held: true}
	out.Range = AtMost(0.06*limbus, "own choice: a sixteenth of the limbus' radius; living pupils sit up to 0.5 mm aside (from memory)")
	if out.Good = off <= 0.06*limbus+2*se; !out.Good {
		out.Shows = Shows{Px: r.Px(off), Text: "a dark crescent beside the pupil"}
		out.Where = []Place{r.Subject.onFront(m, cx, cy, off)}
		texels, key := r.movePicture(m, f, hx-cx, hy-cy, 1)
		out.Remedy.Step = fmt.Sprintf("move the picture by (%+.2f, %+.2f) mm%s; a round pupil does not say whether it is turned", hx-cx, hy-cy, texels)
		out.Remedy.Key = key
	}
	r.Add(out)
}

// smooth averages over 2 n + 1 neighbours that are there.
func smooth(v []float64, n int) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		s, k := 0.0, 0
		for j := max(0, i-n); j <= min(len(v)-1, i+n); j++ {
			if !math.IsNaN(v[j]) {
				s, k = s+v[j], k+1
			}
		}
		out[i] = math.NaN()
		if k > 0 && !math.IsNaN(v[i]) {
			out[i] = s / float64(k)
		}
	}
	return out
}

// circle fits a circle to places, with the standard error of its centre: algebraic, once more without places that lie off by more
// than three times the median. Source: Kasa, IEEE Trans. Instrum. Meas. 25 (1976), 8.
func circle(xs, ys []float64) (cx, cy, rad, se float64) {
	keep := make([]bool, len(xs))
	for i := range keep {
		keep[i] = true
	}
	for range 3 {
		var n, sx, sy, sxx, syy, sxy, sxz, syz, sz float64
		for i, ok := range keep {
			if !ok {
				continue
			}
			x, y := xs[i], ys[i]
			z := x*x + y*y
			n, sx, sy, sz = n+1, sx+x, sy+y, sz+z
			sxx, syy, sxy, sxz, syz = sxx+x*x, syy+y*y, sxy+x*y, sxz+x*z, syz+y*z
		}
		a, b, c := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
		d, e := (sxz-sx*sz/n)/2, (syz-sy*sz/n)/2
		det := a*c - b*b
		if det <= 0 {
			return 0, 0, 0, math.Inf(1)
		}
		cx, cy = (d*c-b*e)/det, (a*e-b*d)/det
		rad = math.Sqrt(max(0, sz/n-2*(cx*sx+cy*sy)/n+cx*cx+cy*cy))
		var res []float64
		rms := 0.0
		for i := range xs {
			q := math.Abs(math.Hypot(xs[i]-cx, ys[i]-cy) - rad)
			res = append(res, q)
			if keep[i] {
				rms += q * q
			}
		}
		se = math.Sqrt(rms/max(1, n-3)) * math.Sqrt(2/n)
		sorted := slices.Clone(res)
		slices.Sort(sorted)
		bound := 3*sorted[len(sorted)/2] + 1e-9
		for i := range keep {
			keep[i] = res[i] <= bound
		}
	}
	return cx, cy, rad, se
}
