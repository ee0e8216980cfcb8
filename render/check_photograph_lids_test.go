package render

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

func init() {
	const practice = "common practice, no published source"
	h := humansLidded
	measurePhotographs(
		photoMeasure{"dark run at the outer corner, mm", h, 0, 0.5, "lids lie on the globe: Bron, Tripathi and Tripathi 1997; from memory", outerRun},
		photoMeasure{"red over blue in the crease, over the lid's", h, 0, 1.8, practice, creaseHue},
		photoMeasure{"contrast of the cheek over 0.5 mm, %", h, 2, 5, practice, cheekContrast},
		photoMeasure{"upper lashes, roots a mm", h, 3, 5.9, "90 to 160 over 27 mm: Aumond and Bitton 2018; from memory", rootsOf(true)},
		photoMeasure{"lower lashes, roots a mm", h, 1.8, 3.2, "50 to 80 over 25 mm: Aumond and Bitton 2018; from memory", rootsOf(false)},
		photoMeasure{"row of the upper roots over the lid", h, 0, 0.45, practice, rootsDark},
		photoMeasure{"tear line below the pupil, height as seen, mm", h, 0.03, 0.15, "closed form for an arc of 0.3 mm: 0.025 to 0.10; blurred by a pixel of 0.03", tearLine(0)},
		photoMeasure{"tear line below the pupil, share of its length lit", h, 0.9, 1, practice, tearLine(1)},
		photoMeasure{"inner corner, a* over the cheek's", h, 4, 14, practice, cornerLab(1)},
		photoMeasure{"inner corner, luminance over the cheek's", h, 0.4, 0.9, practice, cornerLab(0)},
		photoMeasure{"inner corner, glints", h, 2, 40, practice, cornerGlints},
		photoMeasure{"lone pixels on skin", h, 0, 0, practice, lonePixels},
		photoMeasure{"brow, hairs across 20 mm", h, 35, 90, "50 strands: Price et al. 2009; from memory", browAcross},
	)
}

// sight is what each pixel shows first: the last word of its object's name, fine hair looked through, and where.
type sight struct {
	part []string
	at   []geom.Vec
}

func (s *photograph) sights() *sight {
	w, h := s.regions.Width, s.regions.Height
	out := &sight{make([]string, w*h), make([]geom.Vec, w*h)}
	sc := accel.NewScratch()
	for i := range w * h {
		if seen := s.p.seen(sc, float64(i%w)+0.5, float64(i/w)+0.5); len(seen) > 0 {
			name := s.p.Scene.Objects[seen[0].Object].Name
			out.part[i], out.at[i] = name[strings.LastIndex(name, ".")+1:], seen[0].P
		}
	}
	return out
}

// rows returns the luminance of the pixels of a list.
func (s *photograph) luminance(list []int) (out []float64) {
	for _, i := range list {
		out = append(out, s.linear.Mean[i].Luminance())
	}
	return out
}

func mean3(pic []colour.RGB, list []int) (m colour.RGB) {
	for _, i := range list {
		m = m.Add(pic[i].Scale(1 / float64(len(list))))
	}
	return m
}

// between the lids: what of eye, corner and water is seen.
func (q *sight) open(i int) bool {
	return slices.Contains([]string{"outer", "corner", "tears"}, q.part[i])
}

// outwards is the sign of X of the way to the outer corner: away from the flesh of the inner one.
func (s *photograph) outwards(q *sight) float64 {
	eye, flesh := 0.0, 0.0
	n, m := 0.0, 0.0
	for i, p := range q.part {
		switch p {
		case "outer":
			eye, n = eye+q.at[i].X, n+1
		case "corner":
			flesh, m = flesh+q.at[i].X, m+1
		}
	}
	if eye/n > flesh/m {
		return 1
	}
	return -1
}

// outerRun is how far along a row, at most, what lies between the lids within 3 mm of the outer corner stays below 0.3 of the white
// there.
func outerRun(_ *testing.T, s *photograph) (float64, bool) {
	q := s.sights()
	way := s.outwards(q)
	tip := math.Inf(-1)
	for i := range q.part {
		if q.open(i) {
			tip = max(tip, way*q.at[i].X)
		}
	}
	var near []int
	for i := range q.part {
		if x := tip - way*q.at[i].X; q.part[i] == "outer" && x > 2.5 && x < 5 {
			near = append(near, i)
		}
	}
	white := quantile(s.luminance(near), 0.5)
	w := s.regions.Width
	longest := 0.0
	for y := range s.regions.Height {
		lo, hi := math.Inf(1), math.Inf(-1)
		for x := range w {
			i := y*w + x
			if d := tip - way*q.at[i].X; q.open(i) && d < 3 && s.linear.Mean[i].Luminance() < 0.3*white {
				lo, hi = min(lo, q.at[i].X), max(hi, q.at[i].X)
				longest = max(longest, hi-lo)
			} else {
				lo, hi = math.Inf(1), math.Inf(-1)
			}
		}
	}
	return longest, len(near) > 20
}

