package denoise

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/colour"
)

// noisy makes an input of a picture with Gaussian noise of a known deviation, which is also what it says of itself.
func noisy(w, h int, sigma float64, truth func(x, y int) colour.RGB, features ...[]float32) *Input {
	r := rand.New(rand.NewPCG(1, 2))
	in := &Input{W: w, H: h, Features: features}
	for k := range in.Half {
		in.Half[k] = make([]colour.RGB, w*h)
		for i := range in.Half[k] {
			c := truth(i%w, i/w)
			for q := range c {
				c[q] += sigma * r.NormFloat64()
			}
			in.Half[k][i] = c
		}
	}
	in.deviates(sigma)
	return in
}

// deviates says that every pixel has a deviation of sigma.
func (in *Input) deviates(sigma float64) {
	for k := range in.Var {
		in.Var[k] = make([]colour.RGB, in.W*in.H)
		for i := range in.Var[k] {
			in.Var[k][i] = colour.Grey(sigma * sigma)
		}
	}
}

// rms is the distance from the truth over the pixels that keep picks.
func rms(in *Input, out []colour.RGB, truth func(x, y int) colour.RGB, keep func(x, y int) bool) float64 {
	sum, n := 0.0, 0.0
	for i, c := range out {
		x, y := i%in.W, i/in.W
		if keep != nil && !keep(x, y) {
			continue
		}
		t := truth(x, y)
		for q := range c {
			sum += (c[q] - t[q]) * (c[q] - t[q])
			n++
		}
	}
	return math.Sqrt(sum / n)
}

// Grain on an even field goes: the mean of 225 pixels of both halves has a fifteenth of the deviation of one pixel of both
// halves. Weights that differ from one and the border cost part of that (closed form but for the weights).
func TestEvenField(t *testing.T) {
	truth := func(x, y int) colour.RGB { return colour.RGB{0.4, 0.3, 0.2} }
	in := noisy(70, 50, 0.1, truth)
	out, _, err := Clean(in, 2)
	require.NoError(t, err)
	raw := 0.1 / math.Sqrt2
	require.Less(t, rms(in, out, truth, nil), raw/6)
	mean := colour.RGB{}
	for _, c := range out {
		mean = mean.Add(c.Scale(1 / float64(len(out))))
	}
	require.InDelta(t, 0.4, mean[0], 0.004)
	require.InDelta(t, 0.2, mean[2], 0.004)
}

// What is a linear function of the features comes back whole, however fine it is (first-order regression is exact there).
func TestLinearInFeatures(t *testing.T) {
	const w, h = 64, 48
	paint, tilt := make([]float32, w*h), make([]float32, w*h)
	r := rand.New(rand.NewPCG(3, 4))
	for i := range paint {
		paint[i] = float32(0.2 + 0.6*r.Float64()) // another value in each pixel
		tilt[i] = float32(math.Sin(float64(i%w) / 9))
	}
	truth := func(x, y int) colour.RGB {
		a, b := float64(paint[y*w+x]), float64(tilt[y*w+x])
		return colour.RGB{0.5 * a, 0.3*a + 0.1*b + 0.2, 0.4 + 0.05*b}
	}
	clean := noisy(w, h, 1e-6, truth, paint, tilt)
	clean.deviates(0.1)
	out, _, err := Clean(clean, 2)
	require.NoError(t, err)
	require.Less(t, rms(clean, out, truth, nil), 0.004, "the ridge alone")
	in := noisy(w, h, 0.1, truth, paint, tilt)
	out, _, err = Clean(in, 2)
	require.NoError(t, err)
	require.Less(t, rms(in, out, truth, nil), 0.1/math.Sqrt2/3)
}

