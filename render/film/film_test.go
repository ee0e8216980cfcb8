package film

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"catchlight/render/sampler"
	"catchlight/scene/colour"
)

func film(t testing.TB, c Config) *Film {
	t.Helper()
	f, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// shade is a noisy radiance that depends on the pixel and the sample alone.
func shade(pixel int, replicate, sample uint32) colour.RGB {
	s := sampler.New(1)
	s.Start(uint64(pixel), replicate, sample)
	r := s.Stream(0, sampler.Test, 0)
	return colour.RGB{r.Float64(), 3 * r.Float64(), -math.Log(r.Float64())}
}

func render(f *Film, s *Sample, tile, spp int) {
	x0, y0, x1, y1 := f.Tile(tile)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			for i := 0; i < spp; i++ {
				r, j := f.Place(i)
				p := y*f.width + x
				s.Begin(p, r)
				v := shade(p, r, j)
				s.Add(0, 1, v)
				s.Add(1, 2, v.Scale(0.1))
				s.Cover(float64(i & 1))
				s.End()
			}
		}
	}
}

// Tiles cover every pixel once, also where the picture ends inside a tile.
func TestTiles(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {16, 16}, {17, 40}, {160, 33}} {
		f := film(t, Config{Width: size[0], Height: size[1], SPP: 1})
		seen := make([]int, size[0]*size[1])
		for i := 0; i < f.Tiles(); i++ {
			x0, y0, x1, y1 := f.Tile(i)
			for y := y0; y < y1; y++ {
				for x := x0; x < x1; x++ {
					seen[y*size[0]+x]++
				}
			}
		}
		if slices.Min(seen) != 1 || slices.Max(seen) != 1 {
			t.Errorf("%v: pixels covered %d to %d times", size, slices.Min(seen), slices.Max(seen))
		}
	}
}

// The bits of every developed number are the same for one worker and for seven, in any order of tiles.
func TestWorkersDoNotMatter(t *testing.T) {
	c := Config{Width: 70, Height: 50, SPP: 20, Layers: []Layer{{"key", 0, AllClasses}}}
	one := film(t, c)
	s := one.Sample()
	for i := 0; i < one.Tiles(); i++ {
		render(one, &s, i, 20)
	}
	many := film(t, c)
	var group sync.WaitGroup
	for w := 0; w < 7; w++ {
		group.Add(1)
		go func() {
			defer group.Done()
			s := many.Sample()
			for i := many.Tiles() - 1 - w; i >= 0; i -= 7 {
				render(many, &s, i, 20)
			}
		}()
	}
	group.Wait()
	same(t, one.Develop(), many.Develop())
	same(t, one.DevelopLayer(0), many.DevelopLayer(0))
}

func same(t *testing.T, a, b Picture) {
	t.Helper()
	if !slices.Equal(a.Mean, b.Mean) || !slices.Equal(a.Error, b.Error) || !slices.Equal(a.Alpha, b.Alpha) ||
		!slices.Equal(a.Samples, b.Samples) || a.Dropped != b.Dropped {
		t.Error("pictures differ")
	}
}

// Asking for layers changes no bit of the picture; layers hold what they pick and add up to the whole.
func TestLayers(t *testing.T) {
	bare := film(t, Config{Width: 20, Height: 10, SPP: 12})
	f := film(t, Config{Width: 20, Height: 10, SPP: 12, Layers: []Layer{
		{"key", 0, AllClasses}, {"fill", 1, AllClasses}, {"other light", 2, AllClasses},
		{"class 2", Any, 1 << 2}, {"all", Any, AllClasses},
	}})
	for _, g := range []*Film{bare, f} {
		s := g.Sample()
		for i := 0; i < g.Tiles(); i++ {
			render(g, &s, i, 12)
		}
	}
	whole := f.Develop()
	same(t, bare.Develop(), whole)
	same(t, whole, f.DevelopLayer(4))
	key, fill, none, class := f.DevelopLayer(0), f.DevelopLayer(1), f.DevelopLayer(2), f.DevelopLayer(3)
	for i, m := range whole.Mean {
		for c := range m {
			if d := key.Mean[i][c] + fill.Mean[i][c] - m[c]; math.Abs(d) > 1e-14*m[c] {
				t.Fatalf("pixel %d: layers miss the whole by %g", i, d)
			}
			if math.Abs(fill.Mean[i][c]-m[c]/11) > 1e-14*m[c] || class.Mean[i] != fill.Mean[i] || none.Mean[i][c] != 0 {
				t.Fatalf("pixel %d: layers pick the wrong contributions", i)
			}
		}
	}
}

