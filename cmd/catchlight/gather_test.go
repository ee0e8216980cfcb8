package main

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/imageio"
)

// A scene whose files lie all over, gathered into one folder and moved elsewhere, with what it was made from gone, gives the
// bits that it gave where it was. Nothing in its text changes but the names of files.
//
// Long: one scene that names a file of each kind, and where each must lie afterwards.
func TestGather(t *testing.T) {
	home := t.TempDir()
	t.Chdir(home)
	grey := func(name string, v ...float32) {
		require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o777))
		require.NoError(t, imageio.WritePFM(name, len(v), 1, 1, v))
	}
	pixel := func(name string, v uint8) {
		require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o777))
		require.NoError(t, imageio.WritePNG(name, 1, 1, 3, []uint8{v, v / 2, v / 3}, nil))
	}
	grey("skies/dusk.pfm", 0.5, 1)
	grey("skies/day.pfm", 2, 1)
	pixel("maps/bark.1001.png", 200)
	pixel("maps/bark.1002.png", 100)
	pixel("other/maps/Moss's map.png", 150)
	pixel("meshes/tex/reed.png", 180)
	put(t, "meshes/reed.obj", "mtllib reed.mtl\nusemtl bark\nvt 0 0\nvt 1 0\nvt 0 1\nv 0 0 0\nv 9 0 0\nv 0 9 0\nf 1/1 2/2 3/3\n")
	put(t, "meshes/reed.mtl", "newmtl bark\nmap_Kd tex/reed.png\n")
	var bin []byte
	for _, v := range []float32{0, 0, 0, .01, 0, 0, 0, .01, 0} {
		bin = binary.LittleEndian.AppendUint32(bin, math.Float32bits(v))
	}
	put(t, "meshes/tide/pool one.bin", string(bin))
	put(t, "meshes/pool.gltf", `{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[{"mesh":0}],"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],
"accessors":[{"bufferView":0,"componentType":5126,"type":"VEC3","count":3}],"bufferViews":[{"buffer":0,"byteLength":36}],"buffers":[{"byteLength":36,"uri":"tide/pool%20one.bin"}]}`)
	put(t, "tables/warm.cube", "LUT_1D_SIZE 2\n0 0 0\n1 0.9 0.8\n")
	put(t, "tables/lean.yaml", "coverage_samples: 1\n")
	put(t, "scenes/light_setups/night.yaml", "light_setup: {about: night}\nlights:\n  - {name: dome, kind: environment, file: ../../skies/day.pfm} # the moon\n")
	text := `# the keeper's own notes stay
about: a marsh
picture: {width: 24, height: 16, samples: 4}
camera: {kind: orthographic, width: 40, orbit: {distance: 200}}
view: {table: {file: "../tables/warm.cube", input: srgb, output: srgb}}
raster: {budget: ../tables/lean.yaml}
lights:
  - {name: dome, kind: environment, file: ../skies/dusk.pfm} # at low tide
objects:
  - {name: float, shape: sphere, radius: 6, material: {colour: {file: '../maps/bark.{tile}.png'}}}
  - name: buoy
    shape: sphere
    radius: 4
    transform: {translate: [12, 0, 0]}
    material:
      colour:
        file: '../other/maps/Moss''s map.png'
  - {name: reed, shape: mesh, file: ` + filepath.ToSlash(home) + `/meshes/reed.obj, unit: mm}
  - {name: pool, shape: mesh, file: "../meshes/pool.gltf", transform: {translate: [-15, 0, 0]}}
`
	put(t, "scenes/marsh.yaml", text)
	render := func(scene, out string, more ...string) []byte {
		t.Helper()
		code, _, stderr := catchlight(append([]string{"render", scene, "-o", out + ".exr", "-o", out + ".png"}, more...)...)
		require.Zero(t, code, stderr)
		a, err := os.ReadFile(out + ".exr")
		require.NoError(t, err)
		b, err := os.ReadFile(out + ".png")
		require.NoError(t, err)
		return append(a, b...)
	}
	day, night := render("scenes/marsh.yaml", "one"), render("scenes/marsh.yaml", "two", "--lights", "night")
	raster := render("scenes/marsh.yaml", "three", "--look", "raster")
	require.False(t, bytes.Equal(day, night))
	code, stdout, stderr := catchlight("gather", "scenes/marsh.yaml", "--lights", "night", "--out", "parcel")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "wrote 14 files, 0.0 MB, into parcel; there: catchlight render marsh.yaml --lights night\n")
	refused(t, "parcel: holds files", "gather", "scenes/marsh.yaml", "--out", "parcel")
	refused(t, "scenes: holds light_setups", "gather", "scenes/marsh.yaml", "--out", "scenes")
	refused(t, "scenes/marsh.yaml: this file would be written over, and the work reads it", "gather", "scenes/marsh.yaml", "--out", "scenes", "--overwrite")

	away := t.TempDir()
	require.NoError(t, os.Rename("parcel", filepath.Join(away, "parcel")))
	list, err := os.ReadDir(home)
	require.NoError(t, err)
	for _, e := range list {
		require.NoError(t, os.RemoveAll(e.Name()))
	}
	t.Chdir(filepath.Join(away, "parcel"))
	got := everything(t)
	var names []string
	for n := range got {
		names = append(names, filepath.ToSlash(n))
	}
	slices.Sort(names)
	require.Equal(t, []string{"files/maps-2/Moss's map.png", "files/maps/bark.1001.png", "files/maps/bark.1002.png", "files/meshes/pool.gltf",
		"files/meshes/reed.mtl", "files/meshes/reed.obj", "files/meshes/tex/reed.png", "files/meshes/tide/pool one.bin", "files/skies/day.pfm",
		"files/skies/dusk.pfm", "files/tables/lean.yaml", "files/tables/warm.cube", "light_setups/night.yaml", "marsh.yaml"}, names)
	for old, now := range map[string]string{
		`"../tables/warm.cube"`: `"files/tables/warm.cube"`, `../tables/lean.yaml}`: `"files/tables/lean.yaml"}`,
		`../skies/dusk.pfm}`: `"files/skies/dusk.pfm"}`, `'../maps/bark.{tile}.png'`: `"files/maps/bark.{tile}.png"`,
		`'../other/maps/Moss''s map.png'`: `"files/maps-2/Moss's map.png"`, `"../meshes/pool.gltf"`: `"files/meshes/pool.gltf"`,
		filepath.ToSlash(home) + `/meshes/reed.obj`: `"files/meshes/reed.obj"`,
	} {
		require.Equal(t, 1, strings.Count(text, old))
		text = strings.Replace(text, old, now, 1)
	}
	require.Equal(t, text, got["marsh.yaml"])
	require.True(t, bytes.Equal(day, render("marsh.yaml", "one")), "by its own lights")
	require.True(t, bytes.Equal(night, render("marsh.yaml", "two", "--lights", "night")), "by the light set-up")
	require.True(t, bytes.Equal(raster, render("marsh.yaml", "three", "--look", "raster")), "the raster look, by its budget")
}

