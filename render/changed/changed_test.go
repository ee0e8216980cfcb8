package changed

import (
	"math"
	"slices"
	"strings"
	"testing"

	"catchlight/render/film"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
)

// law draws one sample of light of mean 1.
type law func(u, v, w float64) float64

var laws = map[string]law{
	"even":        func(u, _, _ float64) float64 { return 2 * u },
	"exponential": func(_, v, _ float64) float64 { return -math.Log(v) },
	"rare": func(u, v, _ float64) float64 {
		if u >= 0.03 {
			return 0
		}
		return -math.Log(v) / 0.03
	},
	"log-normal": func(_, v, w float64) float64 {
		return math.Exp(1.5*math.Sqrt(-2*math.Log(v))*math.Cos(2*math.Pi*w) - 1.125)
	},
}

// noisy is a picture of that light, as a file holds it; scale is what each pixel shows.
func noisy(t testing.TB, w, h, spp int, seed uint64, of law, scale func(x, y int) float64) *Picture {
	t.Helper()
	return of.picture(t, w, h, spp, seed, scale, nil)
}

// shared is noisy of samples that pixels share.
func shared(t testing.TB, w, h, spp int, seed uint64, of law, scale func(x, y int) float64) *Picture {
	t.Helper()
	filter, err := film.NewFilter(film.Gaussian, 1.5)
	if err != nil {
		t.Fatal(err)
	}
	return of.picture(t, w, h, spp, seed, scale, &filter)
}

func (of law) picture(t testing.TB, w, h, spp int, seed uint64, scale func(x, y int) float64, splat *film.Filter) *Picture {
	t.Helper()
	f, err := film.New(film.Config{Width: w, Height: h, SPP: spp, Splat: splat})
	if err != nil {
		t.Fatal(err)
	}
	s := f.Sample()
	smp := sampler.New(seed)
	for tile := range f.Tiles() {
		if splat == nil {
			break
		}
		x0, y0, x1, y1 := f.Sources(tile)
		for i := range spp {
			replicate, j := f.Place(i)
			smp.Start(1<<40, replicate, j)
			spread := splat.Spread(smp.D2(0, sampler.Pixel, 0))
			s.Turn(tile, replicate, spread)
			for p := range (x1 - x0) * (y1 - y0) {
				x, y := x0+p%(x1-x0), y0+p/(x1-x0)
				smp.Start(uint64((y+9)*9999+x+9), replicate, j)
				r := smp.Stream(0, sampler.Test, 0)
				s.BeginAt(x, y, replicate, spread)
				s.Add(0, 0, colour.Grey(scale(x, y)*of(r.Float64(), r.Float64(), r.Float64())).Mul(colour.RGB{1, 0.5, 2}))
				s.End()
			}
		}
	}
	for p := range w * h {
		if splat != nil {
			break
		}
		k := scale(p%w, p/w)
		for i := range spp {
			replicate, j := f.Place(i)
			smp.Start(uint64(p), replicate, j)
			r := smp.Stream(0, sampler.Test, 0)
			s.Begin(p, replicate)
			s.Add(0, 0, colour.Grey(k*of(r.Float64(), r.Float64(), r.Float64())).Mul(colour.RGB{1, 0.5, 2}))
			s.End()
		}
	}
	pic := f.Develop()
	half := pic.Interval(sigma3)
	p := &Picture{W: w, H: h, Grain: pic.Grain()}
	for c := range 3 {
		p.Mean[c], p.Error[c], p.Interval[c] = make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
		for i := range pic.Mean {
			p.Mean[c][i], p.Error[c][i], p.Interval[c][i] = float32(pic.Mean[i][c]), float32(pic.Error[i][c]), float32(half[i][c])
		}
	}
	p.Samples = make([]float32, w*h)
	for i, n := range pic.Samples {
		p.Samples[i] = float32(n)
	}
	p.Zone = make([]float32, w*h)
	for i := range p.Zone {
		p.Zone[i] = float32(i % w * 3 / w)
	}
	return p
}

func flat(int, int) float64 { return 1 }

