package denoise

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/colour"
)

// rough makes an input like a render of few samples: eight replicates of skewed noise, mostly dim with rare bright samples, over
// truth; the halves and their variances are taken from the replicates.
func rough(w, h int, seed uint64, truth func(x, y int) colour.RGB, features ...[]float32) *Input {
	r := rand.New(rand.NewPCG(seed, 2))
	in := &Input{W: w, H: h, Features: features}
	for k := range 2 {
		in.Half[k], in.Var[k] = make([]colour.RGB, w*h), make([]colour.RGB, w*h)
	}
	for i := range w * h {
		t := truth(i%w, i/w)
		for k := range 2 {
			for c := range 3 {
				var x [4]float64
				m, v := 0.0, 0.0
				for j := range x {
					x[j] = 0.6 * t[c]
					if r.Float64() < 0.1 {
						x[j] += 4 * t[c]
					}
					m += x[j] / 4
				}
				for _, q := range x {
					v += (q - m) * (q - m) / 12
				}
				in.Half[k][i][c], in.Var[k][i][c] = m, v
			}
		}
	}
	return in
}

// plain is Clean, slow and straight from its definition, for a picture with one feature: fits solved by Cramer's rule, light given
// back pair by pair.
//
// Long: the definition written out once, from top to bottom.
func plain(in *Input) []colour.RGB {
	w, h := in.W, in.H
	n := w * h
	inside := func(x, y int) bool { return x >= 0 && y >= 0 && x < w && y < h }
	mean := func(a []colour.RGB, x, y, r int) (m colour.RGB) {
		k := 0.0
		for v := y - r; v <= y+r; v++ {
			for u := x - r; u <= x+r; u++ {
				if inside(u, v) {
					m = m.Add(a[v*w+u])
					k++
				}
			}
		}
		return m.Scale(1 / k)
	}
	eps := 0.0
	for _, a := range in.Half[0] {
		eps += (a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) / float64(3*n)
	}
	eps = 1e-9*eps + 1e-30
	var s, q float64
	for _, f := range in.Features[0] {
		s, q = s+float64(f)/float64(n), q+float64(f)*float64(f)/float64(n)
	}
	feature := func(x, y int) float64 {
		return float64(float32(float64(in.Features[0][y*w+x]) / math.Sqrt(q-s*s)))
	}
	var variance [2][]colour.RGB
	for k := range 2 {
		for i := range n {
			variance[k] = append(variance[k], mean(in.Var[k], i%w, i/w, 1))
		}
	}
	out := make([]colour.RGB, n)
	for half := range 2 {
		other := 1 - half
		differ := func(x, y, u, v int) float64 {
			d := 0.0
			for c := range 3 {
				a, b := variance[other][y*w+x][c], variance[other][v*w+u][c]
				e := in.Half[other][y*w+x][c] - in.Half[other][v*w+u][c]
				d += (e*e - a - min(a, b)) / (eps + 0.25*(a+b)) / 3
			}
			return d
		}
		for y := range h {
			for x := range w {
				var m00, m01, m11 float64
				var r0, r1 colour.RGB
				for dy := -7; dy <= 7; dy++ {
					for dx := -7; dx <= 7; dx++ {
						u, v := x+dx, y+dy
						if !inside(u, v) {
							continue
						}
						far, k := 0.0, 0.0
						for b := -2; b <= 2; b++ {
							for a := -2; a <= 2; a++ {
								if inside(x+a, y+b) && inside(u+a, v+b) {
									far += differ(x+a, y+b, u+a, v+b)
									k++
								}
							}
						}
						if far /= k; far > 12 {
							continue
						}
						wt := math.Exp(-max(0, far))
						may, its := mean(in.Var[other], u, v, 3), in.Var[half][v*w+u]
						if a, b := 4*(may[0]+may[1]+may[2]+eps), its[0]+its[1]+its[2]; b > a {
							wt *= a / b
						}
						f := feature(u, v) - feature(x, y)
						m00, m01, m11 = m00+wt, m01+wt*f, m11+wt*f*f
						r0, r1 = r0.Add(in.Half[half][v*w+u].Scale(wt)), r1.Add(in.Half[half][v*w+u].Scale(wt*f))
					}
				}
				m11 += 2e-3*m00 + 0.1
				fit := r0.Scale(m11).Sub(r1.Scale(m01)).Scale(1 / (m00*m11 - m01*m01))
				if min(fit[0], fit[1], fit[2]) < 0 {
					fit = r0.Scale(1 / m00)
				}
				out[y*w+x] = out[y*w+x].Add(fit.Scale(0.5))
			}
		}
	}
	// Nodes lie 4 pixels apart. Of two windows that reach 4 nodes to either side, one upon the other, what a node at distance d has in
	// common.
	nx, ny := (w-1)/4+2, (h-1)/4+2
	pyramid := func(d int, n, at int) float64 {
		k := 0.0
		for m := max(0, at-4); m <= min(n-1, at+4); m++ {
			if e := m - at - d; e >= -4 && e <= 4 {
				k++
			}
		}
		return k
	}
	near := func(pixel, node int) float64 { return max(0, 1-math.Abs(float64(pixel)/4-float64(node))) }
	each := func(node int, f func(other int, k float64)) {
		for o := range nx * ny {
			if k := pyramid(o%nx-node%nx, nx, node%nx) * pyramid(o/nx-node/nx, ny, node/nx); k > 0 {
				f(o, k)
			}
		}
	}
	raw, take := make([]colour.RGB, nx*ny), make([]colour.RGB, nx*ny)
	for node := range raw {
		for i := range n {
			k := near(i%w, node%nx) * near(i/w, node/nx)
			raw[node] = raw[node].Add(in.Half[0][i].Add(in.Half[1][i]).Scale(k / 2))
			take[node] = take[node].Add(out[i].Scale(k))
		}
	}
	lack := make([]colour.RGB, nx*ny)
	for node := range lack {
		var about colour.RGB
		each(node, func(o int, k float64) { about = about.Add(take[o].Scale(k)) })
		for c := range 3 {
			lack[node][c] = (raw[node][c] - take[node][c]) / about[c]
		}
	}
	got := make([]colour.RGB, n)
	for node := range lack {
		gain := colour.Grey(1)
		each(node, func(o int, k float64) { gain = gain.Add(lack[o].Scale(k)) })
		for i := range n {
			got[i] = got[i].Add(out[i].Mul(gain).Scale(near(i%w, node%nx) * near(i/w, node/nx)))
		}
	}
	return got
}