// The mean and the error of one pixel against the textbook formulas, for counts that do and do not divide evenly.
func TestMeanAndError(t *testing.T) {
	f := film(t, Config{Width: 1, Height: 1, SPP: 4})
	s := f.Sample()
	values := []float64{1, 5, 2, 8, 3, 5, 4, 0} // replicates: (1, 3), (5, 5), (2, 4), (8, 0): means 2, 5, 3, 4
	for i, v := range values {
		r, _ := f.Place(i)
		s.Begin(0, r)
		s.Add(0, 0, colour.Grey(v))
		s.End()
	}
	p := f.Develop()
	// Mean 3.5; deviations -1.5, 1.5, -.5, .5: sum of squares 5, standard error sqrt(5/(4*3)).
	if p.Mean[0][1] != 3.5 || math.Abs(p.Error[0][1]-math.Sqrt(5.0/12)) > 1e-15 || p.Samples[0] != 8 || p.Freedom != 3 {
		t.Errorf("mean %v, error %v, %d samples", p.Mean[0], p.Error[0], p.Samples[0])
	}
	s.Begin(0, 0)
	s.Add(0, 0, colour.Grey(12.5))
	s.End()
	if p = f.Develop(); math.Abs(p.Mean[0][0]-(28+12.5)/9) > 1e-15 {
		t.Errorf("mean of 9 samples %v", p.Mean[0])
	}
}

// Intervals of the t quantile hold the truth as often as they say: 4000 pixels of exponential noise, mean of 64 samples
// in 8 replicates, 95 %; the truth is the closed form 1. The count is binomial with a deviation of 0.34 %; exponential
// noise with 8 samples in a replicate skews the interval a little, so 1.5 % are allowed.
func TestCoverage(t *testing.T) {
	f := film(t, Config{Width: 80, Height: 50, SPP: 64})
	s := f.Sample()
	for i := 0; i < f.Tiles(); i++ {
		render(f, &s, i, 64)
	}
	p := f.Develop()
	q := Quantile(0.95, p.Freedom)
	in := 0
	for i := range p.Mean {
		if math.Abs(p.Mean[i][2]-1.1) <= q*p.Error[i][2] {
			in++
		}
	}
	if c := float64(in) / float64(len(p.Mean)); math.Abs(c-0.95) > 0.015 {
		t.Errorf("95 %% intervals hold the truth in %.2f %%", 100*c)
	}
}

// Intervals hold the truth too where light is rare: mean 1, of 64 samples, the closed form of each law. Without regard to the
// tails they held 94.8 and 99.06 % (one sample in 33), 87.2 and 94.9 % (one in 100) and 91.6 and 98.8 % (log-normal).
func TestIntervalsAdmitRareLight(t *testing.T) {
	rare := func(p float64) func(u, v, w float64) float64 {
		return func(u, v, w float64) float64 {
			if u >= p {
				return 0
			}
			return -math.Log(v) / p
		}
	}
	for _, c := range []struct {
		name            string
		of              func(u, v, w float64) float64
		low, high, rest float64 // %: 95 % intervals hold low to high, those of three sigma all but rest
	}{
		{"one in 33", rare(0.03), 93, 97.5, 0.4}, // 96.5 to 97.1 with seven seeds
		{"one in 100", rare(0.01), 91, 97, 3},
		{"log-normal", func(u, v, w float64) float64 {
			return math.Exp(2*math.Sqrt(-2*math.Log(v))*math.Cos(2*math.Pi*w) - 2)
		}, 93, 97, 0.6},
		{"even", func(u, v, w float64) float64 { return 2 * u }, 94, 96, 0.4},
	} {
		f := film(t, Config{Width: 60, Height: 60, SPP: 64})
		s := f.Sample()
		smp := sampler.New(7)
		for p := range 3600 {
			for i := range 64 {
				k, j := f.Place(i)
				smp.Start(uint64(p), k, j)
				r := smp.Stream(0, sampler.Test, 0)
				s.Begin(p, k)
				s.Add(0, 0, colour.Grey(c.of(r.Float64(), r.Float64(), r.Float64())))
				s.End()
			}
		}
		p := f.Develop()
		held := func(confidence float64) float64 {
			half, in := p.Interval(confidence), 0
			for i := range half {
				if math.Abs(p.Mean[i][0]-1) <= half[i][0] {
					in++
				}
			}
			return 100 * float64(in) / float64(len(half))
		}
		a, b := held(0.95), held(0.9973)
		t.Logf("%s: %.2f %% within 95 %%, %.2f %% within three sigma", c.name, a, b)
		if a < c.low || a > c.high || b < 100-c.rest {
			t.Errorf("%s: intervals of 95 %% hold the truth in %.2f %%, want %g to %g; of three sigma in %.2f %%, want %g", c.name, a, c.low, c.high, b, 100-c.rest)
		}
	}
}

