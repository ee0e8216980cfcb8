package sampler

import (
	"math"
	"math/bits"
	"testing"
)

// The first points of the unscrambled sequence, Joe and Kuo 2008 (in the order of the index, not of the Gray code):
// every dimension of point 1 is 1/2; points 2 and 3 of dimensions 0 to 3 are .25 .75 .75 .75 and .75 .25 .25 .25.
func TestSobolFirstPoints(t *testing.T) {
	want := [][4]float64{
		{0, 0, 0, 0}, {.5, .5, .5, .5}, {.25, .75, .75, .75}, {.75, .25, .25, .25},
		{.125, .625, .375, .125}, {.625, .125, .875, .625}, {.375, .375, .625, .875}, {.875, .875, .125, .375},
	}
	for i, w := range want {
		r := sobol(uint32(i))
		got := [4]float64{plain(bits.Reverse32(uint32(i))), plain(bits.Reverse32(r[0])),
			plain(bits.Reverse32(r[1])), plain(bits.Reverse32(r[2]))}
		if got != w {
			t.Errorf("point %d: %v, want %v", i, got, w)
		}
	}
}

func plain(x uint32) float64 { return float64(x) / (1 << 32) }

// The table against the plain loop over direction numbers, at indices of every size.
func TestSobolTable(t *testing.T) {
	var r Stream
	r.step = 0x9e3779b97f4a7c15
	for n := 0; n < 2000; n++ {
		i := uint32(r.Uint64()) >> (n & 31)
		got := sobol(i)
		for d := range got {
			v, x := directions(d), uint32(0)
			for k := range v {
				if i>>k&1 == 1 {
					x ^= v[k]
				}
			}
			if bits.Reverse32(got[d]) != x {
				t.Fatalf("index %#x dimension %d: %#x, want %#x", i, d+1, bits.Reverse32(got[d]), x)
			}
		}
		if sobol1(i) != got[0] {
			t.Fatalf("index %#x: dimension 1 alone differs", i)
		}
	}
}

// A block of 2^k samples that starts at a multiple of 2^k is a net: in dimensions 0 and 1 every elementary
// interval of area 2^-k holds one point (a (0,k,2)-net, Sobol 1967; scrambling keeps it, Owen 1995); every single
// dimension is stratified too. Blocks above 2^16 samples are included.
func TestElementaryIntervals(t *testing.T) {
	s := New(3)
	for _, start := range []uint32{0, 256, 1 << 16, 5<<16 + 512} {
		for k := uint(0); k <= 8; k++ {
			n := uint32(1) << k
			for a := uint(0); a <= k; a++ {
				seen := map[[2]int]bool{}
				for i := uint32(0); i < n; i++ {
					s.Start(77, 2, start+i)
					u := s.D4(3, BSDF, 9)
					seen[[2]int{int(u[0] * float64(int(1)<<a)), int(u[1] * float64(int(1)<<(k-a)))}] = true
				}
				if len(seen) != int(n) {
					t.Fatalf("start %d, 2^%d points, split %d: %d intervals hold a point", start, k, a, len(seen))
				}
			}
			for d := 0; d < 4; d++ {
				seen := map[int]bool{}
				for i := uint32(0); i < n; i++ {
					s.Start(77, 2, start+i)
					seen[int(s.D4(3, BSDF, 9)[d]*float64(n))] = true
				}
				if len(seen) != int(n) {
					t.Fatalf("start %d, 2^%d points, dimension %d: %d intervals hold a point", start, k, d, len(seen))
				}
			}
		}
	}
}

// Points of one set never repeat, also across the border of the shuffled block.
func TestNoRepeats(t *testing.T) {
	s := New(4)
	seen := map[float64]uint32{}
	for i := uint32(0); i < 1<<17; i += 3 {
		s.Start(1, 0, i)
		u := s.D1(0, Light, 0)
		if j, ok := seen[u]; ok {
			t.Fatalf("samples %d and %d agree", i, j)
		}
		seen[u] = i
	}
}

