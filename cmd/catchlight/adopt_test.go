package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// The licensed eye, at both of its scales, as .glb and as .obj, becomes a scene that renders with no hand edit: three
// drafts, a page that names each guess, and nothing written over. Under an even sky the pupil is dark and the sclera is not.
func TestAdopt(t *testing.T) {
	eyes, err := filepath.Abs("../../testdata/eye")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	for _, q := range []struct{ file, says string }{
		{"ict_right_eye_axial24mm.glb", "it reads as an eye"},
		{"ict_right_eye.glb", "factor 0.72454 would make it 24 mm"},
		{"ict_right_eye.obj", "unsure: unit: cm"},
	} {
		// Drafts of the last alone: they take most of the time.
		drafts := q.file == "ict_right_eye.obj"
		code, out, stderr := catchlight("adopt", filepath.Join(eyes, q.file), "--size", "48", "--samples", "2", fmt.Sprintf("--drafts=%t", drafts))
		require.Zero(t, code, stderr)
		require.Contains(t, out, q.says)
		dir := filepath.Join("out", "adopt-"+strings.TrimSuffix(q.file, filepath.Ext(q.file)))
		if q.file == "ict_right_eye.obj" {
			dir += "-2" // the .glb of that name was there first
		}
		for _, light := range []string{"window", "grazing", "overcast"} {
			if !drafts {
				break
			}
			p, err := imageio.Read(filepath.Join(dir, "draft-"+light+".png"))
			require.NoError(t, err)
			require.Equal(t, 48, p.W)
		}
		page, err := os.ReadFile(filepath.Join(dir, "list.html"))
		require.NoError(t, err)
		require.Equal(t, drafts, strings.Contains(string(page), "draft-window.png"))
		for _, w := range []string{"the built-in eye", "a surface of revolution", "by its name"} {
			require.Contains(t, string(page), w)
		}
		require.NotContains(t, string(page), "http")
		// The pupil is found on the axis: dark beside the sclera in the overcast draft's linear picture.
		code, _, stderr = catchlight("render", filepath.Join(dir, "scene.yaml"), "--size", "40x40", "--samples", "8", "--out", "x.pfm",
			"--set", "lights.window.on=false", "--set", "lights.room.on=false", "--set", "lights.overcast.on=true",
			"--set", "camera.orbit.azimuth=0", "--set", "camera.orbit.elevation=0", "--set", "effects.tear_film=false", "--set", "objects.lid-card.on=false", "--set", "objects.eye.map_size=256")
		require.Zero(t, code, stderr)
		p, err := imageio.Read("x.pfm")
		require.NoError(t, err)
		g := p.Channel("G")
		require.Less(t, g[20*40+20], 0.1*g[20*40+32])
	}
	before, err := os.ReadFile("out/adopt-ict_right_eye/scene.yaml")
	require.NoError(t, err)
	code, _, stderr := catchlight("adopt", filepath.Join(eyes, "ict_right_eye.glb"), "--out", "out/adopt-ict_right_eye", "--drafts=false")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "not empty; nothing is written over")
	after, err := os.ReadFile("out/adopt-ict_right_eye/scene.yaml")
	require.NoError(t, err)
	require.Equal(t, before, after)
	code, _, stderr = catchlight("adopt", filepath.Join(eyes, "README.md"))
	require.NotZero(t, code)
	require.Contains(t, stderr, "export the eye as glTF")
	code, out, _ := catchlight("adopt", "--print-names")
	require.Zero(t, code)
	require.Contains(t, out, "map colour: ")
	code, _, stderr = catchlight("adopt", filepath.Join(eyes, "ict_right_eye.glb"), "--side", "left")
	require.NotZero(t, code)
	require.Contains(t, stderr, "the file's only eye is the right one")
}

// A proposal with maps loads: files by their places, green and mid as found.
func TestAdoptedMapsLoad(t *testing.T) {
	eye, err := filepath.Abs("../../testdata/eye/ict_right_eye_axial24mm.glb")
	require.NoError(t, err)
	dir := t.TempDir()
	t.Chdir(dir)
	require.NoError(t, os.Mkdir("maps", 0o777))
	pix := make([]byte, 3*32*32)
	for i := range pix {
		pix[i] = byte(100 + i%50)
	}
	for _, n := range []string{"eye_color.1001.png", "eye_color.1002.png", "iris_height.png", "cornea_normal.png"} {
		require.NoError(t, imageio.WritePNG(filepath.Join("maps", n), 32, 32, 3, pix, nil))
	}
	code, _, stderr := catchlight("adopt", eye, "maps", "--out", "mine", "--drafts=false")
	require.Zero(t, code, stderr)
	d, err := scene.Load("mine/scene.yaml")
	require.NoError(t, err)
	e := d.Objects[0].Eye
	require.Equal(t, "eye_color.{tile}.png", filepath.Base(string(e.Iris.Colour.File)))
	require.Equal(t, e.Iris.Colour.File, e.Sclera.Colour.File)
	require.NotNil(t, e.Iris.Height)
	require.NotNil(t, e.Cornea.Normal)
	require.InDelta(t, 4, e.Iris.Pupil, 1e-9)
}
