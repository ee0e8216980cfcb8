package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// refused runs a command line that would write over something, and checks that it is refused before any work: with the
// words wanted, and with every file of the folder as it was.
func refused(t *testing.T, want string, args ...string) {
	t.Helper()
	before := everything(t)
	code, stdout, stderr := catchlight(args...)
	require.Equal(t, exitUsage, code, "%v: %s%s", args, stdout, stderr)
	require.Contains(t, stderr, want)
	require.NotContains(t, stderr, "rendering", "refused before any work")
	require.Equal(t, before, everything(t), "%v changed a file", args)
}

// everything is all files below the working folder with what they hold.
func everything(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(".", func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() || e.Type()&os.ModeSymlink != 0 {
			return err
		}
		data, err := os.ReadFile(path)
		out[path] = string(data)
		return err
	}))
	return out
}

func put(t *testing.T, name, text string) {
	t.Helper()
	require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o777))
	require.NoError(t, os.WriteFile(name, []byte(text), 0o666))
}

// Commands that fill a folder leave one alone that holds what they did not make, and take their own up again.
func TestForeignFolders(t *testing.T) {
	file := writeHeron(t)
	put(t, "mine/colour.png", "painted by hand")
	for _, args := range []string{
		"grow " + file + " --out mine --size 64 --meshes none --maps colour --wobble 0",
		"turntable " + file + " --out mine --frames 2 --size 8x8 --samples 1",
		"sheet " + file + " --out mine --size 8x8 --samples 1",
		"compare " + file + " --out mine --size 16x16 --samples 1",
	} {
		refused(t, "mine: holds colour.png, which this command did not make; give a new or empty folder, or --overwrite", strings.Fields(args)...)
	}
	grow := strings.Fields("grow " + file + " --out grown --size 64 --meshes none --maps colour --wobble 0")
	for range 2 { // its own folder is taken up again
		code, _, stderr := catchlight(grow...)
		require.Zero(t, code, stderr)
	}
	put(t, "grown/zones.png", "painted by hand")
	refused(t, "grown/zones.png: this file would be written over", "grow", file, "--out", "grown", "--size", "64", "--meshes", "none")
	code, _, stderr := catchlight(append(grow, "--maps", "zones", "--overwrite")...)
	require.Zero(t, code, stderr)
	require.NotEqual(t, "painted by hand", everything(t)["grown/zones.png"])

	// A file of the artist's beside a sheet stays; one in the way of a page that is asked for later is named.
	sheet := strings.Fields("sheet " + file + " --out sheet --size 8x8 --samples 1 --cache=")
	code, _, stderr = catchlight(sheet...)
	require.Zero(t, code, stderr)
	put(t, "sheet/notes.txt", "tide at six")
	put(t, "sheet/sheet.svg", "drawn by hand")
	code, _, stderr = catchlight(sheet...)
	require.Zero(t, code, stderr)
	refused(t, "sheet/sheet.svg: this file would be written over", append(sheet, "--page", "svg")...)
	code, _, stderr = catchlight(append(sheet, "--page", "svg", "--overwrite")...)
	require.Zero(t, code, stderr)
	require.Equal(t, "tide at six", everything(t)["sheet/notes.txt"])
}

// An output is never an input of the scene nor another output, under whatever name.
func TestOutputsAreNoInputs(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	put(t, "tri.gltf", `{"asset": {"version": "2.0"}, "buffers": [{"uri": "tri%20one.bin", "byteLength": 36}], "images": [{"uri": "data:image/png;base64,AA=="}]}`)
	put(t, "tri one.bin", "36 bytes, perhaps")
	put(t, "reed.obj", "mtllib reed.mtl\nv 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 3\n")
	put(t, "reed.mtl", "newmtl bark\nmap_Kd -s 2 2 bark.png\n")
	put(t, "bark.png", "not yet painted")
	put(t, "sky.exr", "not yet painted")
	put(t, "lit.yaml", "light_setup: {about: dusk}\nlights: [{name: sky, kind: constant, radiance: 1}]\n")
	put(t, "lean.yaml", "coverage_samples: 1\n")
	put(t, "marsh.yaml", strings.Replace(strings.Replace(float, "radius: 15}", "radius: 15}, {name: reed, shape: mesh, file: reed.obj, unit: mm}, {name: tri, shape: mesh, file: tri.gltf}", 1),
		"radiance: 0.5}", "radiance: 0.5}, {name: dome, kind: environment, file: sky.exr}", 1))
	require.NoError(t, os.Symlink("sky.exr", "dome.exr"))
	require.NoError(t, os.Mkdir("sub", 0o777))
	in := func(name string) string { return name + ": this file would be written over, and the work reads it" }
	refused(t, in("sky.exr"), "render", "marsh.yaml", "-o", "sky.exr")
	refused(t, in("sub/../sky.exr"), "render", "marsh.yaml", "-o", "a.png", "-o", "sub/../sky.exr")
	refused(t, in("dome.exr"), "render", "marsh.yaml", "-o", "dome.exr")
	refused(t, in("bark.png"), "render", "marsh.yaml", "-o", "bark.png")
	refused(t, in("reed.mtl"), "render", "marsh.yaml", "-o", "a.png", "--stats", "reed.mtl")
	refused(t, in("tri one.bin"), "render", "marsh.yaml", "-o", "a.png", "--stats", "tri one.bin")
	refused(t, in("marsh.yaml"), "render", "marsh.yaml", "-o", "a.png", "--stats", "marsh.yaml")
	refused(t, in("lit.yaml"), "render", file, "--lights", "./lit.yaml", "-o", "a.png", "--stats", "lit.yaml")
	refused(t, in("lean.yaml"), "render", file, "--look", "raster", "--budget", "./lean.yaml", "-o", "a.png", "--stats", "lean.yaml")
	put(t, "photos/wipe.png", "of the keeper")
	refused(t, "photos: holds wipe.png", "compare", file, "--ref", "photos/wipe.png", "-o", "photos", "--size", "16x16")

	refused(t, "a.png: two outputs would go into this file", "render", file, "-o", "a.png", "--stats", "a.png")
	require.NoError(t, os.Symlink(".", "here"))
	refused(t, "here/a.png: two outputs would go into this file (a.png is the other)", "render", file, "-o", "a.png", "-o", "here/a.png")
	put(t, "a.json", `{"of": "the artist"}`)
	refused(t, "a.json: this file would be written over, and it is no report of this program", "render", file, "-o", "a.png")
	code, _, stderr := catchlight("render", file, "-o", "a.png", "--overwrite")
	require.Zero(t, code, stderr)
	code, _, stderr = catchlight("render", file, "-o", "a.png")
	require.Zero(t, code, stderr)
}
