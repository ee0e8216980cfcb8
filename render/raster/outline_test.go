package raster_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The outline of a globe and that of a pupil have no steps: along both the drawn picture keeps to the traced one, whose filter
// is known. The pupil's margin is black on white; where a pixel's middle lay in the pupil its tissue was black too, so the
// margin was all or nothing, and the globe's outline had four levels only.
func TestOutlinesHaveNoSteps(t *testing.T) {
	p := prepare(t, `
picture: {width: 48, height: 48, samples: 48, filter: tent, filter_width: 1.5}
camera: {kind: orthographic, width: 5, target: [0, 0, 9], orbit: {distance: 100}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1], camera_visible: false}]
raster: {prefilter_size: 16, occlusion: none, texture_size: 512}
objects: [{name: eye, shape: eye, map_size: 128, cornea: {asphericity: 0, wobble: 0},
  iris: {relief: 0, pupil: 3, colour: 0.9, scattering: false}, sclera: {scattering: false, wobble: 0, veins: 0}}]`)
	drawn, traced := both(t, p)
	sum, n, worst := 0.0, 0, 0.0
	for i, v := range drawn.Mean {
		x, y := float64(i%48)-23.5, float64(i/48)-23.5
		if r := math.Hypot(x, y) * 5 / 48; r > 1.2 && r < 2.2 {
			d := v[1] - traced.Mean[i][1]
			sum, n, worst = sum+d*d, n+1, max(worst, math.Abs(d))
		}
	}
	rms := math.Sqrt(sum / float64(n))
	t.Logf("pupil: rms %.4f, worst %.3f of %d pixels", rms, worst, n)
	require.Greater(t, n, 700)
	assert.Less(t, rms, 0.0375)
	assert.Less(t, worst, 0.25) // 0.15 before the margin had beads of some hundredths of a mm, smaller than a pixel's samples

	// A circle's share of each pixel against the drawn coverage.
	q := prepare(t, `
picture: {width: 64, height: 64}
view: {background: gradient}
camera: {kind: orthographic, width: 30, target: [0, 0, 0], orbit: {distance: 100}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1], camera_visible: false}]
objects: [{name: ball, shape: sphere, radius: 12, material: {kind: diffuse, colour: 0.5}}]`)
	pic := draw(t, bake(t, q), q)
	sum, n = 0, 0
	for i, a := range pic.Alpha {
		in := 0
		for k := range 256 {
			x, y := float64(i%64)+(float64(k%16)+0.5)/16-32, float64(i/64)+(float64(k/16)+0.5)/16-32
			if math.Hypot(x, y)*30/64 < 12 {
				in++
			}
		}
		if s := float64(in) / 256; s > 0 && s < 1 {
			sum, n = sum+(a-s)*(a-s), n+1
		}
	}
	rms = math.Sqrt(sum / float64(n))
	t.Logf("globe: rms of coverage %.4f in %d pixels", rms, n)
	assert.Less(t, rms, 0.07)
}
