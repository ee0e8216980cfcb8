package main

import (
	"fmt"
	"math"
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
		{"ict_right_eye.glb", "factor 0.7243"},
		{"ict_right_eye.obj", "unsure: unit: cm"},
	} {
		// Drafts of the last alone: they take most of the time.
		drafts := q.file == "ict_right_eye.obj"
		code, out, stderr := catchlight("adopt", filepath.Join(eyes, q.file), "--size", "48", "--samples", "2", fmt.Sprintf("--drafts=%t", drafts))
		require.Zero(t, code, stderr)
		require.Contains(t, out, q.says)
		require.Contains(t, out, "\nto change it and see it: catchlight watch out/adopt-ict_right_eye")
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
		if drafts {
			outlined(t, dir)
		}
		page, err := os.ReadFile(filepath.Join(dir, "list.html"))
		require.NoError(t, err)
		require.Equal(t, drafts, strings.Contains(string(page), "draft-window.png"))
		for _, w := range []string{"the built-in eye", "surfaces of revolution", "by its name"} {
			require.Contains(t, string(page), w)
		}
		require.NotContains(t, string(page), "http")
		// The pupil is found on the axis: dark beside the sclera in the overcast draft's linear picture.
		code, _, stderr = catchlight("render", filepath.Join(dir, "scene.yaml"), "--size", "40x40", "--samples", "8", "--out", "x.pfm",
			"--set", "lights.window.on=false", "--set", "lights.room.on=false", "--set", "lights.overcast.on=true",
			"--set", "camera.orbit.azimuth=0", "--set", "camera.orbit.elevation=0", "--set", "effects.tear_film=false", "--set", "objects.eye.iris.pupil=4", "--set", "objects.eye.map_size=256")
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
	for _, n := range []string{"eye_color.1001.png", "eye_color.1002.png", "iris_height.png", "cornea_normal.png", "cornea_rough.png", "iris_AO.png", "L_iris_color.png", "sketch.png"} {
		require.NoError(t, imageio.WritePNG(filepath.Join("maps", n), 32, 32, 3, pix, nil))
	}
	code, out, stderr := catchlight("adopt", eye, "maps", "--out", "mine", "--drafts=false")
	require.Zero(t, code, stderr)
	for _, w := range []string{"left out: cornea_rough.png: named as roughness: no key", "left out: iris_AO.png: named as occlusion: no key",
		"left out: L_iris_color.png: its name says left, and this eye is the right one", "left out: sketch.png: its name says no kind of map"} {
		require.Contains(t, out, w)
	}
	d, err := scene.Load("mine/scene.yaml")
	require.NoError(t, err)
	e := d.Objects[0].Eye
	require.Equal(t, "eye_color.{tile}.png", filepath.Base(string(e.Iris.Colour.File)))
	require.Equal(t, e.Iris.Colour.File, e.Sclera.Colour.File)
	require.NotNil(t, e.Iris.Height)
	require.NotNil(t, e.Cornea.Normal)
	require.Zero(t, e.Iris.Pupil, "the modelled pupil stays")
	require.False(t, e.Asset.CloseGap, "so does the gap between the shells")
}

// outlined checks the picture with the outlines: the limbus is drawn as a closed round line in its colour about the eye's
// middle, where the plain draft beside it has none.
func outlined(t *testing.T, dir string) {
	t.Helper()
	count := func(file string) (n int, mean, spread float64) {
		p, err := imageio.Read(filepath.Join(dir, file))
		require.NoError(t, err)
		c := p.RGB()
		var x, y, r []float64
		for i := range p.W * p.H {
			near := true
			for k, v := range limbusStroke.colour {
				near = near && math.Abs(float64(c[k][i])-v) < 0.005
			}
			if near {
				x, y = append(x, float64(i%p.W)), append(y, float64(i/p.W))
			}
		}
		var cx, cy float64
		for i := range x {
			cx, cy = cx+x[i]/float64(len(x)), cy+y[i]/float64(len(x))
		}
		for i := range x {
			r = append(r, math.Hypot(x[i]-cx, y[i]-cy))
			mean += r[i] / float64(len(x))
		}
		for i := range r {
			spread = max(spread, math.Abs(r[i]-mean))
		}
		return len(x), mean, spread
	}
	n, _, _ := count("draft-window.png")
	require.Zero(t, n)
	n, r, spread := count("draft-outlines.png")
	require.Greater(t, float64(n), 4*r, "closed: a circle of radius r has at least 5.6 r pixels, less those under other lines")
	// The globe fills three quarters of 48 pixels, the limbus 0.48 of the globe: 8.7 pixels, seen 14 degrees aside.
	require.InDelta(t, 8.5, r, 1)
	require.Less(t, spread, 1.6)
}

