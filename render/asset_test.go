package render

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene/imageio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	outerNode = "RightEye_Outer_ScleraCornea"
	innerNode = "RightEye_Inner_IrisBody"
	soundEye  = "../testdata/eye/ict_right_eye_axial24mm.glb"
	brokenEye = "../testdata/gltf/broken/"
)

func assetScene(file string) string {
	return fmt.Sprintf(`
picture: {width: 48, height: 48, samples: 8, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 20, target: [0, 0, 8], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 128, limbus: {radius: 5.4, width: 1}, asset: {file: %s, outer: %s, inner: %s}}]
`, file, outerNode, innerNode)
}

// The pupil is a hole into a hollow shell whose walls absorb: under an even sky, with the mirror image of the sky taken
// away, it sends back less than 3 % of what the sclera does. With an open cavity of white tissue it sends far more.
func TestImportedPupilIsDark(t *testing.T) {
	read := func(set ...string) (pupil, white float64, r *Result) {
		r = trace(t, assetScene(soundEye), append(set, "effects.tear_film=false")...)
		pic := r.Film.Develop()
		at := func(x, y float64, rad float64) float64 {
			m, _ := mean(&pic, 1, func(i int) bool {
				px, py := (float64(i%48)+0.5)/48*20-10, 10-(float64(i/48)+0.5)/48*20
				return math.Hypot(px-x, py-y) < rad
			})
			return m
		}
		return at(0, 0, 0.45), at(-7.5, 0, 1), r
	}
	pupil, white, r := read()
	t.Logf("pupil %.4f, white %.4f, %d leaks of %d walks", pupil, white, r.Stats.WalkLeaks, r.Stats.Walks)
	assert.Less(t, pupil, 0.03*white)
	assert.Greater(t, white, 0.4)
	assert.LessOrEqual(t, r.Stats.WalkLeaks, r.Stats.Walks/10000)
	open, _, _ := read("objects.eye.iris.pupil_closed=true")
	assert.Greater(t, open, 5*pupil+0.01, "what absorbs is what makes it dark")
}

// Odd shells are reported and rendered all the same.
func TestOddAssetsGoOn(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{"iris_through_cornea.glb", "pokes through the outer shell"},
		{"winding_flipped.glb", "clockwise"},
		{"eye_24_metres.glb", "probably millimetres stored as metres; asset.factor 0.001"},
	} {
		t.Run(c.file, func(t *testing.T) {
			p := prepare(t, assetScene(brokenEye+c.file), "picture.width=8", "picture.height=8", "picture.samples=1")
			assert.Contains(t, strings.Join(p.Warnings, "\n"), c.want)
			r, err := p.Render(context.Background(), Options{})
			require.NoError(t, err)
			assert.Equal(t, 1, r.SPP)
		})
	}
}

// A height map swells the built eye as it does an asset's: a picture that is 1 all over by half the scale on each side
// where 0.5 is no displacement, by nothing where 1 is. The scale's sign turns it.
func TestBuiltEyeHeight(t *testing.T) {
	file := filepath.Join(t.TempDir(), "one.png")
	require.NoError(t, imageio.WritePNG(file, 2, 2, 1, []byte{255, 255, 255, 255}, nil))
	const yaml = `
camera: {kind: orthographic, orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 64, cornea: {height: {file: %s, scale: %g, zero_level: %g}}}]
`
	width := func(scale, mid float64) float64 {
		p := prepare(t, fmt.Sprintf(yaml, file, scale, mid))
		return p.Scene.Objects[p.Scene.Eyes[0].Outer].Mesh.Bounds().Size().X
	}
	flat := width(0, 0.5)
	assert.InDelta(t, flat+0.1, width(0.1, 0.5), 0.005)
	assert.InDelta(t, flat-0.1, width(-0.1, 0.5), 0.005)
	assert.InDelta(t, flat, width(0.1, 1), 1e-12)
}
