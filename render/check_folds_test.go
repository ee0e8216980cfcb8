package render

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
)

// plane is a receiving rectangle about a point of an eye's frame in a plane of constant z: n x m cells in rows from the top left,
// pitch mm.
type plane struct {
	x, y, z float64
	n, m    int
	pitch   float64
}

// thrown is light of irradiance 1 from direction l (unit, the eye's frame) thrown forward through an eye's outer shell onto
// a plane: mean irradiance of each cell. Each triangle of the shell is cut into parts x parts beams; Snell's law at a beam's
// corners, with normals that run straight between the triangle's corners, says where it lands, and its light is spread evenly
// there, on a grid of sub x sub points a cell. What the shell itself keeps off, on the way in or to the plane, is left out. It
// shares nothing with the solver: no seeds, no Newton, no weights, no random numbers.
//
// Source: Watt, Light-Water Interaction using Backward Beam Tracing, SIGGRAPH 1990 (from memory).
func thrown(s *frozen.Scene, l geom.Vec, g plane, parts, sub int) []float64 {
	e := &s.Eyes[0]
	t := &thrower{l: l, g: g, e: e, outer: s.Objects[e.Outer].BVH, inner: s.Objects[e.Inner].BVH, sc: accel.NewScratch(),
		w: g.n * sub, h: g.m * sub, step: g.pitch / float64(sub)}
	t.fine = make([]float64, t.w*t.h)
	k := parts + 1
	rays := make([]ray, k*k)
	shell := s.Objects[e.Outer].Mesh
	for _, tri := range shell.Tri {
		a, b, c := shell.P[tri[0]], shell.P[tri[1]], shell.P[tri[2]]
		cross := b.Sub(a).Cross(c.Sub(a))
		if cross.Dot(l) <= 0 || max(a.Z, b.Z, c.Z) < g.z {
			continue
		}
		t.up, t.flux = cross.Unit(), cross.Dot(l)/2/float64(parts*parts)
		for j := range k {
			for i := range k - j {
				u, v := float64(i)/float64(parts), float64(j)/float64(parts)
				rays[j*k+i] = t.bend(geom.Mix(a, b, c, u, v), geom.Mix(shell.N[tri[0]], shell.N[tri[1]], shell.N[tri[2]], u, v).Unit())
			}
		}
		for j := range parts {
			for i := range parts - j {
				t.beam(&rays[j*k+i], &rays[j*k+i+1], &rays[(j+1)*k+i])
				if i+j+1 < parts {
					t.beam(&rays[j*k+i+1], &rays[(j+1)*k+i+1], &rays[(j+1)*k+i])
				}
			}
		}
	}
	out := make([]float64, g.n*g.m)
	for i, v := range t.fine {
		out[i/t.w/sub*g.n+i%t.w/sub] += v / float64(sub*sub)
	}
	return out
}

// thrower throws the beams of one triangle after another.
type thrower struct {
	l            geom.Vec
	g            plane
	e            *frozen.Eye
	outer, inner *accel.BVH
	sc           *accel.Scratch
	w, h         int // points across and down
	step         float64
	fine         []float64 // by point
	up           geom.Vec  // of the triangle: its normal, and the flux of each of its beams before the surface
	flux         float64
}

// ray is a corner of a beam.
type ray struct {
	p    geom.Vec
	at   geom.UV // where it lands
	pass float64 // share that the surface lets in
	ok   bool
}

// bend follows light in at a point with that normal; at the horizon it goes along the surface, and nothing passes.
func (t *thrower) bend(p, n geom.Vec) ray {
	index := t.e.Index
	cos := max(0, n.Dot(t.l))
	q := math.Sqrt(1 - (1-cos*cos)/(index*index))
	d := t.l.Mul(-1/index).Mad(n.Dot(t.l)/index-q, n)
	r := ray{p: p}
	if cos > 0 {
		rs, rp := (cos-index*q)/(cos+index*q), (q-index*cos)/(q+index*cos)
		r.pass = 1 - (rs*rs+rp*rp)/2
	}
	h := (t.g.z - p.Z) / d.Z
	r.ok = h > 0
	hit := p.Mad(h, d)
	r.at = geom.UV{U: hit.X, V: hit.Y}
	return r
}

