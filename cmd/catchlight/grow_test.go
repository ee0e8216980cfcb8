package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/imageio"
)

const growScene = `camera: {orbit: {distance: 600}, focal_length: 620}
picture: {width: 40, height: 40, samples: 48}
lights: [{name: sky, kind: constant, radiance: 1}, {name: window, kind: rectangle, orbit: {azimuth: -40, elevation: 25, distance: 800}, radiance: 9}]
`

// grown writes a scene with a built eye and grows it into a folder.
func grown(t *testing.T, args ...string) (sceneFile, folder string) {
	t.Helper()
	dir := t.TempDir()
	sceneFile, folder = filepath.Join(dir, "eye.yaml"), filepath.Join(dir, "grown")
	require.NoError(t, os.WriteFile(sceneFile, []byte(growScene+"objects: [{name: eye, shape: eye, map_size: 512, sclera: {veins: 0}}]\n"), 0o666))
	var out, errs bytes.Buffer
	require.Equal(t, 0, run(context.Background(), append([]string{"grow", sceneFile, "--out", folder}, args...), &out, &errs), errs.String())
	return sceneFile, folder
}

// The report names every map, and each is as large as was asked for; green down turns green alone.
func TestGrow(t *testing.T) {
	_, up := grown(t, "--size", "128", "--meshes", "obj")
	var r growReport
	text, err := os.ReadFile(filepath.Join(up, "grown.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &r))
	require.Len(t, r.Maps, 11)
	for _, m := range r.Maps {
		p, err := imageio.Read(filepath.Join(up, m.File))
		require.NoError(t, err)
		require.Equal(t, []int{128, 128}, []int{p.W, p.H}, m.File)
		require.NotEmpty(t, m.Holds)
	}
	_, down := grown(t, "--size", "128", "--maps", "normal,height", "--bits", "16", "--format", "png", "--green", "down", "--meshes", "none", "--layout", "apart")
	for _, name := range []string{"normal.png", "normal_iris.png", "height.png", "height_iris.png", "wobble.png"} {
		require.FileExists(t, filepath.Join(down, name))
	}
	a, err := imageio.Read(filepath.Join(up, "normal.png"))
	require.NoError(t, err)
	b, err := imageio.Read(filepath.Join(down, "normal.png"))
	require.NoError(t, err)
	for i := range a.RGB()[0] {
		require.InDelta(t, a.RGB()[0][i], b.RGB()[0][i], 0.005)
		require.InDelta(t, a.RGB()[1][i], 1-b.RGB()[1][i], 0.005)
	}
	_, exr := grown(t, "--size", "64", "--maps", "thickness,colour", "--format", "exr", "--meshes", "none", "--wobble", "0")
	p, err := imageio.Read(filepath.Join(exr, "thickness.exr"))
	require.NoError(t, err)
	require.Greater(t, p.RGB()[0][0], float32(0.8)) // the corner of the map is the back pole
}

func TestGrowRefuses(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "a.yaml")
	require.NoError(t, os.WriteFile(file, []byte(growScene+"objects: [{name: ball, shape: sphere}]\n"), 0o666))
	for _, c := range []struct{ args, want string }{
		{"", "--out"}, {"--out x", "there is no eye"}, {"--out x --size 9000", "16 to 8192"}, {"--out x --bits 12", "8 or 16"},
		{"--out x --maps mood", "mood"}, {"--out x --green left", "up, down"}, {"--out x --object y", "no eye of that name"}, {"--out x --wobble 90", "30 degrees"},
	} {
		var out, errs bytes.Buffer
		require.Equal(t, exitUsage, run(context.Background(), append([]string{"grow", file}, strings.Fields(c.args)...), &out, &errs), c.args)
		require.Contains(t, errs.String(), c.want)
	}
}

// What was grown and is read back gives the same picture: the means over the iris (some 80 pixels of 48 samples, whose
// noise is about 3 %) and over the sclera (1 %) agree within a little more than that. Without vessels: on top of the tissue
// they are a film that a picture of colours can only approximate.
func TestGrownShellsGiveTheSamePicture(t *testing.T) {
	for _, mesh := range []string{"glb", "obj"} {
		first, folder := grown(t, "--size", "512", "--maps", "colour", "--wobble", "0", "--meshes", mesh)
		second := filepath.Join(folder, "again.yaml")
		unit := ""
		if mesh == "obj" {
			unit = "unit: mm, "
		}
		require.NoError(t, os.WriteFile(second, []byte(growScene+`objects:
  - name: eye
    shape: eye
    map_size: 512
    asset: {file: eye.`+mesh+`, `+unit+`outer: outer, inner: inner, subdivide: 0, close_gap: false}
    iris: {colour: {file: colour.png, tiling: clamp}}
    sclera: {colour: {file: colour.png, tiling: clamp}}
`), 0o666))
		var mean [2][2]float64
		for i, f := range []string{first, second} {
			pic := filepath.Join(folder, "p.exr")
			var out, errs bytes.Buffer
			require.Equal(t, 0, run(context.Background(), []string{"render", f, "--out", pic}, &out, &errs), errs.String())
			p, err := imageio.Read(pic)
			require.NoError(t, err)
			for y := range p.H {
				for x := range p.W {
					dx, dy := float64(x)-19.5, float64(y)-19.5
					v := float64(p.RGB()[1][y*p.W+x])
					switch r2 := dx*dx + dy*dy; {
					case r2 < 5*5:
						mean[i][0] += v / 81
					case r2 > 9*9 && r2 < 12*12:
						mean[i][1] += v / 198
					}
				}
			}
		}
		require.InEpsilon(t, mean[0][0], mean[1][0], 0.10, "%s, iris: %v", mesh, mean)
		require.InEpsilon(t, mean[0][1], mean[1][1], 0.02, "%s, white: %v", mesh, mean)
	}
}

// The standard's own validator finds no error in a grown .glb. It is the package gltf-validator of the npm registry; where
// node or the registry are not there the test says that it could not run.
func TestGrownFileIsValid(t *testing.T) {
	if testing.Short() {
		t.Skip("not run: -short leaves the registry alone")
	}
	for _, tool := range []string{"node", "npm"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("not run: %s is not installed", tool)
		}
	}
	dir := t.TempDir()
	install := exec.Command("npm", "install", "--no-audit", "--no-fund", "--prefix", dir, "gltf-validator@2.0.0-dev.3.10")
	if out, err := install.CombinedOutput(); err != nil {
		t.Skipf("not run: the validator could not be fetched: %v: %s", err, out)
	}
	_, folder := grown(t, "--size", "64", "--meshes", "glb", "--maps", "colour", "--wobble", "0")
	script := `const v=require('gltf-validator'),fs=require('fs');
v.validateBytes(new Uint8Array(fs.readFileSync(process.argv[1]))).then(r=>console.log(JSON.stringify(r.issues)))`
	node := exec.Command("node", "-e", script, filepath.Join(folder, "eye.glb"))
	node.Dir = dir
	out, err := node.Output()
	require.NoError(t, err)
	var issues struct {
		NumErrors, NumWarnings int
		Messages               []any
	}
	require.NoError(t, json.Unmarshal(out, &issues))
	require.Zero(t, issues.NumErrors, "%v", issues.Messages)
	require.Zero(t, issues.NumWarnings, "%v", issues.Messages)
}
