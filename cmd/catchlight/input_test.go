package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/imageio"
)

// Pictures that are no pictures of colours, or not what their names say, end as other bad input does: with the file and the
// key that names it, and before anything is written.
func TestPicturesThatAreNone(t *testing.T) {
	dir, _ := writeScene(t)
	t.Chdir(dir)
	pix := make([]float32, 8)
	require.NoError(t, imageio.WriteEXR("depth.exr", 4, 2, []imageio.EXRChannel{{Name: "Z", Pix: pix}, {Name: "id", Pix: pix}}, nil))
	require.NoError(t, imageio.WritePNG("bark.jpg", 2, 2, 3, make([]uint8, 12), nil))
	for want, text := range map[string]string{
		"marsh.yaml: lights.dome: depth.exr: there are no colours in it: none of its channels (Z, id) is R, G, B or Y": strings.Replace(float, "radiance: 0.5}", "radiance: 0.5}, {name: dome, kind: environment, file: depth.exr}", 1),
		"depth.exr: there are no colours in it":            strings.Replace(float, "radius: 15", "radius: 15, material: {colour: {file: depth.exr}}", 1),
		"bark.jpg: the content is PNG, the name says JPEG": strings.Replace(float, "radius: 15", "radius: 15, material: {colour: {file: bark.jpg}}", 1),
	} {
		put(t, "marsh.yaml", text)
		code, _, stderr := catchlight("render", "marsh.yaml", "-o", "a.png")
		require.Equal(t, exitFailed, code, stderr)
		require.Contains(t, stderr, want)
		require.NoFileExists(t, "a.png")
	}
	code, _, stderr := catchlight("check-picture", "depth.exr")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "depth.exr: there are no colours in it")
}
