package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Two adopted eyes, whose scene files have one name, have results of their own without --out.
func TestScenesInFolders(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, eye := range []string{"heron", "goat"} {
		file := filepath.Join("out", "adopt-"+eye, "scene.yaml")
		require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o777))
		require.NoError(t, os.WriteFile(file, []byte(float), 0o666))
		for _, verb := range []string{"render", "sheet"} {
			code, _, stderr := catchlight(verb, file, "--size", "8x8", "--samples", "1")
			require.Zero(t, code, stderr)
		}
		require.FileExists(t, "out/adopt-"+eye+".png")
		require.FileExists(t, "out/sheet-adopt-"+eye+"/sheet.png")
	}
	for path, want := range map[string]string{"scene.yaml": "scene", "./scene.yaml": "scene", "../scene.yaml": "scene", "/scene.yaml": "scene",
		"marsh/heron.yaml": "heron", "marsh/scene.yaml": "marsh"} {
		require.Equal(t, want, sceneName(path), path)
	}
}
