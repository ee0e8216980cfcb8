package raster_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"catchlight/render"

	"github.com/stretchr/testify/require"
)

// A change bakes what rests on it and no more: a camera nothing, the strength of lights and the turn of an environment next to
// nothing, a colour the tint, a pupil the relief and what light does there, a lamp that moves its own. A frame of what was kept has the bits of one that is baked alone.
func TestTurnsBakeOnce(t *testing.T) {
	scene := fmt.Sprintf(`
picture: {width: 32, height: 32}
camera: {orbit: {azimuth: 10, distance: 300}, focal_length: 300}
lights:
  - {name: room, kind: environment, file: builtin:cottage-room-unlit}
  - {name: window, kind: rectangle, orbit: {azimuth: -36, elevation: 28, distance: 1400}, width: 560, height: 720, panes: [2, 3], bar: 32, radiance: 30}
raster: {texture_size: 64, prefilter_size: 32, triangles: 2000, shadow: none, coverage_samples: 4}
objects: [{name: eye, shape: eye, `+plainEye+"}, {name: card, shape: rectangle, size: [20, 20, 0.1], transform: {translate: [-40, 0, 20], rotate: [0, 70, 0]}}]", 3.5, 4.0, 0.4)
	frame := kept(t, scene)
	// What a lamp sends through the cornea and to what stands about the eye goes by its shape, not by its strength.
	moved := []string{"about eye 0: mirrored by lamp 1", "about eye 0: sky by lamp 1", "caustic of eye 0 by lamp 1", "look", "transfer of eye 0 by lamp 1"}
	frame(append([]string{"about eye 0", "cornea 0", "relief 0", "surroundings room", "tint 0", "transfer of eye 0"}, moved...))
	frame(nil, "camera.focal_length=310")
	// The card stands where it stood as seen from the eye's middle, and the iris does not see it any more.
	frame([]string{"about eye 0", "about eye 0: sky by lamp 1", "caustic of eye 0 by lamp 1", "look", "transfer of eye 0"}, "objects.eye.transform.rotate=[-7, 121, 0]")
	frame(moved, "lights.window.orbit.azimuth=-30")
	frame([]string{"look"}, "lights.room.rotation=40")
	frame([]string{"look"}, "light_setup.ev=1")
	frame([]string{"look", "surroundings room"}, "lights.room.tint=[1, 0.5, 0.2]")
	frame([]string{"look", "tint 0"}, "objects.eye.iris.colour=0.5")
	frame([]string{"about eye 0", "caustic of eye 0 by lamp 1", "look", "relief 0", "transfer of eye 0", "transfer of eye 0 by lamp 1"}, "objects.eye.iris.pupil=6")
	frame(nil)
}

// kept returns a function that draws the scene with changes, of what a cache keeps of the frames before, and wants the named stages made
// and the bits of a frame that is baked alone.
func kept(t *testing.T, scene string) func(made []string, sets ...string) {
	store := render.NewCache()
	return func(made []string, sets ...string) {
		t.Helper()
		p := prepare(t, scene, sets...)
		q, err := p.Raster(context.Background(), render.Options{Cache: store})
		require.NoError(t, err)
		var names []string
		for _, s := range q.Stats.Stages {
			if name, ours := strings.CutPrefix(s.Name, "raster "); ours && s.From == "made" {
				names = append(names, name)
			}
		}
		require.ElementsMatch(t, made, names, "%v", sets)
		alone, err := p.Raster(context.Background(), render.Options{})
		require.NoError(t, err)
		require.Equal(t, alone.Film.Develop().Mean, q.Film.Develop().Mean, "%v", sets)
	}
}

// A camera that moves on a little keeps the shadow maps, one that shows another part draws them anew, and so does a lamp that moves; its
// strength leaves them alone.
func TestShadowsAreKept(t *testing.T) {
	frame := kept(t, `
picture: {width: 48, height: 48}
camera: {target: [2, 1, 2], orbit: {azimuth: 20, elevation: 40, distance: 300}, focal_length: 300}
lights: [{name: lamp, kind: disc, orbit: {azimuth: 30, elevation: 40, distance: 400}, radius: 30, radiance: 30}]
raster: {shadow_size: 256, prefilter_size: 16}
objects:
  - {name: ground, shape: rectangle, size: [60, 60, 0.1], material: {kind: diffuse, colour: 0.5}}
  - {name: crate, shape: box, size: [5, 6, 8], transform: {translate: [0, 0, 4]}, material: {kind: diffuse, colour: 0.7}}`)
	frame([]string{"look", "shadows of lamp 0"})
	frame(nil, "camera.orbit.azimuth=21")
	frame(nil, "camera.orbit.azimuth=20.5", "camera.orbit.elevation=40.5")
	frame([]string{"shadows of lamp 0"}, "camera.focal_length=900")
	frame([]string{"look"}, "light_setup.ev=1")
	frame([]string{"look", "shadows of lamp 0"}, "lights.lamp.orbit.azimuth=40")
	frame(nil, "camera.orbit.azimuth=21")
}
