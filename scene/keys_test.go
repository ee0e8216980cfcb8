package scene

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The list of keys does not hang on where the files lie, and says what differs: values by both, files by their keys, entries
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
