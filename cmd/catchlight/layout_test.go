package main

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// laidScene is an eye on the coarsest base with the painted maps of the folder.
const laidScene = `# the ferry keeper's eye
lights: [{name: sky, kind: constant, radiance: 1}]
objects:
  - name: eye
    shape: eye
    asset: {file: b/level_3.glb, outer: outer, inner: inner, subdivide: 1, close_gap: false}
    limbus: {radius: 5.85, width: 0.9}
    iris:
      colour: {file: colour.png, tiling: clamp, uv_set: 1}
      normal: {file: normal.png, tiling: clamp, uv_set: 1, green: down}
    sclera:
      colour: {file: colour.png, tiling: clamp, uv_set: 1}
`

// writeLaid makes the scene and its maps in the test's folder.
func writeLaid(t *testing.T) {
	t.Helper()
	t.Chdir(t.TempDir())
	code, _, stderr := catchlight("base", "--out", "b", "--levels", "3")
	require.Zero(t, code, stderr)
	put(t, "eye.yaml", laidScene)
	pix := make([]uint8, 3*128*128)
	flat := make([]uint8, 3*128*128)
	for i := range 128 * 128 {
		pix[3*i], pix[3*i+1], pix[3*i+2] = uint8(40+i%128), uint8(60+i/128), 80
		flat[3*i], flat[3*i+1], flat[3*i+2] = 128, 128, 255
	}
	require.NoError(t, imageio.WritePNG("colour.png", 128, 128, 3, pix, nil))
	require.NoError(t, imageio.WritePNG("normal.png", 128, 128, 3, flat, nil))
}

// A scene is laid out, with its maps carried and itself changed where they are named, and back; comments and all else stay.
func TestLayout(t *testing.T) {
	writeLaid(t)
	code, out, stderr := catchlight("layout", "eye.yaml", "--out", "radial", "--size", "256", "--also", "colour.png=ids")
	require.Zero(t, code, stderr)
	require.Contains(t, out, "iris_colour: on the iris 2.")
	require.Contains(t, out, "nothing is lost there")
	text, err := os.ReadFile("radial/scene.yaml")
	require.NoError(t, err)
	require.Contains(t, string(text), "# the ferry keeper's eye")
	require.Contains(t, string(text), "colour: {file: iris_colour.png, tiling: clamp}")
	require.Contains(t, string(text), "normal: {file: iris_normal.png, tiling: clamp, green: down}")
	d, err := scene.Load("radial/scene.yaml")
	require.NoError(t, err)
	require.Equal(t, "outer", d.Objects[0].Eye.Asset.Outer)
	code, out, stderr = catchlight("layout", "radial/scene.yaml", "--layout", "kept", "--size", "128", "--out", "back")
	require.Zero(t, code, stderr)
	require.Contains(t, out, "finer detail is lost; --size 512 keeps it")
	now, err := imageio.Read("back/iris_colour.png")
	require.NoError(t, err)
	was, err := imageio.Read("colour.png")
	require.NoError(t, err)
	for i := 40*128 + 64; i < 50*128; i += 128 { // on the iris
		require.InDelta(t, was.Pix[1][i], now.Pix[1][i], 1.6/255)
	}
	code, _, stderr = catchlight("layout", "eye.yaml", "--layout", "island", "--mirror", "--out", "other")
	require.Zero(t, code, stderr)
	d, err = scene.Load("other/scene.yaml")
	require.NoError(t, err)
	require.Equal(t, "left", d.Objects[0].Eye.Side)
	require.Contains(t, string(d.Objects[0].Eye.Iris.Colour.File), "iris_colour.{tile}.png")
	require.FileExists(t, "other/iris_normal.1002.png")
	// Its own folder is taken up again, another one is not.
	code, _, stderr = catchlight("layout", "eye.yaml", "--out", "other", "--size", "64")
	require.Zero(t, code, stderr)
	refused(t, "b: holds base.json", "layout", "eye.yaml", "--out", "b")
}

func TestLayoutMistakes(t *testing.T) {
	writeLaid(t)
	built := strings.Replace(laidScene, "    asset: {file: b/level_3.glb, outer: outer, inner: inner, subdivide: 1, close_gap: false}\n", "", 1)
	put(t, "built.yaml", strings.NewReplacer(", uv_set: 1", "", "      normal: {file: normal.png, tiling: clamp, green: down}\n", "").Replace(built))
	put(t, "mixed.yaml", strings.Replace(laidScene, "normal: {file: normal.png, tiling: clamp, uv_set: 1", "normal: {file: normal.png, tiling: clamp, uv_set: 0", 1))
	for _, c := range []struct {
		args string
		code int
		want string
	}{
		{"layout eye.yaml", exitUsage, "--out: a folder is needed"},
		{"layout eye.yaml --out o --layout square --size 9000", exitUsage, `--layout "square": must be one of radial, island, kept` + "\n--size 9000: must be 16 to 8192"},
		{"layout eye.yaml --out o --share 0.05 --cover 200", exitUsage, "--share 0.05: must be 0.2 to 0.9\n--cover 200: must be 45 to 120 degrees"},
		{"layout eye.yaml --out o --also zones.png", exitUsage, `--also "zones.png": give FILE=colour`},
		{"layout eye.yaml --out o --also zones.png=ids", exitUsage, "--also zones.png=ids: stat zones.png: no such file or directory"},
		{"layout eye.yaml --out o --mirror --layout kept", exitUsage, "--mirror has no meaning with --layout kept"},
		{"layout built.yaml --out o", exitUsage, "built.yaml: eye is a built eye, which has no file; grow it first"},
		{"layout mixed.yaml --out o", exitFailed, "lie on two sets of texture coordinates of one shell"},
		{"layout eye.yaml --out o --object heron", exitUsage, "--object heron: eye.yaml has no eye of that name"},
		{"layout eye.yaml --out o --share 0.9", exitFailed, "leaves the white less than a twentieth of its width; at most"},
	} {
		code, _, stderr := catchlight(strings.Fields(c.args)...)
		require.Equal(t, c.code, code, c.args+fmt.Sprint(stderr))
		require.Contains(t, stderr, c.want, c.args)
	}
}