// aboveRim lists skin pixels by their height above the topmost pixel between the lids, in columns within 7 mm of the pupil.
func (s *photograph) aboveRim(q *sight, lo, hi float64) (out []int) {
	w := s.regions.Width
	for x := range w {
		rim := math.NaN()
		for y := range s.regions.Height {
			if i := y*w + x; q.part[i] == "outer" && math.Abs(q.at[i].X-s.middle().X) < 7 {
				rim = q.at[i].Y
				break
			}
		}
		for y := range s.regions.Height {
			if i := y*w + x; q.part[i] == "skin" && q.at[i].Y > rim+lo && q.at[i].Y < rim+hi {
				out = append(out, i)
			}
		}
	}
	return out
}

// middle is the first globe's centre.
func (s *photograph) middle() geom.Vec {
	return s.p.Scene.Objects[s.p.Scene.Eyes[0].Outer].ToWorld.Point(geom.Vec{})
}

// creaseHue takes the darkest twelfth of the skin from 2 to 8 mm above the rim for creases.
func creaseHue(_ *testing.T, s *photograph) (float64, bool) {
	all := s.aboveRim(s.sights(), 2, 8)
	if len(all) < 100 {
		return 0, false
	}
	from := quantile(s.luminance(all), 1./12)
	var dark, rest []int
	for _, i := range all {
		if s.linear.Mean[i].Luminance() < from {
			dark = append(dark, i)
		} else {
			rest = append(rest, i)
		}
	}
	a, b := mean3(s.linear.Mean, dark), mean3(s.linear.Mean, rest)
	return a[0] / a[2] / (b[0] / b[2]), true
}

// closer renders a square of the picture that is mm wide about a place, n pixels across.
func (s *photograph) closer(t *testing.T, at geom.Vec, mm float64, n, samples int) *photograph {
	t.Helper()
	x, y, _, ok := s.p.Scene.Camera.Project(at)
	require.True(t, ok)
	x2, _, _, _ := s.p.Scene.Camera.Project(at.Add(geom.Vec{X: 1}))
	d := s.p.Description
	w, h := float64(d.Picture.Width), float64(d.Picture.Height)
	r := mm * math.Abs(x2-x) / 2
	d, err := Crop(d, Window{(x - r) / w, (y - r) / h, (x + r) / w, (y + r) / h}, n)
	require.NoError(t, err)
	d.Picture.Samples = samples
	p, err := Prepare(context.Background(), d, Options{Cache: built})
	require.NoError(t, err)
	c := &photograph{scene: s.scene, p: p, r: finish(t, p)}
	c.linear, c.regions = c.r.Film.Develop(), p.Regions(Options{})
	return c
}

// cheek is a place of the skin 12 mm below the pupil.
func (s *photograph) cheek() (geom.Vec, bool) {
	q, m := s.sights(), s.middle()
	best, at := math.Inf(1), geom.Vec{}
	for i := range q.part {
		if d := math.Hypot(q.at[i].X-m.X, q.at[i].Y-(m.Y-13)); q.part[i] == "skin" && d < best {
			best, at = d, q.at[i]
		}
	}
	return at, best < 1
}

// cheekContrast is the rms of what boxes of 0.25 mm hold over what boxes of 1 mm about them do, less the grain that the errors tell of.
func cheekContrast(t *testing.T, s *photograph) (float64, bool) {
	at, ok := s.cheek()
	if !ok {
		return 0, false
	}
	const n, mm = 120, 6.0
	c := s.closer(t, at, mm, n, 96)
	box := func(of func(i int) float64, x, y, r int) (sum float64) {
		for j := -r; j <= r; j++ {
			for i := -r; i <= r; i++ {
				sum += of((y+j)*n + x + i)
			}
		}
		return sum / float64((2*r+1)*(2*r+1))
	}
	light := func(i int) float64 { return c.linear.Mean[i].Luminance() }
	grain := func(i int) float64 { e := c.linear.Error[i].Luminance(); return e * e }
	sum, noise, count := 0.0, 0.0, 0.0
	for y := 10; y < n-10; y++ {
		for x := 10; x < n-10; x++ {
			wide := box(light, x, y, 10)
			v := box(light, x, y, 2)/wide - 1
			sum, noise, count = sum+v*v, noise+box(grain, x, y, 2)/25/(wide*wide), count+1
		}
	}
	return 100 * math.Sqrt(max(0, sum-noise)/count), true
}

