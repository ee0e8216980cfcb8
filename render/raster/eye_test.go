package raster_test

import (
	"fmt"
	"math"
	"testing"

	"catchlight/scene/colour"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The white under its coat answers a lamp as the path tracer's does, under a smooth tear film and a rough one: what falls in is
// divided by the share of even light that the coat lets in, 0.93 for a smooth one, as the coat lets that much less out again.
func TestWhiteUnderItsCoat(t *testing.T) {
	for _, rough := range []float64{0, 0.5} {
		p := prepare(t, fmt.Sprintf(`
picture: {width: 24, height: 24, samples: 64, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 8, target: [0, 0, 0], orbit: {azimuth: 180, distance: 100}}
lights: [{name: lamp, kind: distant, angle: 1, orbit: {azimuth: 130}, irradiance: [3, 3, 3], camera_visible: false}]
raster: {texture_size: 64, prefilter_size: 16, occlusion: none, caustic: none, glints: lamps}
objects: [{name: eye, shape: eye, map_size: 64, cornea: {wobble: 0, roughness: 0}, sclera: {colour: 0.5, scattering: false, wobble: 0, veins: 0, roughness: %g}}]`, rough))
		drawn, traced := both(t, p)
		a, b := 0.0, 0.0
		for i := range drawn.Mean {
			a, b = a+drawn.Mean[i][1]/(24*24), b+traced.Mean[i][1]/(24*24)
		}
		t.Logf("roughness %g: drawn %.4f, traced %.4f", rough, a, b)
		require.Greater(t, b, 0.2)
		assert.InEpsilon(t, b, a, 0.015, "roughness %g", rough)
	}
}

// Where the shell is mostly a thin coat but the iris lies behind it, what is seen there is the iris through a bending shell all
// the same. A lamp so far to the side that it does not reach the white before the camera lights the iris there: drawn and traced
// pictures show the band about the limbus alike.
func TestIrisSeenPastTheLimbus(t *testing.T) {
	p := prepare(t, `
picture: {width: 96, height: 96, samples: 16, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 16, target: [0, 0, 9], orbit: {azimuth: 55, distance: 100}}
lights: [{name: lamp, kind: distant, angle: 4, orbit: {azimuth: -60}, irradiance: [3, 3, 3], camera_visible: false}]
raster: {texture_size: 256, prefilter_size: 16, occlusion: none}
objects: [{name: eye, shape: eye, map_size: 128, cornea: {wobble: 0}, limbus: {width: 2},
  iris: {colour: 0.9, relief: 0, scattering: false, pupil_closed: true}, sclera: {colour: 0, scattering: false, wobble: 0, veins: 0}}]`)
	drawn, traced := both(t, p)
	band := func(pic []colour.RGB) (mean float64) {
		for y := 36; y < 60; y++ {
			for x := 54; x < 66; x++ {
				mean += pic[y*96+x][1] / (24 * 12)
			}
		}
		return mean
	}
	a, b := band(drawn.Mean), band(traced.Mean)
	t.Logf("drawn %.4f, traced %.4f", a, b)
	require.Greater(t, b, 0.1)
	assert.InEpsilon(t, b, a, 0.1)
}

// Without a baked caustic the middle of the iris is as bright under a lamp on the axis as paraxial optics says: what the cornea lets
// in, focused by 1/(1 - d(n-1)/(n R))^2 at the depth d = 3.6 mm behind a radius R = 7.8 mm, over n^2 as it is seen through the same
// surface, and let out again. The numbers are those of TestLightOnTheIris: 1.2534 with the way in.
func TestIrisWithoutCaustic(t *testing.T) {
	p := prepare(t, fmt.Sprintf(`
picture: {width: 8, height: 8, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 0.5, target: [0, 0, 8], orbit: {distance: 100}}
lights: [{name: lamp, kind: distant, angle: 0.53, orbit: {azimuth: 0}, irradiance: [1, 1, 1], camera_visible: false}]
raster: {texture_size: 256, prefilter_size: 16, occlusion: none, caustic: none, glints: none, reflection: none, limbal_darkening: 0}
objects: [{name: eye, shape: eye, `+plainEye+`}]`, 3.6, 1.6, 0.5), "objects.eye.iris.pupil_closed=true")
	pic := draw(t, bake(t, p), p)
	const n = 1.336
	out := 1 - (n-1)*(n-1)/((n+1)*(n+1))
	mean := 0.0
	for _, v := range pic.Mean {
		mean += v[1] / 64
	}
	assert.InEpsilon(t, 0.5/math.Pi*1.2534/(n*n)*out, mean, 0.02)
}
