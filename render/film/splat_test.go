package film

import (
	"bytes"
	"math"
	"testing"

	"catchlight/render/sampler"
	"catchlight/scene/colour"
)

// wanted returns the shared filters that the tests look at: some that reach no further than their pixel, some far.
func wanted(t *testing.T) (out []Filter) {
	for _, kind := range kinds {
		for _, radius := range []float64{0.5, 0.7, 1, 1.5, 4} {
			f, err := NewFilter(kind, radius)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, f)
		}
	}
	return out
}

// Shares sum to 1, coverages exactly, and what a pixel gets of all places is its filter: the share of it within any distance is the filter's own
// distribution (2000 places along one axis).
func TestSpreadIsTheFilter(t *testing.T) {
	const n = 2000
	for _, f := range wanted(t) {
		bins := make([]float64, 41)
		width := 2 * f.radius / float64(len(bins))
		for i := range n {
			s := f.Spread((float64(i)+0.5)/n, 0.3)
			var light float64
			var cover int64
			side := 2*s.reach + 1
			for k, w := range s.light {
				light += w
				cover += s.cover[k]
				at := (s.DX - float64(k%side-s.reach) + f.radius) / width
				if at >= 0 && at < float64(len(bins)) {
					bins[int(at)] += w / n
				}
			}
			if math.Abs(light-1) > 1e-14 || cover != 1<<40 || math.Abs(s.DX) > 0.5 || math.Abs(s.DY) > 0.5 {
				t.Fatalf("%v: shares of %v and %v at %v, %v", f, light, cover, s.DX, s.DY)
			}
		}
		for i, got := range bins {
			from, _ := f.along(-f.radius + float64(i)*width)
			to, _ := f.along(-f.radius + float64(i+1)*width)
			if math.Abs(got-(to-from)) > 2e-3*(to-from)+2e-2/float64(len(bins)) {
				t.Errorf("%v: between %v and %v lies %v of the filter, not %v", f, float64(i)*width-f.radius, float64(i+1)*width-f.radius, got, to-from)
			}
		}
	}
}

// lay traces samples from..to-1 of a tile in a film that pixels share, of light and coverage by pixel, place in the picture, replicate and index.
func lay(f *Film, s *Sample, tile, from, to int, seed uint64, of func(pixel int, x, y float64, r, j uint32) (colour.RGB, float64)) {
	pick := sampler.New(seed)
	x0, y0, x1, y1 := f.Sources(tile)
	for i := from; i < to; i++ {
		r, j := f.Place(i)
		pick.Start(1<<40, r, j)
		w := f.splat.Spread(pick.D2(0, sampler.Pixel, 0))
		s.Turn(tile, r, w)
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				v, a := of((y+99)*20000+x+99, float64(x)+0.5+w.DX, float64(y)+0.5+w.DY, r, j)
				s.BeginAt(x, y, r, w)
				s.Add(0, 1, v.Scale(0.25))
				s.Add(1, 2, v.Scale(0.75))
				s.Cover(a)
				s.End()
			}
		}
	}
	s.Release()
}

func gauss(t *testing.T) *Filter {
	f, err := NewFilter(Gaussian, 1.5)
	if err != nil {
		t.Fatal(err)
	}
	return &f
}

// noisy is light of variance 1/12 about a wave along x of length 8 pixels and height 1/2.
func noisy(pixel int, x, _ float64, r, j uint32) (colour.RGB, float64) {
	v := shade(pixel, r, j)[0]
	return colour.Grey(1 + 0.5*math.Cos(2*math.Pi*x/8) + v), float64(j & 1)
}