// nested is the slow twin of a scramble: every node of the binary tree over the digits hashes whether it swaps
// its halves.
func nested(x uint32, seed uint64) (out uint32) {
	for k := 0; k < 32; k++ {
		prefix := uint64(x) >> (32 - k)
		flip := uint32(mix(seed^mix(prefix<<6|uint64(k)))) & 1
		out |= (x>>(31-k)&1 ^ flip) << (31 - k)
	}
	return out
}

// Variances over scrambles of the mean of n points, against plain random numbers and against the slow twin. The
// variance of a variance estimated from m scrambles is about 2/m of its square for near-normal means: with m = 3000
// a ratio of two has a standard deviation near 0.04; the interval is 0.8 to 1.25. The gain over random at 256 points
// on a smooth integrand must exceed 1000.
func TestVarianceAgainstNestedScramble(t *testing.T) {
	integrands := map[string]func(u [4]float64) float64{
		"smooth": func(u [4]float64) float64 { return math.Exp(-2*u[0]*u[0]) * math.Cos(1.5*u[1]+u[0]) },
		"linear": func(u [4]float64) float64 { return u[0] + 2*u[1] - u[2] + u[3] },
		"disc": func(u [4]float64) float64 {
			if u[0]*u[0]+u[1]*u[1] < 1 {
				return 1
			}
			return 0
		},
	}
	for name, f := range integrands {
		for _, n := range []int{2, 4, 16} {
			const m = 3000
			fast := variance(m, func(r int) (mean float64) {
				s := New(uint64(r))
				for i := 0; i < n; i++ {
					s.Start(5, 0, uint32(i))
					mean += f(s.D4(1, BSDF, 0)) / float64(n)
				}
				return mean
			})
			slow := variance(m, func(r int) (mean float64) {
				for i := 0; i < n; i++ {
					x := sobol(uint32(i))
					u := [4]float64{unit(nested(bits.Reverse32(uint32(i)), mix(uint64(r)))), 0, 0, 0}
					for d := range x {
						u[d+1] = unit(nested(bits.Reverse32(x[d]), mix(uint64(r)+uint64(d+1)<<32)))
					}
					mean += f(u) / float64(n)
				}
				return mean
			})
			if r := fast / slow; !(r > 0.8 && r < 1.25) {
				t.Errorf("%s, %d points: variance %g, slow twin %g", name, n, fast, slow)
			}
		}
	}

	f := integrands["smooth"]
	gain := func(n int) float64 {
		random := variance(300, func(r int) (mean float64) {
			g := Stream{mix(uint64(r)), mix(uint64(r)+99) | 1}
			for i := 0; i < n; i++ {
				mean += f([4]float64{g.Float64(), g.Float64()}) / float64(n)
			}
			return mean
		})
		return random / variance(300, func(r int) (mean float64) {
			s := New(uint64(r))
			for i := 0; i < n; i++ {
				s.Start(5, 0, uint32(i))
				u0, u1 := s.D2(1, Light, 0)
				mean += f([4]float64{u0, u1}) / float64(n)
			}
			return mean
		})
	}
	if g := gain(256); !(g > 1000) {
		t.Errorf("gain over random at 256 points %g", g)
	}
	if g := gain(16); !(g > 30) {
		t.Errorf("gain over random at 16 points %g", g)
	}
}

func variance(m int, mean func(r int) float64) float64 {
	var s, q float64
	for r := 0; r < m; r++ {
		v := mean(r)
		s += v
		q += v * v
	}
	return (q - s*s/float64(m)) / float64(m-1)
}

