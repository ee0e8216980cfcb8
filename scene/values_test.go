package scene

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// All values of a scene are there by the paths that overrides use, and the schema knows every one.
func TestValues(t *testing.T) {
	d, err := Parse("keeper.yaml", []byte(`view: {exposure: -1.2}
camera: {orbit: {}, focal_length: 1080}
lights:
  - {name: room, kind: environment, file: builtin:cottage-room-unlit}
  - {name: window, kind: rectangle, orbit: {azimuth: -28}, radiance: 3}
objects:
  - {name: eye, shape: eye, iris: {pupil: 3.4}, sclera: {tint: [0.97, 0.99, 1.06]}}
`))
	require.NoError(t, err)
	v := d.Values()
	require.Equal(t, 3.4, v["objects.eye.iris.pupil"])
	require.Equal(t, []any{0.97, 0.99, 1.06}, v["objects.eye.sclera.tint"])
	require.Equal(t, -1.2, v["view.exposure"])
	require.Equal(t, "builtin:cottage-room-unlit", v["lights.room.file"])
	require.NotContains(t, v, "lights.room.width", "no key of a rectangle")
	require.Contains(t, v, "objects.eye.paint.redness.amount")
	for key := range v {
		require.NotNil(t, KeyAt(key), key)
	}
	require.Nil(t, KeyAt("objects.eye.iris.tide"))
	require.Equal(t, "list", KeyAt("lights").Kind)
	require.Equal(t, "block", KeyAt("lights.room").Kind)
	require.Equal(t, "[-40, 40]", KeyAt("lights.room.ev").Limits.Text)
}

// What Written says is what it means: put on a scene without the key, it gives the same scene.
func TestWritten(t *testing.T) {
	d, err := Load("../scenes/heron_lidded.yaml")
	require.NoError(t, err)
	for _, key := range []string{"objects.eye.paint", "lights", "view", "objects.eye.iris", "camera.target"} {
		text, err := d.Written(key)
		require.NoError(t, err, key)
		again, err := d.With(key + "=" + text)
		require.NoError(t, err, "%s=%s", key, text)
		require.True(t, Equal(d, again), "%s=%s", key, text)
	}
	_, err = d.Written("objects.eye.tide")
	require.ErrorContains(t, err, "there is no such key")
	_, err = d.Written("lights.tide.ev")
	require.ErrorContains(t, err, "there is no entry tide")
}

// Equal sees one changed number, and not how the text is laid out.
func TestEqual(t *testing.T) {
	data, err := os.ReadFile("../scenes/heron.yaml")
	require.NoError(t, err)
	a, err := Parse("a.yaml", data)
	require.NoError(t, err)
	b, err := Parse("b.yaml", []byte("# another\n"+strings.ReplaceAll(string(data), "\n", "\r\n")))
	require.NoError(t, err)
	require.True(t, Equal(a, b))
	c, err := a.With("objects.eye.iris.pupil=2.123")
	require.NoError(t, err)
	require.False(t, Equal(a, c))
}
