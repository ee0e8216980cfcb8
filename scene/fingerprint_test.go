package scene

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A scene keeps its fingerprint when its folder moves, and loses it with a value, or with one byte of a file.
func TestFingerprint(t *testing.T) {
	const text = "about: reeds\ncamera: {orbit: {distance: 200}}\nlights:\n  - {name: sky, kind: environment, file: sky.hdr}\nobjects:\n  - {name: ball, shape: sphere}\n"
	of := func(dir, sky string, set ...string) string {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "sky.hdr"), []byte(sky), 0o666))
		d, err := Parse(filepath.Join(dir, "reed.yaml"), []byte(text), set...)
		require.NoError(t, err)
		h, err := d.Fingerprint()
		require.NoError(t, err)
		return h
	}
	first := of(t.TempDir(), "a")
	require.Len(t, first, 64)
	require.Equal(t, first, of(t.TempDir(), "a"))
	require.Equal(t, first, of(t.TempDir(), "a", "about=other words"))
	require.NotEqual(t, first, of(t.TempDir(), "b"))
	require.NotEqual(t, first, of(t.TempDir(), "a", "objects.ball.radius=9"))
}
