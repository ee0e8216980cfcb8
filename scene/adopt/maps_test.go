package adopt

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/imageio"
)

// dot writes a small picture of n x n texels made by f.
func dot(t *testing.T, file string, n int, f func(x, y int) [3]uint8) {
	t.Helper()
	require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o777))
	pix := make([]uint8, 0, 3*n*n)
	for y := range n {
		for x := range n {
			c := f(x, y)
			pix = append(pix, c[:]...)
		}
	}
	require.NoError(t, imageio.WritePNG(file, n, n, 3, pix, nil))
}

func ramp(x, y int) [3]uint8 { return [3]uint8{uint8(40 + x), uint8(60 + y), 90} }
func grey(x, y int) [3]uint8 { v := uint8(128 + (x*7+y*5)%40 - 20); return [3]uint8{v, v, v} }

// A folder as artists leave it: specific names beat general ones, tiles are one map, the other side's and unnamed files
// are left out with a reason, and two files for one role stay a question.
func TestFolderOfMaps(t *testing.T) {
	dir := t.TempDir()
	for f, p := range map[string]func(x, y int) [3]uint8{
		"keeper_iris_color_L.png": ramp, "keeper_iris_color_R.png": ramp, "Eye_ALBEDO.png": ramp,
		"sub/iris_height.1001.png": grey, "sub/iris_height.1002.png": grey, "sub/iris_height.1011.png": grey,
		"cornea-nrm.png": ramp, "cornea_normal_v2.png": ramp, "sketch.png": ramp, "iris_rough.png": grey,
	} {
		dot(t, filepath.Join(dir, f), 24, p)
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "iris_normal.png"), []byte("not a picture"), 0o666))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("iris color"), 0o666))
	n, err := LoadNames("")
	require.NoError(t, err)
	in, err := Read(licensed, dir, "", n) // the right eye, by its name
	require.NoError(t, err)
	p, err := Propose(in)
	require.NoError(t, err)
	got := map[string]string{}
	for _, m := range p.Maps {
		rel, err := filepath.Rel(dir, m.File)
		require.NoError(t, err)
		got[m.Slot] = filepath.ToSlash(rel)
	}
	require.Equal(t, map[string]string{"iris.colour": "keeper_iris_color_R.png", "sclera.colour": "Eye_ALBEDO.png", "iris.height": "sub/iris_height.{tile}.png"}, got)
	g := p.grades()
	require.Equal(t, Question, g["cornea.normal"])
	require.Equal(t, Question, g["iris.normal"], "a file that can't be read is a question, not an end")
	require.Equal(t, Unsure, g["iris.height"], "no file says its height in mm")
	left := map[string]string{}
	for _, f := range p.Findings {
		if f.Choice == "left out" {
			left[filepath.Base(f.File)] = f.Reason
		}
	}
	require.Contains(t, left["keeper_iris_color_L.png"], "left")
	require.Contains(t, left["sketch.png"], "no kind of map")
	require.Contains(t, left["iris_rough.png"], "cornea.roughness and sclera.roughness are plain numbers")
	require.Empty(t, p.Borrowed())
}