// seen reports whether the shells leave free the way in to y and from there to x.
func (t *thrower) seen(y, x geom.Vec) bool {
	if t.outer.Occluded(t.sc, y.Mad(1e-4, t.up), t.l, 0, math.Inf(1)) {
		return false
	}
	from := y.Mad(-1e-4, t.up)
	way := x.Sub(from)
	return !t.outer.Occluded(t.sc, from, way, 0, 1) && !t.inner.Occluded(t.sc, from, way, 0, 1)
}

// beam spreads the light between three rays over the points between where they land.
func (t *thrower) beam(x, y, z *ray) {
	if !x.ok || !y.ok || !z.ok {
		return
	}
	flux := t.flux * (x.pass + y.pass + z.pass) / 3
	q := [3]geom.UV{x.at, y.at, z.at}
	area := ((q[1].U-q[0].U)*(q[2].V-q[0].V) - (q[2].U-q[0].U)*(q[1].V-q[0].V)) / 2
	if flux <= 0 || area == 0 {
		return
	}
	col := func(x float64) float64 { return (x-t.g.x)/t.step + float64(t.w-1)/2 }
	row := func(y float64) float64 { return float64(t.h-1)/2 - (y-t.g.y)/t.step }
	x0, x1 := max(0, int(math.Ceil(col(min(q[0].U, q[1].U, q[2].U))))), min(t.w-1, int(math.Floor(col(max(q[0].U, q[1].U, q[2].U)))))
	y0, y1 := max(0, int(math.Ceil(row(max(q[0].V, q[1].V, q[2].V))))), min(t.h-1, int(math.Floor(row(min(q[0].V, q[1].V, q[2].V)))))
	for yy := y0; yy <= y1; yy++ {
		for xx := x0; xx <= x1; xx++ {
			px, py := (float64(xx)-float64(t.w-1)/2)*t.step+t.g.x, (float64(t.h-1)/2-float64(yy))*t.step+t.g.y
			u := ((px-q[0].U)*(q[2].V-q[0].V) - (q[2].U-q[0].U)*(py-q[0].V)) / (2 * area)
			v := ((q[1].U-q[0].U)*(py-q[0].V) - (px-q[0].U)*(q[1].V-q[0].V)) / (2 * area)
			if u >= 0 && v >= 0 && u+v <= 1 && t.seen(geom.Mix(x.p, y.p, z.p, u, v), geom.Vec{X: px, Y: py, Z: t.g.z}) {
				t.fine[yy*t.w+xx] += flux / math.Abs(area)
			}
		}
	}
}

// fold is a cornea, a light and a plane on which the light folds.
type fold struct {
	name           string
	azimuth, depth float64 // degrees; mm of the iris below the apex, the plane lies 0.1 mm before it
	set            []string
}

func folds() []fold {
	const c = "objects.eye.cornea."
	return []fold{
		{"sphere, 85 degrees, 5 mm", 85, 5, nil},
		{"wobble 0.015 of 1.5 mm, 75 degrees, 5 mm", 75, 5, []string{c + "wobble=0.015", c + "wobble_size=1.5"}},
		{"asphericity -0.26, 85 degrees, 4.8 mm", 85, 4.8, []string{c + "asphericity=-0.26"}},
		{"wobble 0.02 of 2.5 mm, 80 degrees, 5 mm", 80, 5, []string{c + "wobble=0.02", c + "wobble_size=2.5"}},
		{"wobble 0.015 of 1.5 mm, 75 degrees, 3.6 mm", 75, 3.6, []string{c + "wobble=0.015", c + "wobble_size=1.5"}},
		{"wobble 0.01 of 1 mm, 75 degrees, 5.5 mm", 75, 5.5, []string{c + "wobble=0.01", c + "wobble_size=1"}},
		{"wobble 0.04 of 4 mm, 85 degrees, 5 mm", 85, 5, []string{c + "wobble=0.04", c + "wobble_size=4"}},
		{"the default wobble, 85 degrees, 3.6 mm", 85, 3.6, []string{c + "wobble=0.012", c + "asphericity=-0.26"}},
		{"sphere, 88 degrees, 5 mm", 88, 5, nil},
	}

}