// A film whose replicates are parts of one net takes its variance as netShare of what their spread says, where all are there, and
// still does when it was saved and read again. Nothing else changes.
func TestOneNet(t *testing.T) {
	fill := func(replicates int, oneNet bool) *Film {
		f := film(t, Config{Width: 3, Height: 2, SPP: 64, OneNet: oneNet})
		s := f.Sample()
		smp := sampler.New(7)
		for p := range 6 {
			for i := range 64 {
				k, j := f.Place(i)
				if int(k) >= replicates {
					continue
				}
				smp.Start(uint64(p), k, j)
				s.Begin(p, k)
				s.Add(0, 0, colour.Grey(smp.D1(0, sampler.Test, 0)))
				s.End()
			}
		}
		return f
	}
	for _, c := range []struct {
		replicates int
		share      float64
	}{{Replicates, netShare}, {Replicates / 2, 1}} {
		net := fill(c.replicates, true)
		var b bytes.Buffer
		if err := net.Save(&b); err != nil {
			t.Fatal(err)
		}
		again, err := reopen(t, t.TempDir(), b.Bytes(), Opening{})
		if err != nil {
			t.Fatal(err)
		}
		a, p, q := fill(c.replicates, false).Develop(), net.Develop(), again.Develop()
		for i := range p.Mean {
			want := a.Error[i].Scale(math.Sqrt(c.share))
			if p.Mean[i] != a.Mean[i] || math.Abs(p.Error[i][0]/want[0]-1) > 1e-12 || q.Error[i] != p.Error[i] {
				t.Errorf("%d replicates, pixel %d: error %v, read again %v, want %v", c.replicates, i, p.Error[i], q.Error[i], want)
			}
		}
	}
}

// Student's t, two-sided 95 % and 99 % (Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.10).
func TestQuantile(t *testing.T) {
	for _, c := range []struct {
		confidence float64
		freedom    int
		want       float64
	}{{.95, 7, 2.365}, {.95, 1, 12.706}, {.99, 7, 3.499}, {.99, 30, 2.750}, {.95, 120, 1.980}} {
		if got := Quantile(c.confidence, c.freedom); math.Abs(got-c.want) > 6e-4 {
			t.Errorf("%v with %d: %v, want %v", c.confidence, c.freedom, got, c.want)
		}
	}
}

// Samples that are not finite leave no trace but their count, in layers too.
func TestDropsNonFinite(t *testing.T) {
	f := film(t, Config{Width: 2, Height: 1, SPP: 8, Layers: []Layer{{"all", Any, AllClasses}}})
	s := f.Sample()
	for i, v := range []float64{2, math.NaN(), math.Inf(1), math.Inf(-1), 1e200, 4} {
		s.Begin(1, uint32(i))
		s.Add(0, 0, colour.RGB{1, v, 1})
		s.Add(0, 0, colour.RGB{1, 1, 1})
		s.Cover(1)
		s.End()
	}
	for _, p := range []Picture{f.Develop(), f.DevelopLayer(0)} {
		if p.Mean[1] != (colour.RGB{2, 4, 2}) || p.Samples[1] != 2 || p.Dropped != 4 || p.Alpha[1] != 1 {
			t.Errorf("mean %v of %d samples, %d dropped", p.Mean[1], p.Samples[1], p.Dropped)
		}
		if p.Mean[0] != (colour.RGB{}) || !math.IsNaN(p.Error[0][0]) || p.Samples[0] != 0 {
			t.Errorf("empty pixel: %v, error %v", p.Mean[0], p.Error[0])
		}
	}
}

// One sample has a mean but no error.
func TestOneSample(t *testing.T) {
	f := film(t, Config{Width: 1, Height: 1, SPP: 1})
	s := f.Sample()
	s.Begin(0, 0)
	s.Add(0, 0, colour.RGB{1, 2, 3})
	s.End()
	if p := f.Develop(); p.Mean[0] != (colour.RGB{1, 2, 3}) || !math.IsNaN(p.Error[0][0]) {
		t.Errorf("mean %v error %v", p.Mean[0], p.Error[0])
	}
}

