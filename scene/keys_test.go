package scene

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The list of keys does not depend on where the files lie, and says what differs: values by both, files by their keys, entries
// that one side lacks.
func TestKeys(t *testing.T) {
	const text = `
camera: {orbit: {distance: 200}}
lights: [{name: sky, kind: constant, radiance: 0.5}]
objects: [{name: float, shape: sphere, radius: 15, material: {kind: diffuse, colour: {file: bark.png}}}]
`
	list := func(bark string, sets ...string) []string {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "bark.png"), []byte(bark), 0o666))
		d, err := Parse(filepath.Join(dir, "marsh.yaml"), []byte(text), sets...)
		require.NoError(t, err)
		keys, err := d.Keys()
		require.NoError(t, err)
		return keys
	}
	one := list("reed")
	require.Equal(t, one, list("reed", "about=another line"))
	require.Contains(t, one, "camera.orbit.distance=200")
	require.Contains(t, one, "objects.float.radius=15")
	require.Contains(t, one, "camera.target=[0, 0, 8]")
	require.Empty(t, Differing(one, one))
	require.Equal(t, "picture.seed is 7, was 1; lights.sky.radiance is [2,2,2], was [0.5,0.5,0.5]", Differing(list("reed", "picture.seed=7", "lights.sky.radiance=2"), one))
	require.Equal(t, "objects.float.material.colour.file names a file of another content", Differing(list("pine"), one))
	require.Contains(t, Differing(list("reed", "objects.float.name=buoy"), one), "objects.buoy.name is \"buoy\", was not there; ")
	require.Contains(t, Differing(list("reed", "objects.float.name=buoy"), one), " more")
}

// File names are changed in all ways that they can be written, and nothing else is; what can't be changed is said.
func TestRewrite(t *testing.T) {
	dir := t.TempDir()
	for _, n := range []string{"a.png", "b c.png", "it's.png", "ä.png", "bark.1001.png"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, n), nil, 0o666))
	}
	const text = `camera: {orbit: {distance: 200}}
lights: [{name: sky, kind: constant, radiance: 0.5}]
objects:
  - {name: a, shape: sphere, material: {colour: &a {file: a.png}}} # a.png
  - {name: b, shape: sphere, material: {colour: {file: "b c.png"}, kind: diffuse}}
  - {name: c, shape: sphere, material: {colour: {file: 'it''s.png'}}}
  - {name: d, shape: sphere, material: {colour: {file:    "\u00e4.png"}}}
  - {name: e, shape: sphere, material: {colour: *a}}
  - name: f
    shape: sphere
    material:
      colour:
        file: bark.{tile}.png
`
	const want = `camera: {orbit: {distance: 200}}
lights: [{name: sky, kind: constant, radiance: 0.5}]
objects:
  - {name: a, shape: sphere, material: {colour: &a {file: "x/a.png"}}} # a.png
  - {name: b, shape: sphere, material: {colour: {file: "x/b c.png"}, kind: diffuse}}
  - {name: c, shape: sphere, material: {colour: {file: "x/it's.png"}}}
  - {name: d, shape: sphere, material: {colour: {file:    "x/ä.png"}}}
  - {name: e, shape: sphere, material: {colour: *a}}
  - name: f
    shape: sphere
    material:
      colour:
        file: "x/bark.{tile}.png"
`
	file := filepath.Join(dir, "marsh.yaml")
	rename := func(u Use) string { return "x/" + filepath.Base(u.File) }
	d, err := Parse(file, []byte(strings.Replace(text, `"\u00e4.png"`, `"ä.png"`, 1)))
	require.NoError(t, err)
	require.Len(t, d.Uses(), 5, "an alias is no place of its own")
	got, err := Rewrite([]byte(strings.Replace(text, `"\u00e4.png"`, `"ä.png"`, 1)), d.Uses(), rename)
	require.NoError(t, err)
	require.Equal(t, want, string(got))
	d, err = Parse(file, []byte(text))
	require.NoError(t, err)
	_, err = Rewrite([]byte(text), d.Uses(), rename)
	require.ErrorContains(t, err, "marsh.yaml:7:")
	require.ErrorContains(t, err, "the file name ä.png is written in a way that can't be changed; write it on one line, in double quotes")
}