// What is a polynomial in a pixel's place comes back whole, up to the order of the fit; a fit without it is a mean, which is off where
// the picture curves.
func TestPolynomialInPlace(t *testing.T) {
	truth := func(x, y int) colour.RGB {
		u, v := float64(x)/32-1, float64(y)/24-1
		return colour.RGB{0.6 + 0.2*u, 0.5 + 0.1*u - 0.2*v, 0.3 + 0.4*u*u + 0.2*v*v - 0.1*u*v}
	}
	var off [3]float64
	for order := range off {
		clean := noisy(64, 48, 1e-6, truth)
		clean.deviates(0.5)
		clean.Order = order
		f, err := New(clean, 2)
		require.NoError(t, err)
		off[order] = rms(clean, f.Mean, truth, func(x, y int) bool { return x < 8 || y < 8 }) // also where neighbours are missing
	}
	t.Logf("%.5f", off)
	require.Less(t, off[2], 1e-3, "the ridge alone")
	require.Less(t, off[1], off[0]/2)
	require.Less(t, off[2], off[1]/2)
}

// An edge of light that no feature knows stays where it is and stays sharp.
func TestEdgeOfLight(t *testing.T) {
	truth := func(x, y int) colour.RGB {
		if x < 30 {
			return colour.Grey(0.2)
		}
		return colour.Grey(0.9)
	}
	in := noisy(64, 48, 0.1, truth, make([]float32, 64*48))
	out, _, err := Clean(in, 2)
	require.NoError(t, err)
	require.Less(t, rms(in, out, truth, func(x, y int) bool { return x == 29 || x == 30 }), 0.05)
	require.Less(t, rms(in, out, truth, nil), 0.1/math.Sqrt2/4)
}

// Where halves agree to the bit and nothing around varies, pixels stay as they are; a single one among grain does not.
func TestSurePixels(t *testing.T) {
	truth := func(x, y int) colour.RGB { return colour.RGB{} }
	in := noisy(40, 40, 0.1, truth)
	for y := 19; y <= 21; y++ {
		for x := 19; x <= 21; x++ {
			at := y*40 + x
			in.Half[0][at], in.Half[1][at], in.Var[0][at], in.Var[1][at] = colour.Grey(7), colour.Grey(7), colour.RGB{}, colour.RGB{}
		}
	}
	lone := 10*40 + 10
	in.Half[0][lone], in.Half[1][lone], in.Var[0][lone], in.Var[1][lone] = colour.RGB{}, colour.RGB{}, colour.RGB{}, colour.RGB{}
	out, _, err := Clean(in, 1)
	require.NoError(t, err)
	require.Equal(t, colour.Grey(7), out[20*40+20])
	require.NotEqual(t, colour.RGB{}, out[lone])
}

func TestWorkersDoNotMatter(t *testing.T) {
	truth := func(x, y int) colour.RGB { return colour.Grey(0.1 + 0.01*float64(x)) }
	f := make([]float32, 70*40)
	for i := range f {
		f[i] = float32(i % 70)
	}
	in := noisy(70, 40, 0.05, truth, f)
	a, _, err := Clean(in, 1)
	require.NoError(t, err)
	b, _, err := Clean(in, 5)
	require.NoError(t, err)
	require.Equal(t, a, b)
	for _, c := range a {
		require.False(t, math.IsNaN(c[0]+c[1]+c[2]))
	}
}

func TestBadInput(t *testing.T) {
	_, _, err := Clean(&Input{W: 4, H: 4}, 1)
	require.ErrorContains(t, err, "4 x 4 pixels")
	in := noisy(4, 4, 1, func(x, y int) colour.RGB { return colour.RGB{} }, make([]float32, 3))
	_, _, err = Clean(in, 1)
	require.ErrorContains(t, err, "feature 0 has 3 pixels")
	in = noisy(4, 4, 1, func(x, y int) colour.RGB { return colour.RGB{} }, make([][]float32, 8)...)
	in.Order = 2
	_, _, err = Clean(in, 1)
	require.ErrorContains(t, err, "13 features and terms of place, at most 12")
	in.Order = 3
	_, _, err = Clean(in, 1)
	require.ErrorContains(t, err, "order 3")
}

func BenchmarkClean(b *testing.B) {
	f := make([][]float32, 8)
	r := rand.New(rand.NewPCG(5, 6))
	for k := range f {
		f[k] = make([]float32, 128*128)
		for i := range f[k] {
			f[k][i] = r.Float32()
		}
	}
	in := noisy(128, 128, 0.1, func(x, y int) colour.RGB { return colour.Grey(0.5) }, f...)
	for b.Loop() {
		if _, _, err := Clean(in, 1); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(128*128), "ns/pixel")
}
