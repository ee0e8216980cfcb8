package render

import (
	"path/filepath"
	"testing"

	"catchlight/scene/imageio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A closed box whose walls have a map of 1.5 shows what one of 0.98 shows: light that would grow by half at each bounce dies
// out. Taken as it is the map gave 7.3e32 here.
func TestBrightMapLightDiesOut(t *testing.T) {
	pix := make([]float32, 3*4)
	for i := range pix {
		pix[i] = 1.5
	}
	file := filepath.Join(t.TempDir(), "bright.pfm")
	require.NoError(t, imageio.WritePFM(file, 2, 2, 3, pix))
	read := func(colour string) float64 {
		r := trace(t, `
picture: {width: 8, height: 8, samples: 16}
camera: {kind: orthographic, width: 1, target: [0, 0, 2], orbit: {azimuth: 0, distance: 1}}
lights: [{name: lamp, kind: sphere, radius: 0.5, position: [1, 1, 1], radiance: [1, 1, 1]}]
advanced: {max_depth: 200}
objects:
  - {name: room, shape: box, size: [8, 8, 8], material: {kind: diffuse, colour: `+colour+`}}
`)
		pic := r.Film.Develop()
		m, _ := mean(&pic, 1, func(int) bool { return true })
		return m
	}
	want := read("0.98")
	got := read("{file: " + file + "}")
	t.Logf("map of 1.5: %g, plain 0.98: %g", got, want)
	assert.InEpsilon(t, want, got, 1e-5)
}