// Sets that differ in one part of the key are uncorrelated, and so are dimensions inside a set and the sets of
// successive samples. Standard error of a correlation from n independent pairs: 1/sqrt(n); the bound is 4.5 of them
// over 70 pairs.
func TestIndependence(t *testing.T) {
	const n = 40000
	pairs := map[string]func(i int) (a, b [4]float64){
		"pixel": func(i int) (a, b [4]float64) {
			return at(1, uint64(i), 0, 0, 1, BSDF, 0), at(1, uint64(i+1), 0, 0, 1, BSDF, 0)
		},
		"net": func(i int) (a, b [4]float64) {
			return at(1, uint64(i), 0, 0, 1, BSDF, 0), at(1, uint64(i), Cosets, 0, 1, BSDF, 0)
		},
		// Two sets of one pixel over the parts of its nets: their order must break them apart.
		"parts": func(i int) (a, b [4]float64) {
			return at(1, uint64(i>>3), uint32(i&7), 0, 1, BSDF, 0), at(1, uint64(i>>3), uint32(i&7), 0, 2, BSDF, 0)
		},
		"vertex": func(i int) (a, b [4]float64) {
			return at(1, uint64(i), 0, 5, 1, BSDF, 0), at(1, uint64(i), 0, 5, 2, BSDF, 0)
		},
		"purpose": func(i int) (a, b [4]float64) {
			return at(1, uint64(i), 0, 5, 1, BSDF, 0), at(1, uint64(i), 0, 5, 1, Light, 0)
		},
		"salt": func(i int) (a, b [4]float64) {
			return at(1, uint64(i), 0, 5, 1, Light, 3), at(1, uint64(i), 0, 5, 1, Light, 4)
		},
		"seed": func(i int) (a, b [4]float64) {
			return at(1, uint64(i), 0, 5, 1, Light, 3), at(2, uint64(i), 0, 5, 1, Light, 3)
		},
		// Two sets of one pixel over its samples: the shuffle of the index must break them apart.
		"padding": func(i int) (a, b [4]float64) {
			return at(1, uint64(i>>4), 0, uint32(i&15), 1, BSDF, 0), at(1, uint64(i>>4), 0, uint32(i&15), 2, BSDF, 0)
		},
	}
	for name, pair := range pairs {
		var sum [4][4]float64
		for i := 0; i < n; i++ {
			a, b := pair(i)
			for j := range a {
				for k := range b {
					sum[j][k] += 12 * (a[j] - 0.5) * (b[k] - 0.5)
				}
			}
		}
		for j := range sum {
			for k := range sum[j] {
				if c := sum[j][k] / n; !(math.Abs(c) < 4.5/math.Sqrt(n)) {
					t.Errorf("%s, dimensions %d and %d: correlation %g", name, j, k, c)
				}
			}
		}
	}
	// Within a set, over keys.
	for j := 0; j < 4; j++ {
		for k := 0; k < j; k++ {
			c := 0.0
			for i := 0; i < n; i++ {
				u := at(9, uint64(i), 0, 0, 0, Pixel, 0)
				c += 12 * (u[j] - 0.5) * (u[k] - 0.5)
			}
			if c /= n; !(math.Abs(c) < 4.5/math.Sqrt(n)) {
				t.Errorf("dimensions %d and %d of a set: correlation %g", j, k, c)
			}
		}
	}
}

func at(seed, pixel uint64, replicate, sample uint32, vertex int, p Purpose, salt uint32) [4]float64 {
	s := New(seed)
	s.Start(pixel, replicate, sample)
	return s.D4(vertex, p, salt)
}

// Each dimension of one fixed sample is uniform over keys: chi-square over 64 cells, 63 degrees of freedom, whose
// 0.9999 quantile is 114.8 (from memory of the tables; mean 63, standard deviation 11.2).
func TestUniformOverKeys(t *testing.T) {
	const n = 64 * 500
	var count [8][64]float64
	for i := 0; i < n; i++ {
		s := New(11)
		s.Start(uint64(i), 3, 6)
		u := s.D4(2, Light, 1)
		for d, v := range u {
			if !(v > 0 && v < 1) {
				t.Fatalf("dimension %d: %v", d, v)
			}
			count[d][int(v*64)]++
		}
		// The low digits too: they must not be constant.
		for d, v := range u {
			w := v * 4096
			count[4+d][int((w-math.Floor(w))*64)]++
		}
	}
	for d := range count {
		chi := 0.0
		for _, c := range count[d] {
			chi += (c - 500) * (c - 500) / 500
		}
		if !(chi < 114.8) {
			t.Errorf("dimension %d: chi-square %g", d, chi)
		}
	}
}

