package main

import (
	"os"
	"path/filepath"
	"strings"
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
	require.Less(t, strings.Index(stdout, ": unit "), strings.Index(stdout, "21 pictures"), "the verdict comes first: %s", stdout)
	require.Contains(t, stdout, "tissue: half of the light that comes back out of the white does so within")
	require.Contains(t, stdout, "times a grown human's 24.2 mm")
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

// A globe of 60 mm about an iris of 12 is no mistake of units, and --verdict makes no files.
func TestScaleVerdict(t *testing.T) {
	file := writeHeron(t)
	code, stdout, stderr := catchlight("scale", file, "--verdict", "--walks", "1000", "--set", "objects.eye.globe.radius=30", "--set", "objects.eye.limbus.radius=5.85")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "eye: parts do not fit\n")
	require.Contains(t, stdout, "its visible iris is 0.195 of the globe's width")
	require.Contains(t, stdout, "a globe as wide as a grown human has for it: --set objects.eye.globe.radius=12\n")
	require.NotContains(t, stdout, "inches")
	require.NotContains(t, stderr+stdout, "pictures")
	_, err := os.Stat("out")
	require.ErrorIs(t, err, os.ErrNotExist)
	code, stdout, stderr = catchlight("scale", file, "--verdict", "--walks", "1000", "--set", "objects.eye.transform.scale=10")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "eye: wrong unit\n")
	require.Contains(t, stdout, "To mend it: --set objects.eye.transform.scale=1\n")
}

// What is noted of the scene's own files is left out, whatever look and number of pictures it is told of.
func TestBeyond(t *testing.T) {
	got := beyond([]string{"traced: iris.colour: 5 of 9 texels are outside 0 to 1 (21 pictures)", "traced: 3 paths were cut", "traced: iris.colour: soft"},
		[]string{"iris.colour: 5 of 9 texels are outside 0 to 1", "iris.colour: soft"})
	require.Equal(t, []string{"traced: 3 paths were cut"}, got)
}
