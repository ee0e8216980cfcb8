package render

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// marshEye is an eye under a sky, a lamp and a sun: every kind of path is in it.
const marshEye = `
picture: {width: 32, height: 32, samples: 8}
camera: {kind: orthographic, width: 26, target: [0, 0, 8], orbit: {azimuth: 0}}
lights:
  - {name: sky, kind: constant, radiance: [0.3, 0.35, 0.4]}
  - {name: lamp, kind: rectangle, orbit: {azimuth: 30, elevation: 30, distance: 600}, radiance: [8, 7, 6]}
  - {name: sun, kind: distant, angle: 2, orbit: {azimuth: -50, elevation: 20}, irradiance: [2, 2, 2]}
objects:
  - {name: eye, shape: eye, map_size: 128}
`

// A picture's bits depend on the scene, the seed and the samples, never on the workers.
func TestWorkersMakeTheSamePicture(t *testing.T) {
	for _, sharing := range []string{"picture.sharing=none", "picture.sharing=splatting"} {
		p := prepare(t, marshEye, sharing)
		var first *Result
		for _, n := range []int{1, 2, 7} {
			r, err := p.Render(context.Background(), Options{Workers: n})
			require.NoError(t, err)
			if first == nil {
				first = r
				continue
			}
			assert.True(t, sameBits(t, first.Film, r.Film), "%d workers", n)
			a, b := first.Stats.Stats, r.Stats.Stats
			assert.Equal(t, a, b, "%d workers count alike", n)
		}
		other := finish(t, prepare(t, marshEye, "picture.seed=2", sharing))
		assert.False(t, sameBits(t, first.Film, other.Film), "another seed gives other noise")
	}
}