// What is told carries all else along: lengths in mm follow from unit and factor, and the pupil and the gap change only
// when asked. What the renderer would refuse is left out, or nothing is written.
func TestAdoptTold(t *testing.T) {
	eyes, err := filepath.Abs("../../testdata/eye")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	adopted := func(args ...string) (*scene.Asset, *scene.Eye, string) {
		code, out, stderr := catchlight(append([]string{"adopt", "--drafts=false", "--out", "mine"}, args...)...)
		require.Zero(t, code, stderr)
		d, err := scene.Load("mine/scene.yaml")
		require.NoError(t, err)
		require.NoError(t, os.RemoveAll("mine"))
		return d.Objects[0].Eye.Asset, d.Objects[0].Eye, out
	}
	obj := filepath.Join(eyes, "ict_right_eye.obj")
	a, e, out := adopted(obj, "--unit", "cm", "--factor", "0.725", "--limbus", "5.4", "--pupil", "4", "--close-gap")
	require.Equal(t, "cm", a.Unit)
	require.Equal(t, []float64{0.725, 4, 5.4}, []float64{a.Factor, e.Iris.Pupil, e.Limbus.Radius})
	require.True(t, a.CloseGap)
	require.InDelta(t, 0.725*15.42, e.Globe.Radius, 0.02)
	require.NotContains(t, out, "unsure: factor")
	require.NotContains(t, out, "unsure: limbus")
	// Twice the factor, twice every length that is measured.
	_, one, _ := adopted(obj, "--unit", "cm", "--factor", "0.6")
	_, two, _ := adopted(obj, "--unit", "cm", "--factor", "1.2")
	require.InEpsilon(t, 2, two.Globe.Radius/one.Globe.Radius, 1e-3)
	require.InEpsilon(t, 2, two.Limbus.Radius/one.Limbus.Radius, 1e-3)

	glb := filepath.Join(eyes, "ict_right_eye_axial24mm.glb")
	_, e, out = adopted(glb, "--pupil", "12")
	require.Zero(t, e.Iris.Pupil)
	require.Contains(t, out, "question: pupil: not warped to 12 mm; left as modelled; the renderer refuses it")
	require.Contains(t, out, "would fold the iris")
	for _, q := range []struct{ says, file, flag, value string }{
		{"millimetres stored as metres", glb, "--factor", "1000"}, {"the file's format fixes it", glb, "--unit", "cm"},
		{"is outside [0, 30]", glb, "--limbus", "31"}, {"must be mm, cm, m or inch", obj, "--unit", "ell"}, {"a limbus of 14 mm is told", glb, "--limbus", "14"},
	} {
		code, _, stderr := catchlight("adopt", "--drafts=false", "--out", "mine", q.file, q.flag, q.value)
		require.NotZero(t, code)
		require.Contains(t, stderr, q.says)
		require.NoDirExists(t, "mine")
	}

	// A fin on the inner shell: no volume can be closed, and the renderer says so before anything is written.
	text, err := os.ReadFile(obj)
	require.NoError(t, err)
	lines := strings.Split(string(text), "\n")
	for i := len(lines) - 1; i > 0; i-- {
		if strings.HasPrefix(lines[i], "f ") {
			c := strings.Fields(lines[i])
			lines = append(lines, strings.Join([]string{"f", c[1], c[2], strings.Fields(lines[i-9])[3]}, " "), "")
			break
		}
	}
	require.NoError(t, os.WriteFile("fin.obj", []byte(strings.Join(lines, "\n")), 0o666))
	code, _, stderr := catchlight("adopt", "--drafts=false", "--out", "mine", "fin.obj")
	require.NotZero(t, code)
	require.Contains(t, stderr, "so nothing is written")
	require.Contains(t, stderr, "can't be closed")
	require.NoDirExists(t, "mine")
}