// The ends of the range: no word maps outside (0, 1).
func TestOpenInterval(t *testing.T) {
	for _, u := range []float64{unit(0), unit(math.MaxUint32), open(0), open(math.MaxUint64)} {
		if !(u > 0 && u < 1) {
			t.Errorf("%v lies outside (0, 1)", u)
		}
	}
}

// D1 and D2 are the front of D4, so a slot can grow without moving its numbers.
func TestPrefix(t *testing.T) {
	s := New(8)
	for i := uint32(0); i < 1<<18; i += 977 {
		s.Start(uint64(i)*3, i&7, i)
		u := s.D4(4, Walk, i)
		u0, u1 := s.D2(4, Walk, i)
		if v := s.D1(4, Walk, i); v != u[0] || u0 != u[0] || u1 != u[1] {
			t.Fatalf("sample %d: %v, D2 %v %v, D1 %v", i, u, u0, u1, v)
		}
	}
}

// Numbers depend on their key alone: drawing others in between, or in another order, changes nothing.
func TestNoCounter(t *testing.T) {
	a, b := New(5), New(5)
	a.Start(9, 1, 2)
	b.Start(1, 0, 0)
	b.D4(7, BSDF, 0)
	b.Start(9, 1, 2)
	b.D1(0, Roulette, 0)
	if x, y := a.D4(1, Light, 3), b.D4(1, Light, 3); x != y {
		t.Errorf("%v and %v", x, y)
	}
	r, q := a.Stream(1, Walk, 0), b.Stream(1, Walk, 0)
	for i := 0; i < 10; i++ {
		if x, y := r.Float64(), q.Float64(); x != y {
			t.Errorf("stream, number %d: %v and %v", i, x, y)
		}
	}
}

// Streams: uniform mean and variance, no correlation from one number to the next or with a neighbouring stream, over
// samples and over salts. Bounds are 4.5 standard errors.
func TestStream(t *testing.T) {
	const n = 200000
	s := New(21)
	s.Start(3, 1, 7)
	r := s.Stream(2, Walk, 0)
	var sum, square, serial, cross, starts float64
	last := 0.5
	for i := 0; i < n; i++ {
		u := r.Float64()
		if !(u > 0 && u < 1) {
			t.Fatalf("number %d: %v", i, u)
		}
		sum += u - 0.5
		square += (u-0.5)*(u-0.5) - 1.0/12
		serial += 12 * (u - 0.5) * (last - 0.5)
		last = u
		s.Start(3, 1, uint32(i))
		a, b := s.Stream(2, Walk, 0), s.Stream(2, Walk, 1)
		u0 := a.Float64()
		cross += 12 * (u0 - 0.5) * (b.Float64() - 0.5)
		starts += u0 - 0.5
	}
	root := math.Sqrt(n)
	for _, c := range []struct {
		name       string
		sum, sigma float64
	}{
		{"mean", sum, math.Sqrt(1.0 / 12)},
		{"variance", square, math.Sqrt(1.0 / 180)},
		{"serial correlation", serial, 1},
		{"correlation of neighbours", cross, 1},
		{"mean of first numbers", starts, math.Sqrt(1.0 / 12)},
	} {
		if !(math.Abs(c.sum)/n < 4.5*c.sigma/root) {
			t.Errorf("%s: %g standard errors", c.name, c.sum/n*root/c.sigma)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	s := New(1)
	total := 0.0
	if a := testing.AllocsPerRun(100, func() {
		s.Start(5, 1, 9)
		u := s.D4(1, BSDF, 0)
		v, w := s.D2(1, Light, 0)
		r := s.Stream(1, Walk, 0)
		total += u[0] + v + w + r.Float64() + s.D1(2, Roulette, 0)
	}); a != 0 || !(total > 0) {
		t.Errorf("%v allocations", a)
	}
}
