package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/imageio"
)

// litScene writes a float under a sky of a picture and a lamp.
func litScene(t *testing.T) {
	pix := make([]float32, 3*32*16)
	for i := range pix {
		pix[i] = 0.2 + float32(i%5)/3
	}
	require.NoError(t, imageio.WritePFM("sky.pfm", 32, 16, 3, pix))
	put(t, "lit.yaml", `picture: {width: 40, height: 30, samples: 16}
camera: {orbit: {distance: 200}, fov: 20}
lights: [{name: sky, kind: environment, file: sky.pfm}, {name: lamp, kind: disc, radius: 60, orbit: {azimuth: 40, distance: 500}, radiance: 40}]
objects: [{name: float, shape: sphere, radius: 15}]
`)
}

// Lights of a finished picture are listed and changed; the picture as seen is shown as its scene says, and mistakes are named.
func TestRelight(t *testing.T) {
	t.Chdir(t.TempDir())
	litScene(t)
	code, _, stderr := catchlight("render", "lit.yaml", "--passes", "lights,errors", "-o", "a.exr", "-o", "a.png")
	require.Zero(t, code, stderr)
	require.Contains(t, stderr, "the picture's sums take 0.00 GB with 7 passes")
	code, stdout, stderr := catchlight("relight", "a.exr")
	require.Zero(t, code, stderr)
	for _, n := range []string{"lamp ", "sky.left ", "sky.front "} {
		require.Contains(t, stdout, n)
	}
	code, stdout, stderr = catchlight("relight", "a.exr", "--ev", "sky=0", "-o", "same.png", "-o", "same.exr")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "mixed 2 lights (7 passes: an environment has one for each side) in ")
	require.Regexp(t, `grain \(one standard error\) is at most ([0-9.]+) % of the light, in the mean over the pixels; before it was [0-9.]+ %; four times`, stdout)
	require.NotContains(t, stdout, "denoised")
	a, err := imageio.Read("a.png")
	require.NoError(t, err)
	b, err := imageio.Read("same.png")
	require.NoError(t, err)
	for c := range a.Pix {
		for i := range a.Pix[c] {
			require.InDelta(t, a.Pix[c][i], b.Pix[c][i], 1.01/255)
		}
	}
	code, _, stderr = catchlight("relight", "a.exr", "--only", "lamp", "--ev", "lamp=1", "--colour", "lamp=1,0.5,0", "-o", "lamp.exr")
	require.Zero(t, code, stderr)
	one, err := imageio.Read("lamp.exr")
	require.NoError(t, err)
	whole, err := imageio.Read("a.exr")
	require.NoError(t, err)
	for c, k := range map[string]float32{"R": 2, "G": 1, "B": 0} {
		for i, v := range whole.Channel("light.lamp." + c) {
			require.InDelta(t, k*v, one.Channel(c)[i], 1e-5)
		}
	}
	put(t, "float.yaml", float)
	code, _, stderr = catchlight("render", "float.yaml", "-o", "bare.exr")
	require.Zero(t, code, stderr)
	for args, want := range map[string]string{
		"a.exr --ev sun=1 -o b.png":                `no light "sun"; there are lamp, sky.above`,
		"a.exr --only sun -o b.png":                "--only sun: no such light; there are lamp",
		"a.exr --ev lamp -o b.png":                 `--ev "lamp": give a light and a value, as NAME=VALUE`,
		"a.exr --ev lamp=much -o b.png":            `--ev "lamp=much": "much" is no number`,
		"a.exr --white lamp=100 -o b.png":          `--white "lamp=100": 100 K is outside [1700, 15000] K`,
		"a.exr --colour lamp=1,2 -o b.png":         `--colour "lamp=1,2": "1,2" is no colour; give three numbers as R,G,B`,
		"a.exr --ev lamp=1":                        "relight: --out names the picture to write",
		"a.exr --ev lamp=1 -o b.jpg":               `--out b.jpg: the ending ".jpg" is not one of .png .exr`,
		"a.exr --ev lamp=1 -o a.exr":               "a.exr",
		"bare.exr":                                 "bare.exr: it holds no passes of lights; render it with --passes lights",
		"a.png":                                    "a.png: OpenEXR: it does not begin as such a file does",
		"none.exr":                                 "none.exr: no such file",
		"a.exr --exposure 99 --ev lamp=1 -o b.png": "--exposure 99 is outside [-40, 40]",
	} {
		code, _, stderr := catchlight(append([]string{"relight"}, strings.Fields(args)...)...)
		require.NotZero(t, code, args)
		require.Contains(t, stderr, want, args)
	}
	require.NoFileExists(t, "b.png")
	code, _, stderr = catchlight("render", "lit.yaml", "--passes", "lights", "-o", "c.png")
	require.Equal(t, exitUsage, code)
	require.Contains(t, stderr, "--passes: they go into .exr files; give one, as --out NAME.exr")
	code, _, stderr = catchlight("render", "lit.yaml", "--passes", "moons", "-o", "c.exr")
	require.Equal(t, exitUsage, code)
	require.Contains(t, stderr, "--passes moons: known are lights, paths, surfaces, errors, all")
}