// plainApex is the height of a smooth sphere's apex in the eye's frame, made once.
func plainApex(t *testing.T) float64 {
	t.Helper()
	onceApex.Do(func() {
		theApex = apex(prepare(t, fmt.Sprintf(`
camera: {kind: plate, normal: [0, 0, 1], width: 1, target: [0, 0, 8]}
lights: [{name: lamp, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, `+plainEye+`}]
`, 3.6, 2.0, 0.0)))
	})
	return theApex
}

var (
	onceApex sync.Once
	theApex  float64
)

// prepare makes the scene: n x n points 9.6 mm across, each pixel looking at its middle alone.
func (f *fold) prepare(t *testing.T, angle float64, n, samples int, more ...string) (*Prepared, plane) {
	t.Helper()
	const yaml = `
picture: {width: %d, height: %d, samples: %d, filter: box, filter_width: 1}
camera: {kind: plate, normal: [0, 0, 1], width: 9.6, target: [%g, %g, %g]}
lights: [{name: lamp, kind: distant, angle: %g, orbit: {azimuth: %g}, irradiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, ` + plainEye + `}]
`
	const x, y = 0.00731, 0.00317 // off the rows and diagonals on which corners of the shell lie
	g := plane{x, y, plainApex(t) - f.depth + 0.1, n, n, 9.6 / float64(n)}
	p := prepare(t, fmt.Sprintf(yaml, n, n, samples, x, y, g.z, angle, f.azimuth, f.depth, 2.0, 0.0), append(more, f.set...)...)
	p.Filter = film.Filter{}
	return p, g
}

// thrown is the mean over directions spread evenly over a light of the given diameter in degrees.
func (f *fold) thrown(p *Prepared, g plane, angle float64, parts, directions int) []float64 {
	s, c := math.Sincos(f.azimuth * math.Pi / 180)
	fr := geom.NewFrame(geom.Vec{X: s, Z: c})
	sum := make([]float64, g.n*g.m)
	for k := range directions {
		r := math.Sqrt((float64(k)+0.5)/float64(directions)) * math.Tan(angle*math.Pi/360)
		if directions == 1 {
			r = 0
		}
		b, a := math.Sincos(float64(k) * math.Pi * (3 - math.Sqrt(5)))
		for i, v := range thrown(p.Scene, fr.World(geom.Vec{X: r * a, Y: r * b, Z: 1}).Unit(), g, parts, 1) {
			sum[i] += v / float64(directions)
		}
	}
	return sum
}

// onlyOne takes the tables out of a scene, so that the solver's one path is all that is found.
func onlyOne(p *Prepared) {
	for i := range p.Scene.Beams {
		if p.Scene.Beams[i] != nil {
			p.Scene.Beams[i] = &frozen.Beams{}
		}
	}
}

// seenBy returns the traced irradiance at a prepared fold's points.
func seenBy(t *testing.T, p *Prepared) ([]float64, *Stats) {
	t.Helper()
	r := finish(t, p)
	pic := r.Film.Develop()
	out := make([]float64, len(pic.Mean))
	for i := range out {
		out[i] = pic.Mean[i][1]
	}
	return out, &r.Stats
}

// cells are means over blocks of m x m points, and what is off between two such maps.
type cells struct {
	energy, bright float64 // share of all light that is there, and of the tenth of the cells that are brightest
	uncut          float64 // energy without the cut
	over05, over1  float64 // shares of the cells that are off by more than 0.5 and 1 %
	middle         float64 // median of what cells are off by
	dark           int     // cells that get nothing and should get at least 0.02
}

// brightest is where irradiance is cut, both ways: on the very line of a fold it has no end, and a few points there would be all
// the noise.
const brightest = 5