// Pictures that differ by noise alone are called changed no more often than was allowed, whatever the law of the noise, the size and the number
// of samples: 40 pairs of each, allowed one in ten: 4 +- 1.9; the tests are many and the bound is for their union, so fewer.
func TestFalseAlarms(t *testing.T) {
	for _, c := range []struct {
		law     string
		w, h, n int
		make    func(testing.TB, int, int, int, uint64, law, func(x, y int) float64) *Picture
	}{
		{"even", 24, 20, 16, noisy}, {"exponential", 24, 20, 16, noisy}, {"exponential", 40, 33, 64, noisy}, {"rare", 24, 20, 64, noisy},
		{"log-normal", 24, 20, 32, noisy}, {"exponential", 24, 20, 16, shared}, {"rare", 24, 20, 64, shared},
	} {
		alarms, marked, pixels := 0, 0, 0
		for k := range 40 {
			a := c.make(t, c.w, c.h, c.n, uint64(1000+2*k), laws[c.law], flat)
			b := c.make(t, c.w, c.h, c.n, uint64(1001+2*k), laws[c.law], flat)
			r, err := Compare(a, b, 0.1, 0, []string{"left", "middle", "right"})
			if err != nil {
				t.Fatal(err)
			}
			if r.Changed {
				alarms++
			}
			for _, m := range r.Marks {
				pixels++
				if m {
					marked++
				}
			}
		}
		t.Logf("%s, %d x %d, %d samples: %d alarms of 40, %.2f %% beyond three sigma", c.law, c.w, c.h, c.n, alarms, 100*float64(marked)/float64(pixels))
		if alarms > 9 { // 4 + 2.6 standard deviations
			t.Errorf("%s, %d samples: %d false alarms of 40", c.law, c.n, alarms)
		}
		// The same noise in all three channels, so about 0.27 %.
		if q := float64(marked) / float64(pixels); q > 0.008 {
			t.Errorf("%s: %.2f %% are beyond three sigma", c.law, 100*q)
		}
	}
}

// What did change is found: one pixel by much, one tile and one part by less than the noise of a pixel; an allowance leaves out what is smaller.
func TestFindsChanges(t *testing.T) {
	const w, h = 48, 40
	old := noisy(t, w, h, 64, 1, laws["exponential"], flat) // a pixel's error is 1/8
	for _, c := range []struct {
		name         string
		scale        func(x, y int) float64
		allow        float64
		want         bool
		pixels, tile bool
		zone         string
	}{
		{"nothing", flat, 0, false, false, false, ""},
		{"a pixel", func(x, y int) float64 {
			if x == 20 && y == 30 {
				return 6
			}
			return 1
		}, 0, true, true, false, ""},
		{"a tile by half its pixels' noise", func(x, y int) float64 {
			if x/16 == 1 && y/16 == 1 {
				return 1.09
			}
			return 1
		}, 0, true, false, true, ""},
		{"a part by a third of it", func(x, _ int) float64 {
			if x*3/w == 2 {
				return 1.045
			}
			return 1
		}, 0, true, false, false, "right"},
		{"a part by less than is allowed", func(x, _ int) float64 {
			if x*3/w == 2 {
				return 1.045
			}
			return 1
		}, 0.06, false, false, false, ""},
	} {
		r, err := Compare(old, noisy(t, w, h, 64, 2, laws["exponential"], c.scale), 0.01, c.allow, []string{"left", "middle", "right"})
		if err != nil {
			t.Fatal(err)
		}
		if r.Changed != c.want || c.pixels && r.Pixels == 0 || c.tile && r.Tiles == 0 {
			t.Errorf("%s: %+v", c.name, r.Zones)
		}
		if c.zone != "" && !slices.ContainsFunc(r.Zones, func(z Zone) bool { return z.Name == c.zone && z.Changed }) {
			t.Errorf("%s: part %s is not named: %+v", c.name, c.zone, r.Zones)
		}
		if c.pixels && (r.WorstX != 20 || r.WorstY != 30 || !r.Marks[30*w+20]) {
			t.Errorf("%s: worst at %d,%d", c.name, r.WorstX, r.WorstY)
		}
	}
	same, err := Compare(old, old, 0.01, 0, nil)
	if err != nil || same.Changed || !same.Same || same.Worst != 0 {
		t.Errorf("a picture and itself: %+v, %v", same, err)
	}
}