// A relit picture says how noisy it is: it is that of a render with such lights, and is not that of the render before. Where nothing is known
// of its grain, changed says what to do; a picture that was to be denoised says that it is not.
func TestRelitIsNoisyAsItSays(t *testing.T) {
	t.Chdir(t.TempDir())
	litScene(t)
	for name, more := range map[string]string{
		"a": "--passes lights,errors --denoise", "bare": "--passes lights", "right": "--seed 7 --set lights.sky.ev=1", "wrong": "--seed 7 --set lights.sky.ev=0.6",
	} {
		code, _, stderr := catchlight(append([]string{"render", "lit.yaml", "-o", name + ".exr"}, strings.Fields(more)...)...)
		require.Zero(t, code, stderr)
	}
	code, stdout, stderr := catchlight("relight", "a.exr", "--ev", "sky=1", "-o", "relit.exr")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "the picture was rendered to be denoised; passes are mixed raw, so this one is not: take more samples")
	code, stdout, stderr = catchlight("changed", "relit.exr", "right.exr")
	require.Zero(t, code, stdout+stderr)
	require.Contains(t, stdout, "right.exr: the lights of relit.exr were changed after its render")
	require.Contains(t, stdout, "right.exr: no change found; ")
	require.Contains(t, stdout, "\n  around ") // parts by the report of the other
	code, stdout, _ = catchlight("changed", "relit.exr", "wrong.exr")
	require.Equal(t, exitChanged, code, stdout)
	code, stdout, stderr = catchlight("relight", "bare.exr", "--ev", "sky=1", "-o", "dim.exr")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "its grain is not known, and catchlight changed does not take it: the passes hold no errors (render with --passes lights,errors)")
	code, _, stderr = catchlight("changed", "dim.exr", "right.exr")
	require.NotZero(t, code)
	require.Contains(t, stderr, "dim.exr: its lights were changed after the render, and how noisy it is then is not known; render with --passes lights,errors and change the lights again")
}