func compareCells(got, want []float64, n, m int) (c cells) {
	k := n / m
	g, w := make([]float64, k*k), make([]float64, k*k)
	var sumG, sumW, allG, allW float64
	for i := range want {
		q := i/n/m*k + i%n/m
		a, b := min(got[i], brightest), min(want[i], brightest)
		g[q] += a / float64(m*m)
		w[q] += b / float64(m*m)
		sumG, sumW = sumG+a, sumW+b
		allG, allW = allG+got[i], allW+want[i]
		if x, y := i%n, i/n; got[i] == 0 && want[i] >= 0.03 && x > 0 && y > 0 && x < n-1 && y < n-1 &&
			min(want[i-1], want[i+1], want[i-n], want[i+n]) > 0 {
			c.dark++
		}
	}
	c.energy, c.uncut = sumG/sumW, allG/allW
	order := slices.Clone(w)
	slices.Sort(order)
	top := order[len(order)*9/10]
	var bg, bw float64
	var off []float64
	for i := range w {
		if w[i] >= top {
			bg, bw = bg+g[i], bw+w[i]
		}
		if w[i] < 0.02 {
			continue
		}
		off = append(off, math.Abs(g[i]/w[i]-1))
	}
	c.bright = bg / bw
	for _, o := range off {
		if o > 0.005 {
			c.over05 += 1 / float64(len(off))
		}
		if o > 0.01 {
			c.over1 += 1 / float64(len(off))
		}
	}
	slices.Sort(off)
	c.middle = off[len(off)/2]
	return c
}

// Where light folds, and along the horizon of the cornea, all of it is found, in the bright cells too; what is not found when
// the tables are taken out is told to within a factor of two.
func TestFoldsKeepTheLight(t *testing.T) {
	for _, f := range folds()[:4] {
		t.Run(f.name, func(t *testing.T) {
			p, g := f.prepare(t, 0.006, 240, 1)
			want := f.thrown(p, g, 0, 3, 1)
			got, stats := seenBy(t, p)
			c := compareCells(got, want, g.n, 16)
			t.Logf("found %.4f of all light and %.4f of the brightest, nothing at %d points; told %.4f, at most %.4f", c.energy, c.bright, c.dark, stats.NotFound, stats.NotFoundMost)
			assert.InDelta(t, 1, c.energy, 0.01)
			assert.InDelta(t, 1, c.bright, 0.01)
			assert.LessOrEqual(t, c.dark, 2)
			assert.Less(t, stats.NotFound, 0.002)
			assert.Greater(t, stats.NotFoundMost, 2.9/1600)
			onlyOne(p)
			got, stats = seenBy(t, p)
			one := compareCells(got, want, g.n, 16)
			lost := c.uncut - one.uncut // at the very same points
			t.Logf("one path alone: found %.4f and %.4f, nothing at %d points; told %.4f", one.uncut, one.bright, one.dark, stats.NotFound)
			assert.Greater(t, lost, 0.003, "this one folds, or the test tests nothing")
			assert.Less(t, stats.NotFound, 2*lost)
			assert.Greater(t, stats.NotFound, lost/2)
		})
	}
}

// The same under a sun half a degree wide.
func TestFoldsKeepTheSun(t *testing.T) {
	for _, f := range folds()[1:2] {
		t.Run(f.name, func(t *testing.T) {
			p, g := f.prepare(t, 0.5, 96, 16)
			want := f.thrown(p, g, 0.5, 3, 24)
			got, stats := seenBy(t, p)
			c := compareCells(got, want, g.n, 8)
			t.Logf("found %.4f of all light and %.4f of the brightest; told %.4f, at most %.4f", c.energy, c.bright, stats.NotFound, stats.NotFoundMost)
			assert.InDelta(t, 1, c.energy, 0.01)
			assert.InDelta(t, 1, c.bright, 0.01)
			assert.LessOrEqual(t, c.dark, 2)
		})
	}
}

