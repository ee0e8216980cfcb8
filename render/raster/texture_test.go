package raster_test

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"catchlight/scene/imageio"

	"github.com/stretchr/testify/require"
)

// picture writes a grey or colour picture of n x n texels.
func picture(t *testing.T, name string, n, channels int, f func(x, y, c int) float64) string {
	t.Helper()
	pix := make([]byte, n*n*channels)
	for i := range pix {
		pix[i] = byte(math.Round(255 * f(i/channels%n, i/channels/n, i%channels)))
	}
	file := filepath.Join(t.TempDir(), name)
	require.NoError(t, imageio.WritePNG(file, n, n, channels, pix, nil))
	return file
}

const ground = `
picture: {width: 48, height: 24}
view: {background: colour}
camera: {kind: orthographic, width: 192, target: [0, 0, 0], orbit: {distance: 900}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
raster: {prefilter_size: 32, anisotropy: %d}
objects: [{name: ground, shape: rectangle, size: [800, 1200, 1], transform: {rotate: [-80, 0, 0]}, material: {colour: {file: %s, space: linear}}}]`

// A checker of single texels far below the pixel's size is the even mean in linear light, and stripes that run away from the viewer keep their
// contrast where samples follow the long axis of the footprint, and lose it where one wide sample has to do.
func TestTextureFilter(t *testing.T) {
	ground := func(file string, anisotropy int) (mean, spread float64) {
		p := prepare(t, fmt.Sprintf(ground, anisotropy, file))
		pic := draw(t, bake(t, p), p)
		n, square := 0.0, 0.0
		for i, c := range pic.Mean {
			if pic.Alpha[i] == 1 {
				n, mean, square = n+1, mean+c[1], square+c[1]*c[1]
			}
		}
		require.Greater(t, n, 800.0)
		return mean / n, math.Sqrt(max(0, square/n-mean*mean/n/n))
	}
	checker := picture(t, "checker.png", 512, 1, func(x, y, _ int) float64 { return 0.8 * float64((x+y)%2) })
	for _, a := range []int{1, 16} {
		mean, spread := ground(checker, a)
		require.InDelta(t, 0.4, mean, 0.004)
		require.Less(t, spread, 0.01)
	}
	stripes := picture(t, "stripes.png", 512, 1, func(x, _, _ int) float64 { return float64(x / 8 % 2) }) // 25 mm, six pixels, a pair
	_, sharp := ground(stripes, 16)
	_, dull := ground(stripes, 1)
	t.Logf("contrast %.3f with 16 samples, %.3f with one", sharp, dull)
	require.Greater(t, sharp, 0.35)
	require.Less(t, dull, 0.6*sharp)
}

// A tangent-space normal map moves what the tear film mirrors as it does in the path tracer: a coat over black, lit by a large soft panel.
func TestNormalMap(t *testing.T) {
	file := picture(t, "waves.png", 256, 3, func(x, y, c int) float64 {
		p, q := 0.25*math.Sin(2*math.Pi*float64(x)/16), 0.25*math.Cos(2*math.Pi*float64(y)/16)
		k := 1 / math.Sqrt(1+p*p+q*q)
		return 0.5 + 0.5*[3]float64{p * k, q * k, k}[c]
	})
	yaml := `
picture: {width: 64, height: 64, samples: 24, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 9, target: [0, 0, 8], orbit: {azimuth: 15, elevation: 5, distance: 100}}
lights: [{name: panel, kind: rectangle, orbit: {azimuth: -20, elevation: 25, distance: 500}, width: 500, height: 400, radiance: [1, 1, 1]}]
raster: {prefilter_size: 32, texture_size: 128}
objects: [{name: eye, shape: eye, ` + fmt.Sprintf(plainEye, 3.6, 2.0, 0.0) + `}]`
	p := prepare(t, yaml, fmt.Sprintf("objects.eye.cornea.normal={file: %s}", file))
	drawn, traced := both(t, p)
	without := prepare(t, yaml)
	plain := draw(t, bake(t, without), without)
	var total, off, flat float64
	for i := range drawn.Mean {
		total += traced.Mean[i][1]
		off += math.Abs(drawn.Mean[i][1] - traced.Mean[i][1])
		flat += math.Abs(plain.Mean[i][1] - traced.Mean[i][1])
	}
	t.Logf("off by %.3f of the light with the map, by %.3f without", off/total, flat/total)
	require.Less(t, off, 0.2*total)
	require.Greater(t, flat, 0.5*total)
}
