package relight

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/render"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// marsh is a ball and a mirror under a sky from a picture, a lamp and a moon.
func marsh(t *testing.T) string {
	sky := filepath.Join(t.TempDir(), "sky.pfm")
	pix := make([]float32, 3*32*16)
	for i := range pix {
		pix[i] = 0.2 + float32(i%7)/5 + float32(i/96)/9
	}
	require.NoError(t, imageio.WritePFM(sky, 32, 16, 3, pix))
	return fmt.Sprintf(`
picture: {width: 40, height: 34, samples: 32, passes: {lights: true, errors: true}}
camera: {kind: orthographic, width: 30, target: [0, 0, 0], orbit: {azimuth: 10, distance: 200}}
lights:
  - {name: marsh, kind: environment, file: %q}
  - {name: lamp, kind: rectangle, orbit: {azimuth: 30, elevation: 30, distance: 300}, width: 60, height: 60, radiance: [80, 70, 60]}
  - {name: moon, kind: distant, angle: 2, orbit: {azimuth: -50, elevation: 20}, irradiance: [2, 2, 2]}
objects:
  - {name: float, shape: sphere, radius: 8, material: {colour: [0.7, 0.5, 0.3]}}
  - {name: bead, shape: sphere, radius: 4, transform: {translate: [10, 5, 5]}, material: {kind: conductor, roughness: 0.3}}
`, sky)
}

func trace(t *testing.T, yaml string, sets ...string) *render.Result {
	t.Helper()
	d, err := scene.Parse("marsh.yaml", []byte(yaml))
	require.NoError(t, err)
	if len(sets) > 0 {
		d, err = d.With(sets...)
		require.NoError(t, err)
	}
	p, err := render.Prepare(context.Background(), d, render.Options{})
	require.NoError(t, err)
	r, err := p.Render(context.Background(), render.Options{})
	require.NoError(t, err)
	return r
}

func opened(t *testing.T, r *render.Result) *Set {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.exr")
	require.NoError(t, r.Write(path))
	s, err := Open(path)
	require.NoError(t, err)
	return s
}

// A picture in other light is the one that a render with such lights makes: paths that choose lights by their power aside, which
// take other random numbers, the same samples to float32; and as unsure as it says.
func TestMixIsTheRenderWithThatLight(t *testing.T) {
	yaml := marsh(t)
	old := trace(t, yaml)
	s := opened(t, old)
	require.Equal(t, []string{"lamp", "marsh.above", "marsh.behind", "marsh.below", "marsh.front", "marsh.left", "marsh.right", "moon"}, s.Names)
	warm, err := colour.BlackBody(3200)
	require.NoError(t, err)
	gains, err := s.Gains(map[string]Change{"lamp": {EV: 1, Kelvin: 3200}, "marsh": {EV: -2}, "moon": {Colour: colour.RGB{0, 0.5, 2}}})
	require.NoError(t, err)
	got := s.Mix(gains)
	want := trace(t, yaml, "picture.seed=7", "lights.lamp.ev=1", fmt.Sprintf("lights.lamp.tint=[%g, %g, %g]", warm[0], warm[1], warm[2]), "lights.marsh.ev=-2", "lights.moon.tint=[0, 0.5, 2]").Film.Develop()
	in, n := 0, 0
	var bias, spread colour.RGB
	for i, m := range want.Mean {
		for c := range m {
			e := math.Hypot(got.Error[i][c], want.Error[i][c])
			d := got.Mean[i][c] - m[c]
			bias[c] += d
			spread[c] += e * e
			n++
			if math.Abs(d) <= 3*e+1e-6 {
				in++
			}
		}
	}
	for c := range bias {
		require.LessOrEqual(t, math.Abs(bias[c]), 4*math.Sqrt(spread[c]), "channel %d", c)
	}
	require.Greater(t, float64(in)/float64(n), 0.99)

	// Unchanged it is the picture, with its own error; twice as bright, twice that.
	pic := old.Film.Develop()
	reach := pic.Interval(math.Erf(3 / math.Sqrt2))
	require.Equal(t, 3, s.Lights())
	for _, k := range []float64{1, 2} {
		gains, err = s.Gains(map[string]Change{"lamp": {EV: k - 1}, "marsh": {EV: k - 1}, "moon": {EV: k - 1}})
		require.NoError(t, err)
		same := s.Mix(gains)
		for i, m := range pic.Mean {
			for c := range m {
				require.InDelta(t, k*m[c], same.Mean[i][c], 2e-6*max(1, m[c]))
				require.InDelta(t, k*pic.Error[i][c], same.Error[i][c], 1e-3*k*pic.Error[i][c]+1e-7)
				require.InDelta(t, k*reach[i][c], same.Interval[i][c], 2e-3*k*reach[i][c]+1e-7)
			}
		}
	}
}

