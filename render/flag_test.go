package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/film"
)

// one is a picture's mean luminance and its standard error.
func one(pic *film.Picture) (l, se float64) {
	for i := range pic.Mean {
		l += pic.Mean[i].Luminance() / float64(len(pic.Mean))
		se += pic.Error[i].Luminance() * pic.Error[i].Luminance()
	}
	return l, math.Sqrt(se) / float64(len(pic.Mean))
}

// A flag keeps a lamp from a card, and is what a mirror shows in its place: pi times its radiance is its colour times what falls on it.
// Turned with the light set-up it is where the lamp went.
func TestFlag(t *testing.T) {
	const yaml = `
picture: {width: 4, height: 4, samples: 64}
camera: {kind: orthographic, width: 0.2, target: [0, 0, 0], orbit: {azimuth: 0, elevation: 40, distance: 20}}
light_setup: {rotation: %g}
lights:
  - {name: lamp, kind: rectangle, target: [0, 0, 0], orbit: {azimuth: %g, elevation: 50, distance: 1000}, width: 100, height: 100, radiance: 100}
  - {name: card, kind: flag, target: [0, 0, 0], orbit: {azimuth: %g, elevation: 50, distance: 500}, width: 200, height: 200, colour: 0.25, on: %t}
  - {name: room, kind: constant, radiance: 1}
objects:
  - {name: plate, shape: rectangle, size: [4, 4, 1], transform: {rotate: [-45, 0, 0]}, material: %s}
`
	grey := "{colour: 0.5}"
	open, _ := one(ptr(trace(t, fmt.Sprintf(yaml, 0., 20., 20., false, grey)).Film.Develop()))
	shut, se := one(ptr(trace(t, fmt.Sprintf(yaml, 0., 20., 20., true, grey)).Film.Develop()))
	require.Greater(t, open, 0.62)
	require.InDelta(t, 0.49, shut, 0.02+3*se) // the room, less what the flag takes and gives of it
	turned, se2 := one(ptr(trace(t, fmt.Sprintf(yaml, 60., -40., -40., true, grey)).Film.Develop()))
	require.InDelta(t, shut, turned, 4*math.Hypot(se, se2)+1e-3)
	mirror := "{kind: conductor, mirror: true}"
	l, _ := one(ptr(trace(t, fmt.Sprintf(yaml, 0., 0., 0., false, mirror)).Film.Develop()))
	require.InDelta(t, 100, l, 1e-6)
	l, se = one(ptr(trace(t, fmt.Sprintf(yaml, 0., 0., 0., true, mirror)).Film.Develop()))
	require.InDelta(t, 0.25, l, 0.01+4*se)
}

func ptr[T any](v T) *T { return &v }

// A plate under a lamp with a profile reads the same by samples of the lamp and by chance alone, and what the lamp brings far away is
// that of an even one of its radiance.
func TestProfileByChance(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 1024, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 40, target: [0, 0, 0], orbit: {distance: 20}}
advanced: {light_samples: %t}
lights: [{name: lamp, kind: %s, position: [30, 10, 60], target: [0, 0, 0], radiance: 3, profile: {core: 3, edge: 0.3, soft: 0.2, sky: 0.5}}]
objects: [{name: plate, shape: rectangle, size: [400, 400, 1], material: {colour: 1}}]
`
	for _, lamp := range []string{"rectangle, width: 50, height: 70, panes: [2, 2], bar: 6", "disc, radius: 30"} {
		a, ea := one(ptr(trace(t, fmt.Sprintf(yaml, true, lamp)).Film.Develop()))
		b, eb := one(ptr(trace(t, fmt.Sprintf(yaml, false, lamp)).Film.Develop()))
		require.Less(t, ea, 0.002*a)
		require.InDelta(t, a, b, 4*math.Hypot(ea, eb), lamp)
	}
}