// The change that would have been found is: of all channels of a part by that much, nineteen times in twenty or more; by a fifth of it hardly
// ever, though it is said of pictures that do not differ. 60 pairs: fewer than 51 found have a chance of 1 in 1000 at 0.95 (binomial).
// More is allowed, more must be there.
func TestLeastChangeIsFound(t *testing.T) {
	names := []string{"left", "middle", "right"}
	right := func(by float64) func(x, y int) float64 {
		return func(x, _ int) float64 {
			if x*3/24 == 2 {
				return 1 + by
			}
			return 1
		}
	}
	zone := func(seed uint64, by, allow float64) Zone {
		a, b := noisy(t, 24, 20, 32, seed, laws["exponential"], flat), noisy(t, 24, 20, 32, seed+1, laws["exponential"], right(by))
		r, err := Compare(a, b, 0.01, allow, names)
		if err != nil {
			t.Fatal(err)
		}
		return r.Zones[3]
	}
	for _, allow := range []float64{0, 0.05} {
		least := 0.0
		for k := range 20 {
			least += zone(uint64(5000+2*k), 0, allow).Least / 20
		}
		// By hand: 160 pixels of 32 samples of an exponential law have a mean of error 1/sqrt(5120); two of them; the threshold is 3.64, that of
		// 0.01/3/12 of the normal law on both sides; both errors and what is allowed are of the new light.
		k := allow + (3.64+1.645)*math.Sqrt(2./5120)
		if want := k / (1 - k); math.Abs(least/want-1) > 0.15 {
			t.Errorf("allowed %v: a change of %.4f is said to be found, by hand %.4f", allow, least, want)
		}
		found, small := 0, 0
		for k := range 60 {
			if zone(uint64(6000+2*k), least, allow).Changed {
				found++
			}
			if zone(uint64(7000+2*k), least/5, allow).Changed {
				small++
			}
		}
		t.Logf("allowed %v: %.2f %% found in %d of 60, a fifth of it in %d", allow, 100*least, found, small)
		if found < 51 || small > 6 {
			t.Errorf("allowed %v: a change of %.4f is found in %d of 60, a fifth of it in %d", allow, least, found, small)
		}
	}
	dark := noisy(t, 24, 20, 8, 3, laws["even"], func(int, int) float64 { return 0 })
	if r, err := Compare(dark, dark, 0.01, 0, names); err != nil || r.Zones[1].Least != 0 {
		t.Errorf("no light: %+v, %v", r, err)
	}
	if z := zone(1, 0, 1); z.Least != 0 {
		t.Errorf("all is allowed, and %v is said to be found", z.Least)
	}
}

// A change without noise is sure, and what float32 rounds is none. Pictures that can't be compared say why.
func TestEdges(t *testing.T) {
	one := func(of func(x, y int) float64) *Picture {
		return noisy(t, 20, 18, 8, 3, func(_, _, _ float64) float64 { return 1 }, of)
	}
	for scale, want := range map[float64]bool{1: false, 1 + 3e-7: false, 1.001: true} {
		r, err := Compare(one(flat), one(func(int, int) float64 { return scale }), 0.01, 0, nil)
		if err != nil || r.Changed != want {
			t.Errorf("without noise, times %v: changed %t, %v", scale, r.Changed, err)
		}
	}
	small := noisy(t, 4, 4, 8, 1, laws["even"], flat)
	bare := noisy(t, 20, 18, 1, 1, laws["even"], flat)
	for want, p := range map[string]*Picture{"20 x 18 pixels, the other 4 x 4": small, "pixel 0,0 has 1 samples": bare} {
		if _, err := Compare(one(flat), p, 0.01, 0, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// Degrees of freedom come back from the interval that a file holds in halves: never more than there were.
func TestFreedomFromIntervals(t *testing.T) {
	for _, n := range []int{4, 7, 28, 42, 63} {
		q := film.Quantile(sigma3, n)
		for _, round := range []float64{1 - 1./2048, 1, 1 + 1./2048} {
			if got := freedomOf(q * round); got > float64(n) || got < 0.6*float64(n) {
				t.Errorf("%d degrees come back as %v", n, got)
			}
		}
	}
}
