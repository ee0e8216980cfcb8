package raster_test

import (
	"math"
	"testing"

	"catchlight/render/raster"
	"catchlight/scene/colour"
	"catchlight/scene/geom"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a ball takes of the hemisphere is the cosine-weighted share of directions that meet it, by summing over even cells: clear of the
// horizon, cut by it, and beneath it.
func TestBallHides(t *testing.T) {
	for _, c := range []geom.Vec{{Z: 3}, {X: 2, Z: 2.5}, {X: 2, Z: 0.5}, {X: 1.4, Z: -0.3}, {X: 2, Z: -1.2}, {X: 0.3, Z: 1.1}} {
		const n = 400
		sum := 0.0
		for i := range n {
			for j := range n {
				d := geom.CosineHemisphere((float64(i)+0.5)/n, (float64(j)+0.5)/n)
				if k := c.Dot(d); k > 0 && c.Mad(-k, d).Len() < 1 {
					sum += 1.0 / (n * n)
				}
			}
		}
		assert.InDelta(t, sum, raster.BallHides(geom.Vec{}, geom.Vec{Z: 1}, c, 1), 2e-3, c)
	}
	assert.Equal(t, colour.Grey(0), raster.Opened(0, colour.Grey(0.5)))
	for _, c := range []float64{0.05, 0.4, 0.9} { // brighter neighbours send on more, and what is open loses nothing
		assert.InDelta(t, 1, raster.Opened(1, colour.Grey(c))[0], 0.011)
		assert.Greater(t, raster.Opened(0.4, colour.Grey(c+0.1))[0], raster.Opened(0.4, colour.Grey(c))[0]-1e-12)
		assert.GreaterOrEqual(t, raster.Opened(0.4, colour.Grey(c))[0], 0.4)
	}
}

// An eye on a wet stone stands on it: the stone beneath it gets darker toward the contact, and a mirror before it shows the eye in place
// of the sky.
func TestEyeStandsOnItsStone(t *testing.T) {
	const yaml = `
picture: {width: 48, height: 48}
camera: {kind: orthographic, width: 60, target: [0, -8, 0], orbit: {azimuth: 0, elevation: 25, distance: 200}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
raster: {prefilter_size: 16, texture_size: 64, triangles: 500, caustic: none, coverage_samples: 4}
objects:
  - {name: eye, shape: eye, ` + plainEye0 + `}
  - {name: stone, shape: rectangle, size: [120, 120, 0.1], transform: {translate: [0, -12, 0], rotate: [-90, 0, 0]}, material: `
	at := func(material string) func(y int) float64 {
		p := prepare(t, yaml+material+"}")
		pic := draw(t, bake(t, p), p)
		return func(y int) float64 { return pic.Mean[y*48+24][1] }
	}
	matt := at("{colour: 0.5}")
	for y := 29; y < 47; y++ {
		require.LessOrEqual(t, matt(y), matt(y+1)+1e-6, y)
	}
	assert.Less(t, matt(29), 0.4)
	assert.Greater(t, matt(47), 0.46)
	mirror := at("{kind: conductor, mirror: true}")
	assert.InDelta(t, 1, mirror(47), 0.01) // the sky
	assert.Less(t, mirror(34), 0.6)        // the eye, which is not as light
}

const plainEye0 = "map_size: 64, iris: {colour: 0.3, scattering: false}, sclera: {colour: 0.5, scattering: false}"

// Tears are drawn from corner to corner, and cover nothing of the globe's middle.
func TestTearsAreDrawn(t *testing.T) {
	const yaml = `
picture: {width: 60, height: 40}
camera: {kind: orthographic, width: 36, target: [1, -1, 8], orbit: {distance: 200}}
lights: [{name: lamp, kind: disc, orbit: {azimuth: -30, elevation: 24, distance: 1000}, radius: 25, radiance: 2000}]
raster: {prefilter_size: 16, texture_size: 64, triangles: 2000, caustic: none, coverage_samples: 4, shadow: none, scattering: none}
objects: [{name: eye, shape: eye, lids: {facet_size: 0.5, lashes: {density: 0}, skin: {scattering: false}}, ` + plainEye0 + `}]`
	p := prepare(t, yaml)
	k := bake(t, p)
	wet := k.Wet(p.Scene.Camera, 60, 40)
	columns := 0
	for x := range 60 {
		any := false
		for y := range 40 {
			i := y*60 + x
			any = any || wet[i] > 0
			if mm := 0.6; math.Hypot((float64(x)+0.5-30)*mm+1, (float64(y)+0.5-20)*mm+1) < 3 {
				require.Zero(t, wet[i])
			}
		}
		if any {
			columns++
		}
	}
	assert.InDelta(t, 28/0.6, columns, 6) // from corner to corner
}