// hairs returns the hairs of a kind with the transform to the world.
func (s *photograph) hairs(kind string) *frozen.Object {
	for i := range s.p.Scene.Objects {
		if b := &s.p.Scene.Objects[i]; b.Shape == frozen.Strands && strings.HasSuffix(b.Name, "."+kind) {
			return b
		}
	}
	return nil
}

// rootsOf counts the roots of the lashes of one lid over the length of their row.
func rootsOf(upper bool) func(*testing.T, *photograph) (float64, bool) {
	return func(_ *testing.T, s *photograph) (float64, bool) {
		list := s.lashRoots(upper)
		if len(list) < 10 {
			return 0, false
		}
		slices.SortFunc(list, func(a, b geom.Vec) int { return int(math.Copysign(1, a.X-b.X)) })
		// The row is a band: its length goes by means of ten.
		var row []geom.Vec
		for i := 0; i+10 <= len(list); i += 10 {
			var m geom.Vec
			for _, v := range list[i : i+10] {
				m = m.Add(v.Mul(0.1))
			}
			row = append(row, m)
		}
		length := 0.0
		for i := 1; i < len(row); i++ {
			length += row[i].Sub(row[i-1]).Len()
		}
		return float64(10*(len(row)-1)) / length, true
	}
}

// lashRoots lists the roots of one lid's lashes in the world. Upper ones lie above the line between the outermost roots.
func (s *photograph) lashRoots(upper bool) (out []geom.Vec) {
	b := s.hairs("lashes")
	if b == nil {
		return nil
	}
	set := b.Hair.Set()
	var all []geom.Vec
	for i := range set.Hairs() {
		all = append(all, b.ToWorld.Point(set.P[set.Start[i]]))
	}
	lo, hi := all[0], all[0]
	for _, v := range all {
		if v.X < lo.X {
			lo = v
		}
		if v.X > hi.X {
			hi = v
		}
	}
	for _, v := range all {
		line := lo.Y + (hi.Y-lo.Y)*(v.X-lo.X)/(hi.X-lo.X)
		if (v.Y > line) == upper {
			out = append(out, v)
		}
	}
	return out
}

// rootsDark is the luminance of the darkest row within 1.2 mm of the upper roots over that of the lid 3 mm above.
func rootsDark(t *testing.T, s *photograph) (float64, bool) {
	roots := s.lashRoots(true)
	m := s.middle()
	var at geom.Vec
	best := math.Inf(1)
	for _, v := range roots {
		if d := math.Abs(v.X - m.X); d < best {
			best, at = d, v
		}
	}
	if best > 2 {
		return 0, false
	}
	const n, mm = 100, 8.0
	c := s.closer(t, at, mm, n, 24)
	q := c.sights()
	row := func(y int) float64 {
		sum := 0.0
		for x := n / 4; x < 3*n/4; x++ {
			sum += c.linear.Mean[y*n+x].Luminance() / (n / 2)
		}
		return sum
	}
	dark := math.Inf(1)
	for y := n/2 - 15; y <= n/2+15; y++ {
		dark = min(dark, row(y))
	}
	var lid []int
	for i := range q.part {
		if h := q.at[i].Y - at.Y; q.part[i] == "skin" && h > 2 && h < 3.6 {
			lid = append(lid, i)
		}
	}
	return dark / quantile(c.luminance(lid), 0.5), len(lid) > 50
}

// tearLine looks at the water along the lower rim below the pupil, 4 mm of it: 0 is the height of the bright line in it, at half of its
// rise, in the median; 1 the share of columns in which it is 1.5 times as bright as the white above.
func tearLine(what int) func(*testing.T, *photograph) (float64, bool) {
	return func(t *testing.T, s *photograph) (float64, bool) {
		q, m := s.sights(), s.middle()
		low := geom.Vec{Y: math.Inf(1)}
		for i := range q.part {
			if (q.part[i] == "outer" || q.part[i] == "tears") && math.Abs(q.at[i].X-m.X) < 1 && q.at[i].Y < low.Y {
				low = q.at[i]
			}
		}
		const n, mm = 132, 4.0
		c := s.closer(t, low, mm, n, 32)
		near := c.sights()
		var heights []float64
		lit, of := 0.0, 0.0
		for x := range n {
			var water, above []int
			for y := range n {
				i := y*n + x
				switch {
				case near.part[i] == "tears":
					water = append(water, i)
				case near.part[i] == "outer" && len(water) == 0:
					above = append(above, i)
				}
			}
			if len(water) < 3 || len(above) < 5 {
				continue
			}
			of++
			base := quantile(c.luminance(above), 0.5)
			l := c.luminance(water)
			if peak := slices.Max(l); peak > 1.5*base {
				lit++
				wide := 0.0
				for _, v := range l {
					if v > (peak+base)/2 {
						wide += mm / n
					}
				}
				heights = append(heights, wide)
			}
		}
		if of < 40 {
			return 0, false
		}
		if what == 1 {
			return lit / of, true
		}
		return quantile(heights, 0.5), len(heights) > 10
	}
}

