package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The command says its verdict, leaves its files, and takes up what is there when it is given again.
func TestScale(t *testing.T) {
	file := writeHeron(t)
	args := []string{"scale", file, "--size", "64x64", "--samples", "1", "--walks", "1000", "-o", "a", "--cache="}
	code, stdout, stderr := catchlight(args...)
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "21 pictures: 21 rendered")
	require.Contains(t, stdout, "tissue: half of what goes into the white comes back out within")
	for _, n := range scaleFiles {
		info, err := os.Stat(filepath.Join("a", n))
		require.NoError(t, err)
		require.Greater(t, info.Size(), int64(1000), n)
	}
	first, err := os.ReadFile("a/scale-1.png")
	require.NoError(t, err)
	code, stdout, stderr = catchlight(args...)
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "0 rendered, 21 there already")
	again, err := os.ReadFile("a/scale-1.png")
	require.NoError(t, err)
	require.Equal(t, first, again)
}