// All folds, parallel light and a sun half a degree wide, on shells with fine facets; and how well the loss is told.
func TestFoldsLong(t *testing.T) {
	row := longTable(t, "folds", "Irradiance on planes where light folds behind the cornea, 9.6 x 9.6 mm, against light thrown forward through the same shell\n"+
		"(facets of 0.125 mm). Found: share of all light, and of the tenth of the cells that are brightest. Off: the median over the cells, 0.32 x 0.32 mm,\n"+
		"and the shares of them off by more than 0.5 and 1 %. One path alone: the same share without tables, and what the report tells is lost then.\n\n"+
		"| fold | light, degrees | found | of the brightest | points with nothing | off, median | over 0.5 % | over 1 % | told lost | at most | one path alone: found | points with nothing | told lost |\n"+
		"| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	for i, f := range folds() {
		for _, angle := range []float64{0.006, 0.5} {
			if angle > 0.1 && i >= 4 {
				continue
			}
			n, samples, directions := 600, 1, 1
			if angle > 0.1 {
				n, samples, directions = 150, 32, 60
			}
			p, g := f.prepare(t, angle, n, samples, "objects.eye.globe.facet_error=0.0005")
			want := f.thrown(p, g, angle, 3, directions)
			got, s := seenBy(t, p)
			c := compareCells(got, want, g.n, n/30)
			if angle > 0.1 {
				row("| %s | %g | %.4f | %.4f | %d | %.4f | %.3f | %.3f | %.5f | %.5f | | | |", f.name, angle, c.energy, c.bright, c.dark, c.middle, c.over05, c.over1,
					s.NotFound, s.NotFoundMost)
				assert.InDelta(t, 1, c.energy, 0.01)
				assert.InDelta(t, 1, c.bright, 0.01)
				continue
			}
			onlyOne(p)
			got, s1 := seenBy(t, p)
			one := compareCells(got, want, g.n, n/30)
			row("| %s | %g | %.4f | %.4f | %d | %.4f | %.3f | %.3f | %.5f | %.5f | %.4f | %d | %.4f |", f.name, angle, c.energy, c.bright, c.dark, c.middle, c.over05, c.over1,
				s.NotFound, s.NotFoundMost, one.uncut, one.dark, s1.NotFound)
			assert.InDelta(t, 1, c.energy, 0.01)
			assert.InDelta(t, 1, c.bright, 0.01)
			// What is left is the width of facets: light that grazes them meets the flat facet here and bent normals in the tracer.
			assert.Less(t, c.middle, 0.005+0.0008*max(0, f.azimuth-85))
			if lost := c.uncut - one.uncut; lost > 0.003 {
				assert.Less(t, s1.NotFound, 2*lost)
				assert.Greater(t, s1.NotFound, lost/2)
			}
		}
	}
}

// Tables change no mean: lamps of 5 degrees' radius, which chance meets too, on corneas that fold their light; a path that
// chance takes is weighed against the very same roots. Means agree within three standard errors, none above 1.5 %.
func TestTablesKeepTheMean(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: %d, seed: %d, filter: box, filter_width: 1}
camera: {kind: plate, normal: [0, 0, 1], width: 4, target: [-2, 0, %g]}
advanced: {manifold: %t}
lights: [%s]
objects: [{name: eye, shape: eye, ` + plainEye + `}]
`
	const c = "objects.eye.cornea."
	const (
		distant = "{name: lamp, kind: distant, angle: 10, orbit: {azimuth: 75}, irradiance: [1, 1, 1]}"
		near    = "{name: lamp, kind: sphere, radius: 5.5, orbit: {azimuth: 72, distance: 60}, radiance: [100, 100, 100]}"
	)
	z := plainApex(t) - 4.9
	for _, q := range []struct {
		name, lamp string
		spp        int
		set        []string
	}{
		{"distant", distant, 512, []string{c + "wobble=0.015", c + "wobble_size=1.5"}},
		{"near ball", near, 512, []string{c + "wobble=0.015", c + "wobble_size=1.5"}},
	} {
		t.Run(q.name, func(t *testing.T) {
			with := prepare(t, fmt.Sprintf(yaml, q.spp, 1, z, true, q.lamp, 5.0, 2.0, 0.0), q.set...)
			share, _ := with.Scene.Beams[0].Listed()
			assert.Greater(t, share, 0.1, "or the tables are not asked")
			r := finish(t, with)
			pic := r.Film.Develop()
			m, se := mean(&pic, 1, nil)
			without := trace(t, fmt.Sprintf(yaml, 24*q.spp, 2, z, false, q.lamp, 5.0, 2.0, 0.0), q.set...)
			pic = without.Film.Develop()
			m0, se0 := mean(&pic, 1, nil)
			both := math.Hypot(se, se0)
			t.Logf("%.5f +- %.5f, by chance %.5f +- %.5f (%+.1f standard errors); %d of %d checks agreed; %.1f and %.1f s", m, se, m0, se0, (m-m0)/both,
				r.Stats.SolverAgreed, r.Stats.SolverChecks, r.Stats.Seconds, without.Stats.Seconds)
			assert.LessOrEqual(t, both, 0.015*m)
			assert.InDelta(t, m0, m, 3*both)
			assert.Greater(t, float64(r.Stats.SolverAgreed), 0.97*float64(r.Stats.SolverChecks))
		})
	}
}
