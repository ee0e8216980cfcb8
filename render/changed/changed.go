package changed

import (
	"fmt"
	"math"

	"catchlight/render/film"
	"catchlight/scene/imageio"
)

// Picture is a render with what it says of its noise: planes of W x H values for red, green and blue.
type Picture struct {
	W, H     int
	Mean     [3][]float32
	Error    [3][]float32 // standard error, from Freedom degrees
	Interval [3][]float32 // three sigma, pooled over 3 x 3 pixels and widened for heavy tails; film.Picture.Interval
	Samples  []float32
	Zone     []float32         // part of the eye; nil where the file does not tell
	Grain    float64           // film.Picture.Grain; 0 is 1
	Attrs    map[string]string // what the file says of itself
}

// Read reads a picture that a render left.
func Read(path string) (*Picture, error) {
	f, err := imageio.OpenEXR(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	p := &Picture{W: f.W, H: f.H, Attrs: f.Parts[0].Attrs, Grain: film.GrainOf(f.Parts[0].Attrs[film.GrainAttr])}
	rows, err := f.Rows(0, 0, f.H)
	if err != nil {
		return nil, err
	}
	take := func(name string) []float32 {
		if k := f.Channel(0, name); k >= 0 {
			return rows[k]
		}
		return nil
	}
	for c, n := range []string{"R", "G", "B"} {
		p.Mean[c], p.Error[c], p.Interval[c] = take(n), take("error."+n), take("interval."+n)
		if p.Mean[c] == nil || p.Error[c] == nil || p.Interval[c] == nil {
			return nil, fmt.Errorf("%s: %s", path, silent(p.Attrs))
		}
	}
	if p.Samples = take("samples"); p.Samples == nil {
		return nil, fmt.Errorf("%s: it does not say how many samples it has", path)
	}
	if part := f.Part("zone"); part >= 0 {
		z, err := f.Rows(part, 0, f.H)
		if err != nil {
			return nil, err
		}
		p.Zone = z[0]
	}
	return p, nil
}

// silent says why a file does not tell its noise, and what to do.
func silent(attrs map[string]string) string {
	if attrs["relit"] != "" {
		return "its lights were changed after the render, and how noisy it is then is not known; render with --passes lights,errors and change the lights again"
	}
	return "it does not say how noisy it is; an .exr file of catchlight render, of a sheet or of catchlight relight does"
}

// freedom returns the degrees of freedom of a pixel's own error.
func (p *Picture) freedom(i int) float64 {
	return math.Max(1, math.Min(film.Replicates, float64(p.Samples[i]))-1)
}

// pooled returns the standard error of a pixel's channel, pooled over 3 x 3 pixels, and its degrees of freedom, as its interval of three sigma tells:
// the quantile of Student's t is the interval over the error.
func (p *Picture) pooled(c, x, y int) (err, freedom float64) {
	sum, n := 0.0, 0
	for v := max(0, y-1); v <= min(p.H-1, y+1); v++ {
		for u := max(0, x-1); u <= min(p.W-1, x+1); u++ {
			e := float64(p.Error[c][v*p.W+u])
			sum += e * e
			n++
		}
	}
	err = math.Sqrt(sum / float64(n))
	q := float64(p.Interval[c][y*p.W+x]) / err
	if !(err > 0) || math.IsInf(q, 0) || math.IsNaN(q) {
		return err, 1
	}
	return err, freedomOf(q)
}

// freedomOf inverts the quantile of three sigma: the largest number of degrees of freedom, up to 63, whose quantile is not below q. Files
// hold errors as halves, so q is taken a little larger.
func freedomOf(q float64) float64 {
	q *= 1 + 1.0/1024
	for n := len(quantiles) - 1; n > 1; n-- {
		if quantiles[n] >= q {
			return float64(n)
		}
	}
	return 1
}

// sigma3 is the share of a normal law within three standard deviations.
var sigma3 = math.Erf(3 / math.Sqrt2)

// quantiles are those of three sigma by degrees of freedom.
var quantiles = func() (q [64]float64) {
	for n := 1; n < len(q); n++ {
		q[n] = film.Quantile(sigma3, n)
	}
	return q
}()

// Zone is what was found in one part of the picture.
type Zone struct {
	Name   string     `json:"part"`
	Pixels int        `json:"pixels"`
	Old    [3]float64 `json:"old_mean"`
	New    [3]float64 `json:"new_mean"`
	// Sigmas is the difference of the means over its standard error, of the channel where it is largest.
	Sigmas float64 `json:"sigmas"`
	// Least is the relative change of the mean, in whichever channel, that would have been found at least nineteen times in twenty with the
	// grain of both pictures; 0 where none can be named: a part without light, too much grain, or too much allowed.
	Least   float64 `json:"least_change_found"`
	Marked  int     `json:"pixels_over_three_sigma"`
	Chance  float64 `json:"pixels_over_three_sigma_by_chance"`
	Changed bool    `json:"changed"`
}

// Report says how two pictures differ.
type Report struct {
	Width, Height int
	Same          bool    // to the bit
	Changed       bool    // more than chance allows
	Alarm         float64 // chance of a false alarm that was allowed
	Pixels        int     // that are surely changed by themselves
	Tiles         int     // that are surely changed as a whole, of 16 x 16 pixels
	Zones         []Zone  // the whole picture first
	Worst         float64 // largest difference of a pixel over its standard error
	WorstX        int
	WorstY        int

	Sigmas []float32 // of each pixel: the difference over its standard error, of the channel where it is largest
	Marks  []bool    // pixels beyond three sigma
}

// pair is two pictures under comparison.
type pair struct {
	a, b  *Picture
	allow float64
}

// diff returns by how much a channel of pixel i differs beyond what is allowed and what float32 rounds away.
func (p *pair) diff(c, i int) float64 {
	a, b := float64(p.a.Mean[c][i]), float64(p.b.Mean[c][i])
	return beyond(b-a, max(math.Abs(a), math.Abs(b))*max(p.allow, rounding))
}

// rounding is how exactly a file holds a value.
const rounding = 1e-6

// beyond takes what is allowed off a difference.
func beyond(d, allowed float64) float64 {
	if math.Abs(d) <= allowed {
		return 0
	}
	return d - math.Copysign(allowed, d)
}

// Compare compares two pictures of the same size. alarm in (0, 1) is the chance with which two renders that differ by noise alone are called
// changed; allow is a relative difference that does not count, 0 for none. names are those of the zones.
//
// The alarm is shared by three families of tests, a third each, and within each by its tests (Bonferroni's inequality, which holds whatever depends
// on what): each channel of each pixel, of each tile of 16 x 16 pixels, and of each part of the eye. Each is Welch's test: the difference over the root
// of the sum of both variances against Student's t, with the degrees of freedom of Welch and Satterthwaite. So large pictures raise no more
// false alarms than small ones; a change in one pixel must be larger to count, one of a tile or a part may be far below the noise of a pixel.
//
// Source: Welch, The Generalization of Student's Problem When Several Different Population Variances Are Involved, Biometrika 34 (1947), 28.
func Compare(a, b *Picture, alarm, allow float64, names []string) (*Report, error) {
	if a.W != b.W || a.H != b.H {
		return nil, fmt.Errorf("one picture has %d x %d pixels, the other %d x %d", a.W, a.H, b.W, b.H)
	}
	for _, p := range []*Picture{a, b} {
		for i, n := range p.Samples {
			if n < 2 {
				return nil, fmt.Errorf("pixel %d,%d has %g samples; with fewer than 2 nothing tells its noise", i%p.W, i/p.W, n)
			}
		}
	}
	n := a.W * a.H
	r := &Report{Width: a.W, Height: a.H, Alarm: alarm, Same: true, Sigmas: make([]float32, n), Marks: make([]bool, n)}
	p := &pair{a, b, allow}
	p.pixels(r, alarm/3)
	p.tiles(r, alarm/3)
	p.zones(r, alarm/3, names)
	r.Changed = r.Pixels > 0 || r.Tiles > 0
	for _, z := range r.Zones {
		r.Changed = r.Changed || z.Changed
	}
	return r, nil
}

// critical returns a function of degrees of freedom: beyond how many standard errors a difference is surer than alarm says.
func critical(alarm float64) func(freedom float64) float64 {
	known := map[int]float64{}
	return func(freedom float64) float64 {
		n := max(1, min(int(freedom), 10000))
		if n > 128 {
			n &^= 63 // a little more than needed
		}
		if known[n] == 0 {
			known[n] = film.Quantile(1-alarm, n)
		}
		return known[n]
	}
}

// welch returns the standard error of a difference and its degrees of freedom, of two errors with theirs.
func welch(s, n, t, m float64) (err, freedom float64) {
	v, w := s*s, t*t
	if !(v+w > 0) {
		return 0, 1
	}
	return math.Sqrt(v + w), (v + w) * (v + w) / (v*v/n + w*w/m)
}

// pixels fills the map and counts what is sure by itself.
func (p *pair) pixels(r *Report, alarm float64) {
	a, b := p.a, p.b
	over := critical(alarm / float64(3*len(r.Marks)))
	for i := range r.Marks {
		sure := false
		for c := range 3 {
			r.Same = r.Same && a.Mean[c][i] == b.Mean[c][i]
			d := p.diff(c, i)
			if d == 0 {
				continue
			}
			x, y := i%a.W, i/a.W
			s, n := a.pooled(c, x, y)
			t, m := b.pooled(c, x, y)
			err, freedom := welch(s, n, t, m)
			z := math.Abs(d) / err // without noise it is sure
			if math.IsNaN(z) {
				continue
			}
			// In units of the interval, so that three sigma hold what they say whatever the degrees of freedom.
			sigmas := 3 * math.Abs(d) / math.Hypot(float64(a.Interval[c][i]), float64(b.Interval[c][i]))
			r.Sigmas[i] = max(r.Sigmas[i], float32(min(sigmas, 1e6)))
			if z > over(freedom) {
				sure = true
			}
		}
		r.Marks[i] = r.Sigmas[i] > 3
		if sure {
			r.Pixels++
		}
		if s := float64(r.Sigmas[i]); s > r.Worst {
			r.Worst, r.WorstX, r.WorstY = s, i%a.W, i/a.W
		}
	}
}

// mean is a mean over pixels of both pictures, a channel's.
type mean struct {
	n        int
	old, new float64 // sums
	variance float64 // sum of both errors' squares
	fourth   float64 // of their squares over their degrees of freedom
}

// together returns how many pixels' errors go together in a mean over many. Where pixels share samples these have the same places in all pixels, so along
// a straight edge that follows rows or columns errors go together farther than a grain: the whole side of a tile is taken for it, a bound.
func (p *Picture) together() float64 {
	if !(p.Grain > 1) {
		return 1
	}
	return film.TileSize * math.Sqrt(p.Grain)
}

func (p *pair) add(m *mean, c, i int) {
	m.n++
	m.old += float64(p.a.Mean[c][i])
	m.new += float64(p.b.Mean[c][i])
	for _, q := range []*Picture{p.a, p.b} {
		// Errors that go together add up to more, and tell as much as fewer pixels would.
		v, g := float64(q.Error[c][i]), q.together()
		v *= v * g
		if v-v != 0 {
			continue
		}
		m.variance += v
		m.fourth += v * v * g / q.freedom(i)
	}
}

// sigmas returns the difference over its standard error, and whether that is beyond what over says. Where a few pixels bring most of the
// noise there are few degrees of freedom.
func (m *mean) sigmas(allow float64, over func(freedom float64) float64) (z float64, sure bool) {
	d := beyond(m.new-m.old, max(math.Abs(m.old), math.Abs(m.new))*max(allow, rounding))
	if d == 0 {
		return 0, false
	}
	if !(m.variance > 0) {
		return 1e6, true
	}
	z = min(1e6, math.Abs(d)/math.Sqrt(m.variance))
	return z, z > over(m.variance*m.variance/m.fourth)
}

// power is the quantile of the normal law at 19 in 20: so many standard errors beyond the threshold a true change must lie to be found so often.
var power = math.Sqrt2 * math.Erfinv(2*0.95-1)

// least returns the relative change of the mean that would have been found nineteen times in twenty: what is allowed, the threshold of sigmas,
// and power beyond it. The grain of a picture with so much more light is taken to grow as the light does, as does what is allowed. It is 0 where
// there is no light to be relative to, and where with such grain, or so much allowed, no change is found.
func (m *mean) least(allow float64, over func(freedom float64) float64) float64 {
	light := min(math.Abs(m.old), math.Abs(m.new))
	if light == 0 {
		return 0
	}
	reach := max(allow, rounding)
	if m.variance > 0 {
		reach += (over(m.variance*m.variance/m.fourth) + power) * math.Sqrt(m.variance) / light
	}
	if reach >= 1 {
		return 0
	}
	return reach / (1 - reach)
}

// tiles counts tiles that are surely changed.
func (p *pair) tiles(r *Report, alarm float64) {
	w, h := p.a.W, p.a.H
	const side = film.TileSize
	across, down := (w+side-1)/side, (h+side-1)/side
	over := critical(alarm / float64(3*across*down))
	for t := range across * down {
		var m [3]mean
		for y := t / across * side; y < min(h, (t/across+1)*side); y++ {
			for x := t % across * side; x < min(w, (t%across+1)*side); x++ {
				for c := range m {
					p.add(&m[c], c, y*w+x)
				}
			}
		}
		for c := range m {
			if _, sure := m[c].sigmas(p.allow, over); sure {
				r.Tiles++
				break
			}
		}
	}
}

// zones judges the picture as a whole and by parts.
func (p *pair) zones(r *Report, alarm float64, names []string) {
	of := p.a.Zone
	if of == nil {
		of = p.b.Zone
	}
	if of == nil {
		names = nil
	}
	over := critical(alarm / float64(3*(1+len(names))))
	for k := -1; k < len(names); k++ {
		z := Zone{Name: "picture"}
		if k >= 0 {
			z.Name = names[k]
		}
		var m [3]mean
		for i := range r.Marks {
			if k >= 0 && int(of[i]) != k {
				continue
			}
			z.Pixels++
			if r.Marks[i] {
				z.Marked++
			}
			for c := range m {
				p.add(&m[c], c, i)
			}
		}
		if z.Pixels == 0 {
			continue
		}
		z.Chance = float64(z.Pixels) * (1 - math.Pow(sigma3, 3))
		hidden := false // in some channel any change may hide
		for c := range m {
			s, sure := m[c].sigmas(p.allow, over)
			z.Sigmas, z.Changed = max(z.Sigmas, s), z.Changed || sure
			least := m[c].least(p.allow, over)
			z.Least, hidden = max(z.Least, least), hidden || least == 0 && m[c].old != 0
			z.Old[c], z.New[c] = m[c].old/float64(m[c].n), m[c].new/float64(m[c].n)
		}
		if hidden {
			z.Least = 0
		}
		r.Zones = append(r.Zones, z)
	}
}