// Another seed is no change, another lamp is one, with code 3 and its part named; folders are compared by names, and what is missing counts.
func TestChanged(t *testing.T) {
	t.Chdir(t.TempDir())
	litScene(t)
	for name, more := range map[string]string{
		"old/a": "", "new/a": "--seed 2", "old/b": "", "new/b": "--seed 3 --set lights.lamp.ev=0.4", "old/c": "--passes surfaces", "new/d": "",
	} {
		code, _, stderr := catchlight(append([]string{"render", "lit.yaml", "-o", name + ".exr"}, strings.Fields(more)...)...)
		require.Zero(t, code, stderr)
	}
	code, stdout, stderr := catchlight("changed", "old/a.exr", "new/a.exr", "--mask", "mask")
	require.Zero(t, code, stderr+stdout)
	require.Regexp(t, `^a.exr: no change found; grain explains all that differs\n`, stdout)
	require.Regexp(t, `  around      no change found; one of [0-9.]+ % or more would have been \(mean [-+][0-9.]+ %, within its grain\)\n`, stdout)
	require.FileExists(t, "mask/a.png")
	code, stdout, stderr = catchlight("changed", "old/b.exr", "new/b.exr")
	require.Equal(t, exitChanged, code)
	require.Equal(t, "changed: 1 of 1 pictures\n", stderr)
	require.Regexp(t, `^b.exr: the light set-ups differ \(lights.lamp.ev is 0.4, was 0\); what follows may come of that\n`, stdout)
	require.Regexp(t, `\nb.exr: CHANGED, found in .*[0-9]+ means? below; most at pixel [0-9]+,[0-9]+\n`, stdout)
	require.Regexp(t, `\n  picture     CHANGED, mean \+[0-9.]+ % \([0-9.]+ standard errors\); [0-9]+ of 1200 pixels beyond 3, by chance at most 10\n`, stdout)
	code, stdout, _ = catchlight("changed", "old/b.exr", "new/b.exr", "--allow", "0.2")
	require.Zero(t, code, stdout)
	code, stdout, _ = catchlight("changed", "old/b.exr", "old/b.exr")
	require.Zero(t, code)
	require.Equal(t, "b.exr: the same to the bit\n", stdout)
	code, stdout, stderr = catchlight("changed", "old", "new", "--json", "x/changed.json")
	require.Equal(t, exitChanged, code)
	require.Equal(t, "changed: 2 of 3 pictures\n", stderr)
	require.Contains(t, stdout, "c.exr: missing in new\n")
	require.FileExists(t, "x/changed.json")

	code, _, stderr = catchlight("render", "lit.yaml", "--seed", "2", "--set", "picture.primaries=p3-d65", "--passes", "lights", "-o", "wide.exr")
	require.Zero(t, code, stderr)
	_, stdout, _ = catchlight("changed", "old/a.exr", "wide.exr")
	require.Contains(t, stdout, "wide.exr: the primaries differ (p3-d65, was rec709)")
	code, _, stderr = catchlight("relight", "wide.exr")
	require.NotZero(t, code)
	require.Contains(t, stderr, "wide.exr: its colours are in p3-d65, and lights are changed in Rec. 709; render it with --set picture.primaries=rec709")
	require.NoError(t, os.MkdirAll("empty", 0o777))
	put(t, "float.yaml", float)
	changedViews(t)
	code, _, stderr = catchlight("render", "float.yaml", "--samples", "1", "-o", "one.exr")
	require.Zero(t, code, stderr)
	for args, want := range map[string]string{
		"old new/a.exr":                      "give two pictures or two folders; of old and new/a.exr one is a folder",
		"old/a.exr none.exr":                 "none.exr: no such file",
		"empty new":                          "empty: there is no .exr picture in it",
		"old/a.exr new/a.exr --alarm 0":      "--alarm 0 is outside (0, 0.5]",
		"old/a.exr new/a.exr --allow -1":     "--allow -1 is outside [0, 1]",
		"old/a.exr one.exr":                  "one picture has 40 x 30 pixels, the other 16 x 12",
		"one.exr one.exr":                    "pixel 0,0 has 1 samples; with fewer than 2 nothing tells its noise",
		"sky.pfm sky.pfm":                    "sky.pfm: OpenEXR: it does not begin as such a file does",
		"old/a.exr new/a.exr --mask sky.pfm": "sky.pfm",
	} {
		code, _, stderr := catchlight(append([]string{"changed"}, strings.Fields(args)...)...)
		require.NotZero(t, code, args)
		require.NotEqual(t, exitChanged, code, args)
		require.Contains(t, stderr, want, args)
	}
}

// changedViews checks what is said first where cameras, light set-ups or scenes differ, or where nothing more can be known.
func changedViews(t *testing.T) {
	t.Helper()
	code, _, stderr := catchlight("render", "lit.yaml", "--set", "camera.orbit.azimuth=40", "-o", "side.exr")
	require.Zero(t, code, stderr)
	text, err := os.ReadFile("lit.yaml")
	require.NoError(t, err)
	put(t, "gone.yaml", string(text))
	code, _, stderr = catchlight("render", "gone.yaml", "--seed", "5", "-o", "gone.exr")
	require.Zero(t, code, stderr)
	for args, want := range map[string]string{
		"old/a.exr side.exr": "side.exr: the cameras differ (camera.orbit.azimuth is 40, was 0); what follows may come of that\n",
		"old/a.exr gone.exr": "gone.exr: no change found; ", // another file of the same scene
	} {
		_, stdout, _ := catchlight(append([]string{"changed"}, strings.Fields(args)...)...)
		require.Truef(t, strings.HasPrefix(stdout, want), "%s: %s", args, stdout)
	}
	data, err := os.ReadFile("old/a.exr")
	require.NoError(t, err)
	put(t, "alone.exr", string(data)) // no report beside it
	require.NoError(t, os.Remove("gone.yaml"))
	_, stdout, _ := catchlight("changed", "old/a.exr", "gone.exr")
	require.Contains(t, stdout, "gone.exr: the scenes differ (gone.yaml, was lit.yaml); what follows may come of that\n")
	require.Contains(t, stdout, "\n  around ") // the parts are those of the other
	_, stdout, _ = catchlight("changed", "alone.exr", "gone.exr")
	require.Contains(t, stdout, "gone.exr: the scenes differ (gone.yaml, was lit.yaml); what follows may come of that\n")
	require.Contains(t, stdout, "the parts of the eye can't be told apart: gone.exr was rendered without --passes surfaces, and the scene that its report names can't be read from this folder: ")
	_, stdout, _ = catchlight("changed", "gone.exr", "alone.exr")
	require.Contains(t, stdout, "alone.exr was rendered without --passes surfaces, and no report lies beside it that names its scene")
}
