package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
	finder "catchlight/scene/pupil"
)

// The files of a base: quads in .obj, the same in .glb, whose inner shell has a pupil that morph targets move to what their names say,
// of a left eye too.
func TestBaseFiles(t *testing.T) {
	t.Chdir(t.TempDir())
	code, out, stderr := catchlight("base", "--out", "b", "--levels", "1", "--side", "left")
	require.Zero(t, code, stderr)
	require.Contains(t, out, "base.glb: 6976 faces, 64 sides")
	text, err := os.ReadFile("b/base.obj")
	require.NoError(t, err)
	require.Equal(t, 6976, strings.Count(string(text), "\nf "))
	for name, want := range map[string]float64{"": 3.6, "pupil_2": 2, "pupil_8": 8} {
		w := gltfio.Weights{}
		if name != "" {
			w[name] = 1
		}
		a, err := gltfio.ReadMorphed("b/base.glb", w)
		require.NoError(t, err)
		require.Empty(t, a.Notes)
		inner := mesh.Weld(a.Named("inner")[0].Mesh, 0)
		require.Greater(t, inner.Volume(), 0.0)
		p := finder.Find(inner, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, 5.85)
		require.True(t, p.Open)
		require.InDelta(t, want/2, p.Radius, 0.06, name)
		require.InDelta(t, -0.2, p.Offset[0], 0.03, "toward the nose of a left eye")
	}
	code, out, stderr = catchlight("base", "--out", "m", "--levels", "1", "--maps", "64", "--pupils", "8")
	require.Zero(t, code, stderr)
	require.Contains(t, out, "--vary objects.eye.asset.morph.0.weight=-0.3636,-0.1364,0.0909,0.5455,1.0000")
	_, err = scene.Load("m/scene.yaml")
	require.NoError(t, err)
	for _, n := range []string{"colour.png", "height_pupil_8.png", "pupil_edge_pupil_8.png"} {
		require.FileExists(t, "m/"+n)
	}
	code, _, stderr = catchlight("base", "--out", "b", "--levels", "2", "--side", "left") // its own folder is taken up again
	require.Zero(t, code, stderr)
	put(t, "c/reed.png", "painted by hand")
	refused(t, "c: holds reed.png, which this command did not make", "base", "--out", "c")
}

// Mistakes at the command line are named.
func TestBaseMistakes(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	for _, c := range []struct {
		args string
		code int
		want string
	}{
		{"base a b", exitUsage, "base: one scene file at most, 2 given; see catchlight base --help"},
		{"base", exitUsage, "--out: a folder is needed"},
		{"base --out b --levels 1,9", exitUsage, `--levels "9": must be 0 to 3, with commas`},
		{"base --out b --side up", exitUsage, `--side "up": must be one of right, left`},
		{"base --out b --maps 9", exitUsage, "--maps 9: must be 64 to 8192, or 0 for none"},
		{"base --out b --pupils 3", exitUsage, "--pupils has no meaning without --maps"},
		{"base --out b --maps 64 --pupils 9", exitUsage, `--pupils "9": give mm across, 2 to 8`},
		{"base --out b --maps 64 --levels 2", exitUsage, "--maps: their scene shows level 1; add it to --levels"},
		{"base " + file + " --out b", exitUsage, file + ": there is no eye in it"},
		{"base " + file + " --out b --object heron", exitUsage, "--object heron: " + file + " has no eye of that name"},
	} {
		code, _, stderr := catchlight(strings.Fields(c.args)...)
		require.Equal(t, c.code, code, c.args)
		require.Contains(t, stderr, c.want, c.args)
	}
}
