package desk

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
)

// A dropped file may be for the maps of eyes and the pictures of surroundings, each of which is there once and takes it; a slate has no iris.
func TestSlots(t *testing.T) {
	text := strings.Replace(warden, "objects:\n", "  - {name: dusk, kind: environment, file: \"builtin:marsh-dusk-unlit\"}\nobjects:\n  - {name: slate, shape: sphere, radius: 3}\n", 1)
	k := open(t, put(t, text), t.TempDir())
	var keys []string
	for _, s := range k.State().Slots {
		require.NotEmpty(t, s.Ends, s.Key)
		require.NotEmpty(t, s.Doc, s.Key)
		require.True(t, strings.HasPrefix(s.Key, "objects.eye.") || s.Key == "lights.dusk.file", s.Key)
		for _, other := range keys {
			require.False(t, strings.HasPrefix(s.Key+".", other+".") || strings.HasPrefix(other+".", s.Key+"."), "%s and %s are one place", s.Key, other)
		}
		keys = append(keys, s.Key)
		if s.Ends[0] == ".png" {
			require.NoError(t, k.Drop(s.Key, "reed.png", strings.NewReader(grey(t))), s.Key)
			_, err := k.Undo()
			require.NoError(t, err)
		}
		require.NotNil(t, scene.KeyAt(s.Key))
	}
	require.Subset(t, keys, []string{"objects.eye.iris.colour", "objects.eye.sclera.colour", "lights.dusk.file"})
}