// A picture of surroundings stands for a light set-up as it is; what lives in the program stays there. The command that is
// printed renders the same bits in the folder.
func TestGatherSurroundings(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.Mkdir("skies", 0o777))
	require.NoError(t, imageio.WritePFM("skies/dusk.pfm", 4, 2, 1, []float32{0.5, 1, 2, 1, 0.1, 0.1, 0.1, 0.1}))
	put(t, "marsh.yaml", `picture: {width: 16, height: 12, samples: 4}
camera: {kind: orthographic, width: 40, orbit: {distance: 200}}
lights:
  - {name: dome, kind: environment, file: "builtin:overcast_square.hdr"}
objects:
  - {name: float, shape: sphere, radius: 6}
`)
	before := everything(t)
	render := func(lights string) []byte {
		t.Helper()
		code, _, stderr := catchlight("render", "marsh.yaml", "-o", "a.exr", "--lights", lights)
		require.Zero(t, code, stderr)
		b, err := os.ReadFile("a.exr")
		require.NoError(t, err)
		return b
	}
	want := render("skies/dusk.pfm")
	code, stdout, stderr := catchlight("gather", "marsh.yaml", "--lights", "skies/dusk.pfm", "--out", "parcel")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "wrote 2 files, 0.0 MB, into parcel; there: catchlight render marsh.yaml --lights light_setups/dusk.pfm\n")
	t.Chdir("parcel")
	got := everything(t)
	require.Equal(t, map[string]string{"marsh.yaml": before["marsh.yaml"], filepath.Join("light_setups", "dusk.pfm"): before[filepath.Join("skies", "dusk.pfm")]}, got)
	require.True(t, bytes.Equal(want, render("light_setups/dusk.pfm")))
}

// The scenes that come with the program can be gathered.
func TestGatherShippedScenes(t *testing.T) {
	files, err := filepath.Glob("../../scenes/*.yaml")
	require.NoError(t, err)
	for _, f := range files {
		dir := filepath.Join(t.TempDir(), "parcel")
		code, _, stderr := catchlight("gather", f, "--lights", "low-sun", "--out", dir)
		require.Zero(t, code, "%s: %s", f, stderr)
		require.FileExists(t, filepath.Join(dir, filepath.Base(f)))
	}
}