// The error is that which samples tell: at least what the replicates of the mixed light show, over the picture, and no more than a few
// times it.
func TestMixKnowsItsError(t *testing.T) {
	yaml := marsh(t)
	s := opened(t, trace(t, yaml))
	changes := map[string]Change{"lamp": {EV: 3}, "marsh": {EV: -1}, "moon": {Off: true}}
	gains, err := s.Gains(changes)
	require.NoError(t, err)
	got := s.Mix(gains)
	// The spread of mixes over seeds is the truth.
	const seeds = 12
	var sum, square [40 * 34]float64
	for seed := range seeds {
		p := opened(t, trace(t, yaml, fmt.Sprintf("picture.seed=%d", 10+seed))).Mix(gains)
		for i, m := range p.Mean {
			sum[i] += m[1]
			square[i] += m[1] * m[1]
		}
	}
	var told, truth float64
	for i := range sum {
		m := sum[i] / seeds
		truth += max(0, square[i]/seeds-m*m) * seeds / (seeds - 1)
		told += got.Error[i][1] * got.Error[i][1]
	}
	ratio := math.Sqrt(told / truth)
	t.Logf("told %.3f times the spread over seeds", ratio)
	require.Greater(t, ratio, 0.95)
	require.Less(t, ratio, 4.0)
}

// Mistakes are named; a file without lights says how to make one with them.
func TestMistakes(t *testing.T) {
	r := trace(t, marsh(t), "picture.samples=2")
	s := opened(t, r)
	for _, c := range []struct {
		change map[string]Change
		want   string
	}{
		{map[string]Change{"star": {}}, `no light "star"; there are lamp, marsh.above`},
		{map[string]Change{"lamp": {EV: math.NaN()}}, "light lamp: NaN stops"},
		{map[string]Change{"lamp": {Kelvin: 10}}, "light lamp: 10 K is outside"},
		{map[string]Change{"lamp": {Colour: colour.RGB{1, -1, 1}}}, "light lamp: the colour"},
	} {
		_, err := s.Gains(c.change)
		require.ErrorContains(t, err, c.want)
	}
	path := filepath.Join(t.TempDir(), "bare.exr")
	require.NoError(t, trace(t, marsh(t), "picture.samples=1", "picture.passes={}").Write(path))
	_, err := Open(path)
	require.ErrorContains(t, err, "--passes lights")
	require.True(t, strings.HasPrefix(err.Error(), path))
	require.Len(t, r.Film.Passes(), 8)
}

// How long a mix of eight lights takes at 640 x 640.
func BenchmarkMix(b *testing.B) {
	s := &Set{W: 640, H: 640}
	for range 8 {
		var p, q [3][]float32
		for c := range 3 {
			p[c], q[c] = make([]float32, 640*640), make([]float32, 640*640)
		}
		s.light, s.noise = append(s.light, p), append(s.noise, q)
	}
	for c := range 3 {
		s.error[c] = make([]float32, 640*640)
	}
	for _, noise := range []bool{false, true} {
		s.Noise = noise
		b.Run(fmt.Sprint("errors=", noise), func(b *testing.B) {
			gains := make([]colour.RGB, 8)
			for i := range gains {
				gains[i] = colour.Grey(float64(i))
			}
			start, n := time.Now(), 0
			for b.Loop() {
				s.Mix(gains)
				n++
			}
			b.ReportMetric(time.Since(start).Seconds()*1000/float64(n), "ms/mix")
		})
	}
}
