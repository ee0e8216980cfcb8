package render

import (
	"fmt"
	"math"
	"testing"

	"catchlight/material/fresnel"
	"catchlight/render/film"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// globeFromBehind is the white of a smooth globe seen from the back, where it is a sphere of 12 mm; one pixel is 0.26 mm.
const globeFromBehind = `
picture: {width: 96, height: 96, samples: %d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 25, target: [0, 0, 0], orbit: {azimuth: 180, distance: 100}}
view: {background: gradient}
lights: [%s]
objects: [{name: eye, shape: eye, map_size: 128, cornea: {wobble: 0},
  sclera: {colour: %g, scattering: false, wobble: 0, veins: 0, roughness: %g}}]`

// ring returns the mean of the picture between two radii, mm, and the mean of f over the same pixels' places.
func ring(pic *film.Picture, r0, r1 float64, f func(r float64) float64) (seen, want float64) {
	n := 0.0
	for i, v := range pic.Mean {
		x, y := (float64(i%96)-47.5)*25/96, (float64(i/96)-47.5)*25/96
		if r := math.Hypot(x, y); r >= r0 && r < r1 {
			sub := 0.0
			for k := range 64 { // within the pixel
				sub += f(math.Hypot(x+(float64(k%8)-3.5)/8*25/96, y+(float64(k/8)-3.5)/8*25/96)) / 64
			}
			seen, want, n = seen+v[1], want+sub, n+1
		}
	}
	return seen / n, want / n
}

// The rim of the globe mirrors by Fresnel's formula and no more: under an even sky a nearly black globe shows F(r), which is 0.21 in
// the mean of the outer tenth of the radius and rises to 1. So a rim that is lighter than the white inside it is the light
// beside and behind the eye, mirrored.
func TestRimMirrorsByFresnel(t *testing.T) {
	for _, look := range []string{"traced", "raster"} {
		p := prepare(t, fmt.Sprintf(globeFromBehind, 8, "{name: sky, kind: constant, radiance: [1, 1, 1]}", 0.0, 0.0))
		var r *Result
		var err error
		if look == "raster" {
			r, err = p.Raster(t.Context(), Options{})
		} else {
			r, err = p.Render(t.Context(), Options{})
		}
		require.NoError(t, err)
		pic := r.Film.Develop()
		f := func(r float64) float64 {
			s := min(1, r/12)
			return fresnel.Dielectric(math.Sqrt(1-s*s), 1.336)
		}
		for _, c := range []struct{ r0, r1, tol float64 }{{0, 6, 0.01}, {6, 9.6, 0.01}, {9.6, 10.8, 0.02}, {10.8, 11.6, 0.03}} {
			seen, want := ring(&pic, c.r0, c.r1, f)
			t.Logf("%s, %.1f to %.1f mm: %.4f, Fresnel %.4f", look, c.r0, c.r1, seen, want)
			assert.InEpsilon(t, want, seen, c.tol, look)
		}
	}
}

// Where nothing stands beside and behind the eye there is no light rim: under a lamp before it and a black surround the last 0.5 mm
// is no lighter than the millimetre inside it (1.1 times at most: pictures of what stands about it are the only cause of more).
func TestNoLightRimInTheDark(t *testing.T) {
	p := prepare(t, fmt.Sprintf(globeFromBehind, 16, "{name: lamp, kind: distant, angle: 2, orbit: {azimuth: 200, elevation: 25}, irradiance: [3, 3, 3], camera_visible: false}", 0.6, 0.12))
	r, err := p.Render(t.Context(), Options{})
	require.NoError(t, err)
	pic := r.Film.Develop()
	one := func(float64) float64 { return 1 }
	edge, _ := ring(&pic, 11.3, 11.8, one)
	inside, _ := ring(&pic, 10.3, 11.3, one)
	t.Logf("edge %.4f, millimetre inside %.4f: %.2f", edge, inside, edge/inside)
	assert.Less(t, edge, 1.1*inside)
	assert.Greater(t, inside, 0.05)
}