// cornerLab compares the flesh of the inner corner with the cheek: a* (1) by difference, luminance (0) by ratio, in the medians.
func cornerLab(k int) func(*testing.T, *photograph) (float64, bool) {
	return func(_ *testing.T, s *photograph) (float64, bool) {
		q, m := s.sights(), s.middle()
		var flesh, cheek []int
		for i, p := range q.part {
			switch {
			case p == "corner":
				flesh = append(flesh, i)
			case p == "skin" && q.at[i].Y < m.Y-9 && q.at[i].Y > m.Y-15 && math.Abs(q.at[i].X-m.X) < 8:
				cheek = append(cheek, i)
			}
		}
		if len(flesh) < 20 || len(cheek) < 100 {
			return 0, false
		}
		if k == 0 {
			return quantile(s.luminance(flesh), 0.5) / quantile(s.luminance(cheek), 0.5), true
		}
		a := func(list []int) float64 {
			var out []float64
			for _, i := range list {
				var c colour.RGB
				for ch := range 3 {
					c[ch] = colour.DecodeSRGB(float64(s.shown.Pix[4*i+ch]) / 255)
				}
				out = append(out, lab(c)[1])
			}
			return quantile(out, 0.5)
		}
		return a(flesh) - a(cheek), true
	}
}

// cornerGlints counts places in the inner corner that outshine their surroundings of 0.6 mm twice.
func cornerGlints(t *testing.T, s *photograph) (float64, bool) {
	q := s.sights()
	var at geom.Vec
	n := 0.0
	for i, p := range q.part {
		if p == "corner" {
			at, n = at.Add(q.at[i]), n+1
		}
	}
	if n < 10 {
		return 0, false
	}
	const side, mm = 120, 6.0
	c := s.closer(t, at.Mul(1/n), mm, side, 32)
	near := c.sights()
	count := 0.0
	for y := 6; y < side-6; y++ {
		for x := 6; x < side-6; x++ {
			i := y*side + x
			if p := near.part[i]; p != "corner" && p != "tears" {
				continue
			}
			l, best, sum := c.linear.Mean[i].Luminance(), true, 0.0
			for j := -6; j <= 6; j++ {
				for k := -6; k <= 6; k++ {
					v := c.linear.Mean[i+j*side+k].Luminance()
					best, sum = best && (v <= l), sum+v/169
				}
			}
			if best && l > 2*sum {
				count++
			}
		}
	}
	return count, true
}

// lonePixels counts pixels of skin whose red is over 3 times the most red among their neighbours.
func lonePixels(_ *testing.T, s *photograph) (float64, bool) {
	q := s.sights()
	w, h := s.regions.Width, s.regions.Height
	n := 0.0
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			i := y*w + x
			if q.part[i] != "skin" {
				continue
			}
			most := 0.0
			for _, k := range []int{-w - 1, -w, -w + 1, -1, 1, w - 1, w, w + 1} {
				most = max(most, s.linear.Mean[i+k][0])
			}
			if s.linear.Mean[i][0] > 3*most {
				n++
			}
		}
	}
	return n, true
}

// browAcross counts the hairs of the brow that grow within 20 mm about the brow's middle and cross its middle line.
func browAcross(_ *testing.T, s *photograph) (float64, bool) {
	b := s.hairs("brows")
	if b == nil {
		return 0, false
	}
	set := b.Hair.Set()
	var x, y []float64
	for i := range set.Hairs() {
		for _, p := range set.P[set.Start[i]:set.Start[i+1]] {
			v := b.ToWorld.Point(p)
			x, y = append(x, v.X), append(y, v.Y)
		}
	}
	middle := quantile(x, 0.5)
	// The middle line: the median height in strips of 2 mm.
	line := map[int]float64{}
	for k := -6; k <= 6; k++ {
		var in []float64
		for i := range x {
			if math.Abs(x[i]-middle-2*float64(k)) < 1 {
				in = append(in, y[i])
			}
		}
		line[k] = quantile(in, 0.5)
	}
	n := 0.0
	for i := range set.Hairs() {
		above, below := false, false
		for _, p := range set.P[set.Start[i]:set.Start[i+1]] {
			v := b.ToWorld.Point(p)
			if math.Abs(v.X-middle) < 10 {
				l := line[int(math.Round((v.X-middle)/2))]
				above, below = above || v.Y > l, below || v.Y < l
			}
		}
		if above && below {
			n++
		}
	}
	return n, true
}