// Samples that pixels share against closed forms: the mean is the wave lowered by the filter's Fourier transform; the noise is that of the samples
// times the integral of the squared filter, which is 1/(4 pi s^2) for a Gaussian of deviation s = 1/2, and goes together by
// exp(-d^2/(4 s^2)) at a distance d (the normal law convolved with itself); both within the cut at three deviations. Error bars say it, and Grain what a
// mean over many pixels has.
func TestSharedNoise(t *testing.T) {
	const side, spp = 96, 32
	f := film(t, Config{Width: side, Height: side, SPP: spp, Splat: gauss(t)})
	s := f.Sample()
	for tile := range f.Tiles() {
		lay(f, &s, tile, 0, spp, 1, noisy)
	}
	p := f.Develop()
	var square, told, next, across, bias float64
	var rows [side]float64
	d := make([]float64, side*side)
	for i := range d {
		x := float64(i%side) + 0.5
		d[i] = p.Mean[i][0] - 1.5 - 0.5*math.Exp(-2*math.Pi*math.Pi/64*0.25)*math.Cos(2*math.Pi*x/8)
		rows[i/side] += d[i] / side
	}
	for i := range d {
		square += d[i] * d[i] / side / side
		told += p.Error[i][0] * p.Error[i][0] / side / side
		bias += d[i] / side / side
		if i%side > 0 {
			next += d[i] * d[i-1] / side / side
		}
		if i >= side+1 && i%side > 0 {
			across += d[i] * d[i-side-1] / side / side
		}
	}
	single := 1.0 / 12 / spp
	c := f.config()
	if shared, plain := c.Bytes(), (&Config{Width: side, Height: side, SPP: spp}).Bytes(); shared > plain {
		t.Errorf("shared sums take %d bytes, others %d", shared, plain)
	}
	for _, c := range []struct {
		what              string
		got, want, within float64
	}{
		{"variance over that of single pixels", square / single, 1 / math.Pi, 0.03},
		{"told", told / single, 1 / math.Pi, 0.02},
		{"kept", f.kept, 1 / math.Pi, 0.01},
		{"correlation", next / square, math.Exp(-1), 0.04},
		{"correlation aslant", across / square, math.Exp(-2), 0.04},
		{"alike", p.Alike[1], math.Exp(-1), 0.01},
		{"grain", f.Grain(), math.Pi, 0.05},
		{"bias in standard errors", bias / math.Sqrt(single/side/side), 0, 3},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s: %v, want %v", c.what, c.got, c.want)
		}
	}
	// What the errors of pixels say of a row of them.
	var of float64
	for _, r := range rows {
		of += r * r / side
	}
	if along := math.Sqrt(f.Grain()); math.Abs(of/(told*along/side)-1) > 0.5 {
		t.Errorf("rows have the variance %v, told %v", of, told*along/side)
	}
}

// Light that is the same everywhere comes out without grain and covers all, at the picture's edge, where tiles have unlike numbers of samples, and where a
// neighbour has none.
func TestSharedLightIsWhole(t *testing.T) {
	flat := func(int, float64, float64, uint32, uint32) (colour.RGB, float64) { return colour.RGB{0.3, 0.7, 3.1}, 1 }
	for _, filter := range wanted(t) {
		f := film(t, Config{Width: 37, Height: 18, SPP: 64, Splat: &filter, Layers: []Layer{{"a", 0, AllClasses}}, Passes: []Pass{{Layer{"b", 0, AllClasses}, true}}})
		s := f.Sample()
		for tile, n := range []int{3, 3, 8, 3, 3, 0} {
			lay(f, &s, tile, 0, n, 1, flat)
		}
		p, l := f.Develop(), f.DevelopLayer(0)
		pass, err := f.PassRows(0, 0, 18)
		for i, m := range p.Mean {
			if i/37 >= 16 && i%37 >= 32 {
				if p.Samples[i] != 0 || m != (colour.RGB{}) {
					t.Fatalf("pixel %d: light of a tile without samples", i)
				}
				continue
			}
			for c, want := range []float64{0.3, 0.7, 3.1} {
				if math.Abs(m[c]-want) > 1e-12 || math.Abs(l.Mean[i][c]-want/4) > 1e-12 || math.Abs(pass[i][c]-want/4) > 1e-9 || err[i][c] > 1e-5 {
					t.Fatalf("%v, pixel %d: light %v, layer %v, pass %v with error %v", filter, i, m, l.Mean[i], pass[i], err[i])
				}
			}
			even := i%37 < 16-filter.Reach() && i/37 < 16
			if even && (p.Error[i] != colour.RGB{} || p.Alpha[i] != 1) || math.Abs(p.Alpha[i]-1) > 1e-9 {
				t.Fatalf("%v, pixel %d: error %v, coverage %v", filter, i, p.Error[i], p.Alpha[i])
			}
		}
	}
}