// Replicates rendered apart and merged, in any order, give the bits of one run; what overlaps or does not fit is
// refused.
func TestMerge(t *testing.T) {
	c := Config{Width: 33, Height: 17, SPP: 24, Layers: []Layer{{"key", 0, AllClasses}}}
	whole := film(t, c)
	part := [3]*Film{film(t, c), film(t, c), film(t, c)}
	for p := 0; p < 33*17; p++ {
		for i := 0; i < 24; i++ {
			r, j := whole.Place(i)
			for _, f := range []*Film{whole, part[r%3]} {
				s := f.Sample()
				s.Begin(p, r)
				s.Add(0, 0, shade(p, r, j))
				s.Cover(float64(i % 5))
				if p%7 == 0 && i >= 12 { // dropped, in each of the parts
					s.Add(0, 0, colour.Grey(math.NaN()))
				}
				s.End()
			}
		}
	}
	got := film(t, c)
	for _, i := range []int{2, 0, 1} {
		if err := got.Merge(part[i]); err != nil {
			t.Fatal(err)
		}
	}
	same(t, whole.Develop(), got.Develop())
	same(t, whole.DevelopLayer(0), got.DevelopLayer(0))
	if whole.Dropped(0) != 12 || !got.Equal(whole) {
		t.Errorf("merged parts differ in sums, coverage, counts or dropped samples (%d of 12 in the first pixel)", got.Dropped(0))
	}
	if err := got.Merge(part[1]); err == nil || !strings.Contains(err.Error(), "replicate 1 of pixel (0, 0) is in both") {
		t.Errorf("overlap: %v", err)
	}
	c.Width = 34
	if err := got.Merge(film(t, c)); err == nil || !strings.Contains(err.Error(), "33 x 17") {
		t.Errorf("size: %v", err)
	}
	c.Width, c.Layers = 33, []Layer{{"key", 1, AllClasses}}
	if err := got.Merge(film(t, c)); err == nil || !strings.Contains(err.Error(), `"key"`) {
		t.Errorf("layers: %v", err)
	}
	same(t, whole.Develop(), got.Develop())
}

func TestErrors(t *testing.T) {
	for _, c := range []struct {
		config Config
		want   string
	}{
		{Config{Width: 0, Height: 5, SPP: 1}, "0 x 5 pixels is outside [1, 16384]"},
		{Config{Width: 1, Height: 1 << 40, SPP: 1}, "outside [1, 16384]"},
		{Config{Width: 1, Height: 1}, "0 samples per pixel"},
		{Config{Width: 16384, Height: 16384, SPP: 64, Layers: make([]Layer, 65)}, "65 layers; at most 64"},
		{Config{Width: 16384, Height: 16384, SPP: 64, Layers: []Layer{{"a", 0, 1}, {"b", 0, 1}, {"c", 0, 1}, {"d", 0, 1}}}, "the limit is 275 GB"},
		{Config{Width: 100, Height: 100, SPP: 8, MaxBytes: 1e6}, "need 0.00292 GB; the limit is 0.001 GB"},
		{Config{Width: 1, Height: 1, SPP: 1, Layers: []Layer{{"a", 0, 1}, {"a", 1, 1}}}, `the name "a" is taken`},
		{Config{Width: 1, Height: 1, SPP: 1, Layers: []Layer{{"a", 0, 0}}}, "pick nothing"},
	} {
		if _, err := New(c.config); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.config, err, c.want)
		}
	}
	if _, err := NewFilter(Gaussian, math.NaN()); err == nil {
		t.Error("NaN radius accepted")
	}
	if _, err := NewFilter(Box+1, 1); err == nil {
		t.Error("unknown filter accepted")
	}
	if _, err := ParseFilter("cubic"); err == nil || !strings.Contains(err.Error(), `"cubic"`) {
		t.Error("unknown filter name accepted")
	}
}

func TestNoAllocation(t *testing.T) {
	f := film(t, Config{Width: 4, Height: 4, SPP: 8, Layers: []Layer{{"key", 0, AllClasses}}})
	s := f.Sample()
	if a := testing.AllocsPerRun(100, func() {
		s.Begin(3, 1)
		s.Add(0, 1, colour.Grey(1))
		s.End()
	}); a != 0 {
		t.Errorf("%v allocations a sample", a)
	}
}

func BenchmarkSample(b *testing.B) {
	for _, n := range []int{0, 6} {
		c := Config{Width: 64, Height: 64, SPP: 8}
		for i := 0; i < n; i++ {
			c.Layers = append(c.Layers, Layer{string(rune('a' + i)), i, AllClasses})
		}
		f := film(b, c)
		s := f.Sample()
		b.Run(map[bool]string{true: "bare", false: "layers=6"}[n == 0]+"/adds=4", func(b *testing.B) {
			i := 0
			for b.Loop() {
				s.Begin(i&4095, uint32(i&7))
				for l := 0; l < 4; l++ {
					s.Add(l, 1, colour.RGB{1, 2, 3})
				}
				s.End()
				i++
			}
		})
	}
}

// DevelopLayer returns the picture of layer i alone; its alpha is that of the whole picture.
func (f *Film) DevelopLayer(i int) Picture { return f.develop(0, f.height, i) }

// Equal reports whether two films have the same shape and the same bits.
func (f *Film) Equal(g *Film) bool {
	var a, b bytes.Buffer
	return f.Save(&a) == nil && g.Save(&b) == nil && bytes.Equal(a.Bytes(), b.Bytes())
}
