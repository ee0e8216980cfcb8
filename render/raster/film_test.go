package raster_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A rough tear film loses nothing: even light of radiance 1 shows a white eye as 1 (conservation of energy), in the mean and at
// the rim, where a rough film mirrors less than a smooth one and so lets more pass.
func TestRoughFilmInEvenLight(t *testing.T) {
	const n = 48
	for _, c := range []struct {
		name     string
		from     float64 // azimuth of the camera, degrees
		tear     float64 // roughness over the cornea and the white
		mean, at float64 // tolerances: of the mean and of single pixels
	}{{"white, smooth", 180, 0, 0.001, 0.01}, {"white, rough", 180, 0.6, 0.001, 0.01}, {"whole, rough", 0, 0.6, 0.005, 0.05}} {
		p := prepare(t, fmt.Sprintf(`
picture: {width: %d, height: %[1]d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 26, target: [0, 0, 0], orbit: {azimuth: %g}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
raster: {texture_size: 64, prefilter_size: 16, occlusion: none}
objects: [{name: eye, shape: eye, map_size: 64, cornea: {roughness: %g, wobble: 0},
  iris: {colour: 1, scattering: false, pupil_closed: true, relief: 0}, sclera: {roughness: %[3]g, wobble: 0, colour: 1, scattering: false, veins: 0}}]`, n, c.from, c.tear))
		pic := draw(t, bake(t, p), p)
		sum, count, worst := 0.0, 0.0, 0.0
		for i, v := range pic.Mean {
			if x, y := float64(i%n)-23.5, float64(i/n)-23.5; pic.Alpha[i] < 1 || math.Hypot(x, y) > 22 {
				continue
			}
			sum, count = sum+v[1], count+1
			if d := v[1] - 1; math.Abs(d) > math.Abs(worst) {
				worst = d
			}
		}
		t.Logf("%s: mean %.5f, furthest pixel %+.4f", c.name, sum/count, worst)
		assert.InDelta(t, 1, sum/count, c.mean, c.name)
		assert.InDelta(t, 0, worst, c.at, c.name)
	}
}