func bytesOf(t *testing.T, f *Film) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := f.Save(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Bits of shared samples depend neither on rounds nor on how tiles or replicates were parted, and survive a file and a budget of memory. Of unlike
// filters, and of single ones, they do not merge.
func TestSharedPartsAddUp(t *testing.T) {
	c := Config{Width: 53, Height: 35, SPP: 24, Splat: gauss(t), Layers: []Layer{{"key", 0, AllClasses}}, Passes: []Pass{{Layer{"fill", 1, AllClasses}, true}}}
	whole := film(t, c)
	s := whole.Sample()
	for tile := range whole.Tiles() {
		lay(whole, &s, tile, 0, 24, 1, noisy)
	}
	want := bytesOf(t, whole)
	rounds := film(t, c)
	s = rounds.Sample()
	for i := range 24 {
		for tile := rounds.Tiles() - 1; tile >= 0; tile-- {
			lay(rounds, &s, tile, i, i+1, 1, noisy)
		}
	}
	if !bytes.Equal(bytesOf(t, rounds), want) {
		t.Error("rounds change bits")
	}
	for name, has := range map[string]func(tile, i, part int) bool{
		"tiles":      func(tile, _, part int) bool { return tile%3 == part },
		"replicates": func(_, i, part int) bool { return i%8%3 == part },
	} {
		sum := film(t, c)
		for part := range 3 {
			f := film(t, c)
			s := f.Sample()
			for tile := range f.Tiles() {
				for i := range 24 {
					if has(tile, i, part) {
						lay(f, &s, tile, i, i+1, 1, noisy)
					}
				}
			}
			if err := sum.Merge(f); err != nil {
				t.Fatal(err)
			}
			if err := sum.Merge(f); err == nil {
				t.Error("a part counts twice")
			}
		}
		if !bytes.Equal(bytesOf(t, sum), want) {
			t.Errorf("parts of %s change bits", name)
		}
	}
	fromFile(t, whole, want)
	other, _ := NewFilter(Gaussian, 1)
	c.Splat = &other
	if err := whole.Merge(film(t, c)); err == nil {
		t.Error("films of two filters merge")
	}
	c.Splat = nil
	if err := whole.Merge(film(t, c)); err == nil {
		t.Error("shared and single samples merge")
	}
}

// fromFile wants a film that was kept and opened with little memory to be the same.
func fromFile(t *testing.T, whole *Film, want []byte) {
	path := t.TempDir() + "/a.film"
	if err := whole.Keep(path); err != nil {
		t.Fatal(err)
	}
	if err := whole.Detach(); err != nil {
		t.Fatal(err)
	}
	back, err := Open(path, Opening{Resident: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer back.Close()
	p, q := whole.Develop(), back.Develop()
	for i := range p.Mean {
		if p.Mean[i] != q.Mean[i] || p.Error[i] != q.Error[i] || p.Alpha[i] != q.Alpha[i] {
			t.Fatal("a file changes bits")
		}
	}
	if !bytes.Equal(bytesOf(t, back), want) {
		t.Error("a file changes sums")
	}
}

// What a tile says alone does not depend on its neighbours, and counts as of the share of the filter that lies in it: of a Gaussian of half a pixel
// Phi(1) at an edge, Phi(1)^2 in a corner, all in the middle and at the picture's edge.
func TestHoldAlone(t *testing.T) {
	f := film(t, Config{Width: 48, Height: 48, SPP: 64, Splat: gauss(t)})
	s := f.Sample()
	lay(f, &s, 4, 0, 64, 1, noisy)
	lay(f, &s, 0, 0, 64, 1, noisy)
	h := f.HoldAlone(4)
	phi := 0.5 * (1 + math.Erf(1/math.Sqrt2))
	for _, c := range []struct {
		x, y int
		want float64
	}{{16, 16, phi * phi}, {16, 24, phi}, {24, 31, phi}, {24, 24, 1}} {
		if got := h.Share(h.At(c.x, c.y)); math.Abs(got-c.want) > 0.01 {
			t.Errorf("share %v at %d, %d, want %v", got, c.x, c.y, c.want)
		}
	}
	mean, e := h.Pixel(h.At(16, 20))
	h.Release()
	h = f.HoldAlone(0)
	if got := h.Share(h.At(0, 0)); math.Abs(got-1) > 1e-9 {
		t.Errorf("share %v in the picture's corner", got)
	}
	h.Release()
	for tile := range f.Tiles() {
		if tile != 4 && tile != 0 {
			lay(f, &s, tile, 0, 8, 1, noisy)
		}
	}
	h = f.HoldAlone(4)
	if m, q := h.Pixel(h.At(16, 20)); m != mean || q != e {
		t.Error("neighbours change what a tile says alone")
	}
	h.Release()
}

// Where tiles have unlike numbers of samples a pixel is a ratio. Its bias over 400 seeds, of light that doubles from pixel to pixel.
func TestUnlikeTilesKeepTheMean(t *testing.T) {
	steep := func(_ int, x, _ float64, _, _ uint32) (colour.RGB, float64) { return colour.Grey(math.Exp2(x - 16)), 1 }
	f := film(t, Config{Width: 32, Height: 1, SPP: 64, Splat: gauss(t)})
	s := f.Sample()
	lay(f, &s, 0, 0, 64, 1, steep)
	lay(f, &s, 1, 0, 64, 1, steep)
	var sum, square, n float64
	for seed := range uint64(400) {
		f := film(t, Config{Width: 32, Height: 1, SPP: 64, Splat: gauss(t)})
		s := f.Sample()
		lay(f, &s, 0, 0, 48, seed, steep)
		lay(f, &s, 1, 0, 64, seed, steep)
		p := f.Develop().Mean[16][0]
		sum, square, n = sum+p, square+p*p, n+1
	}
	// The mean of 2^x under a Gaussian of half a pixel about 0.5, cut at three deviations.
	var want, all float64
	for i := range 3000 {
		x := (float64(i)+0.5)/1000 - 1.5
		w := math.Exp(-2 * x * x)
		want, all = want+w*math.Exp2(x+0.5), all+w
	}
	mean := sum / n
	se := math.Sqrt((square/n - mean*mean) / n)
	t.Logf("%.6f +- %.6f of %.6f", mean, se, want/all)
	if math.Abs(mean-want/all) > 3*se+1e-4 {
		t.Errorf("mean %v +- %v, want %v", mean, se, want/all)
	}
}
