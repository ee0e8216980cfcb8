package render

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// barsScene is an eye on the axis whose iris is a chart of upright bars: a sine of contrast 0.3 with four pixels a bar and gap, as
// seen through the cornea (1.131 times its size).
const barsScene = `
picture: {width: 48, height: 48, samples: 64, seed: 5, denoise: true}
camera: {kind: orthographic, width: 6, target: [0, 0, 8], orbit: {azimuth: 0, elevation: 0, distance: 200}}
lights:
  - {name: window, kind: rectangle, orbit: {azimuth: -50, elevation: 40, distance: 1400}, width: 560, height: 720, radiance: 35}
  - {name: room, kind: constant, radiance: 0.16}
objects:
  - {name: eye, shape: eye, iris: {colour: {file: bars.tif}, pupil: 2, pupil_offset: [0, 0], relief: 0}, map_size: 1024}
`

// bars writes the chart: in the map the limbus, 5.85 mm from the axis, lies a quarter of the side from the middle.
func bars(t *testing.T) string {
	t.Helper()
	const n = 1024
	period := 4 * 6.0 / 48 / 1.131 * 0.25 / 5.85 // of the side
	pix := make([]uint16, 3*n*n)
	for i := range n * n {
		v := 0.3 * (1 + 0.3*math.Sin(2*math.Pi*((float64(i%n)+0.5)/n-0.5)/period))
		for c := range 3 {
			pix[3*i+c] = uint16(65535*colour.EncodeSRGB(v) + 0.5)
		}
	}
	file := filepath.Join(t.TempDir(), "bars.tif")
	require.NoError(t, imageio.WriteTIFF(file, n, n, 3, pix))
	return file
}

// barsOf takes off a picture's rows what is no bar: the mean over one bar and gap about each pixel.
func barsOf(a []float64, w int) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		if x := i % w; x >= 2 && x < w-2 {
			out[i] = a[i] - (a[i-1]+a[i]+a[i+1]+(a[i-2]+a[i+2])/2)/4
		}
	}
	return out
}

// Bars of contrast 0.3 under the cornea, 0.25 cycles a pixel, keep at least 95 % of their modulation of 64 samples: what the picture
// has of the bars, before and after, is told by the bars that features see, with 256 rays a pixel of other numbers.
func TestBarsKeepTheirModulation(t *testing.T) {
	d, err := scene.Parse("bars.yaml", []byte(barsScene), "objects.eye.iris.colour.file="+bars(t))
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{})
	require.NoError(t, err)
	r, err := p.Render(context.Background(), Options{})
	require.NoError(t, err)
	const w = 48
	at := func(pick func(i int) float64) []float64 {
		a := make([]float64, w*w)
		for i := range a {
			a[i] = pick(i)
		}
		return barsOf(a, w)
	}
	seen := p.looked(r.Film, 2, 1<<25, 256)
	raw := r.Film.Develop().Mean
	chart, before, after := at(func(i int) float64 { return float64(seen[green][i]) }), at(func(i int) float64 { return raw[i][1] }), at(func(i int) float64 { return float64(r.clean.light[3*i+1]) })
	var has, kept, grain, left float64
	for i, c := range chart {
		if q := math.Hypot(float64(i%w)+0.5-w/2, float64(i/w)+0.5-w/2) * 6 / w; q < 1.4 || q > 2.8 {
			continue
		}
		has, kept = has+c*before[i], kept+c*after[i]
		grain, left = grain+before[i]*before[i], left+after[i]*after[i]
	}
	t.Logf("modulation kept: %.4f; power in the bars' band %.4f of what it was", kept/has, left/grain)
	require.Greater(t, kept/has, 0.95)
	require.Less(t, kept/has, 1.05)
}