// Clean against its slow plain twin, on skewed noise across an edge, near one, and over even parts: equal but for single precision.
func TestPlainTwin(t *testing.T) {
	const w, h = 37, 21
	f := make([]float32, w*h)
	r := rand.New(rand.NewPCG(8, 9))
	for i := range f {
		f[i] = float32(i%w)/w + 0.3*r.Float32()
	}
	truth := func(x, y int) colour.RGB {
		if x > 22 {
			return colour.RGB{0.9, 0.5, 0.4}
		}
		return colour.RGB{0.2, 0.1 + 0.1*float64(f[y*w+x]), 0.3}
	}
	in := rough(w, h, 4, truth, f)
	out, _, err := Clean(in, 2)
	require.NoError(t, err)
	for i, want := range plain(in) {
		for c := range 3 {
			require.InDelta(t, want[c], out[i][c], 4e-6, "pixel %d", i)
		}
	}
}

// Noise of rare bright samples must not darken: the picture keeps its mean, and its noisy bright part and its quiet dark one keep
// theirs nearly.
func TestMeanStays(t *testing.T) {
	const w, h = 96, 96
	bright := func(i int) bool { return i%w > 60 }
	truth := func(x, y int) colour.RGB {
		if x > 60 {
			return colour.RGB{1.2, 1, 0.8}
		}
		return colour.RGB{0.1, 0.12, 0.1}
	}
	for seed := range uint64(3) {
		in := rough(w, h, seed, truth, make([]float32, w*h))
		out, taken, err := Clean(in, 2)
		require.NoError(t, err)
		var a, b [2]colour.RGB
		for i := range out {
			k := 0
			if bright(i) {
				k = 1
			}
			a[k], b[k] = a[k].Add(out[i]), b[k].Add(in.Half[0][i].Add(in.Half[1][i]).Scale(0.5))
		}
		for c := range 3 {
			require.InEpsilon(t, b[0][c]+b[1][c], a[0][c]+a[1][c], 1e-9)
			require.InEpsilon(t, b[0][c], a[0][c], 0.02)
			require.InEpsilon(t, b[1][c], a[1][c], 0.005)
		}
		require.NotZero(t, taken.Luminance())
		require.Less(t, math.Abs(taken.Luminance()), 0.02*b[1].Luminance()/(w*h))
	}
}

// A stray sample in one half, a hundred times its surroundings, does not stand out, not even where its pixel has few like it.
func TestStraySample(t *testing.T) {
	const w, h = 64, 48
	line := make([]float32, w*h)
	for i := range line {
		if i%w == 30 {
			line[i] = 1
		}
	}
	truth := func(x, y int) colour.RGB {
		if x == 30 {
			return colour.Grey(0.5)
		}
		return colour.Grey(0.25)
	}
	in := noisy(w, h, 0.02, truth, line)
	for _, at := range []int{20*w + 10, 30*w + 30} {
		in.Half[1][at][0] += 25
		in.Var[1][at][0] += 25 * 25
	}
	out, _, err := Clean(in, 2)
	require.NoError(t, err)
	for i, c := range out {
		want := truth(i%w, i/w)
		require.InDelta(t, want[1], c[1], 0.03)
		// The stray light is in the picture still: spread wide, in proportion to what is there.
		require.InDelta(t, want[0], c[0], 0.05, "pixel %d, %d", i%w, i/w)
	}
}

// Where few pixels are alike, a fit of as many unknowns can follow their noise all the way: a pattern that repeats every 7 pixels
// gives each one nine of its kind, for eight features that say nothing and a constant. What is held back of the slopes keeps some of
// the noise out (0.968 of it stays without).
func TestFewNeighbours(t *testing.T) {
	const w, h = 49, 49
	r := rand.New(rand.NewPCG(21, 22))
	var junk [][]float32
	for range 8 {
		f := make([]float32, w*h)
		for i := range f {
			f[i] = r.Float32()
		}
		junk = append(junk, f)
	}
	var level [49]float64
	for i := range level {
		level[i] = 0.5 + 4*r.Float64()
	}
	truth := func(x, y int) colour.RGB { return colour.Grey(level[y%7*7+x%7]) }
	in := noisy(w, h, 0.1, truth, junk...)
	out, _, err := Clean(in, 2)
	require.NoError(t, err)
	got := rms(in, out, truth, func(x, y int) bool { return x > 8 && y > 8 && x < w-9 && y < h-9 }) / (0.1 / math.Sqrt2)
	t.Logf("%.4f", got)
	require.Less(t, got, 0.94)
}
