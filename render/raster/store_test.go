package raster_test

import (
	"context"
	"fmt"
	"testing"

	"catchlight/render"

	"github.com/stretchr/testify/require"
)

// A change bakes what rests on it and no more: a camera nothing, a turn of the eye or of the lights what the light about the eye makes
// of it, a colour the tint beside that, a pupil the relief. A frame of what was kept has the bits of one that is baked alone.
func TestTurnsBakeOnce(t *testing.T) {
	scene := fmt.Sprintf(`
picture: {width: 32, height: 32}
camera: {orbit: {azimuth: 10, distance: 300}, focal_length: 300}
lights:
  - {name: room, kind: constant, radiance: 0.2}
  - {name: window, kind: rectangle, orbit: {azimuth: -36, elevation: 28, distance: 1400}, width: 560, height: 720, panes: [2, 3], bar: 32, radiance: 30}
raster: {texture_size: 64, prefilter_size: 32, triangles: 2000, shadow: none, coverage_samples: 4}
objects: [{name: eye, shape: eye, `+plainEye+"}, {name: card, shape: rectangle, size: [20, 20, 0.1], transform: {translate: [-40, 0, 20], rotate: [0, 70, 0]}}]", 3.5, 4.0, 0.4)
	store := new(render.Baked)
	frame := func(made int, sets ...string) {
		t.Helper()
		p := prepare(t, scene, sets...)
		before := store.Made
		kept, err := p.Raster(context.Background(), render.Options{Baked: store})
		require.NoError(t, err)
		require.Equal(t, made, store.Made-before, "%v", sets)
		alone, err := p.Raster(context.Background(), render.Options{})
		require.NoError(t, err)
		require.Equal(t, alone.Film.Develop().Mean, kept.Film.Develop().Mean, "%v", sets)
	}
	frame(5)
	frame(0, "camera.focal_length=310")
	frame(1, "objects.eye.transform.rotate=[-7, 121, 0]")
	frame(1, "light_setup.rotation=40")
	frame(2, "objects.eye.iris.colour=0.5")
	frame(2, "objects.eye.iris.pupil=6")
	frame(2, "light_setup.ev=1")
	frame(0)
}
