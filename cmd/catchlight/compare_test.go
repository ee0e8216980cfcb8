package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/compare"
)

func runLine(line string) (code int, out, errs string) {
	var a, b bytes.Buffer
	code = run(context.Background(), strings.Fields(line), &a, &b)
	return code, a.String(), b.String()
}

// Twice the light of the sky, and nothing else: the ratio is that of the lights in every part, up to the grain that both
// pictures share with their seed. All files are there, and the same command again renders nothing.
func TestCompareVary(t *testing.T) {
	file := writeHeron(t)
	line := "compare " + file + " --vary lights.sky.radiance=0.5,1 --set lights.lamp.on=false --size 32x32 --spp 8 --cache= -o cmp"
	code, out, errs := runLine(line)
	require.Zero(t, code, errs)
	require.Contains(t, out, "wrote cmp/compare.html")
	for _, n := range []string{"sky.radiance-0.5.exr", "sky.radiance-1.exr", "sky.radiance-0.5.png", "sky.radiance-1.png", "side-by-side.png", "wipe.png", "wipe.apng", "blink.apng",
		"difference-signed.png", "difference-absolute.png", "flip.png", "hdr-flip.png", "regions.png", "compare.html", "compare.json"} {
		require.FileExists(t, filepath.Join("cmp", n))
	}
	data, err := os.ReadFile(filepath.Join("cmp", "compare.json"))
	require.NoError(t, err)
	var r compare.Report
	require.NoError(t, json.Unmarshal(data, &r))
	require.Equal(t, "sky.radiance 0.5", r.Reference)
	parts := map[string]bool{}
	for _, q := range r.Regions {
		parts[q.Region] = true
		require.InDelta(t, 2, float64(q.Ratio), 1e-5, q.Region)
		if q.Region != "pupil" && q.Region != "picture" {
			require.Greater(t, float64(q.FLIP.Mean), 0.02, q.Region)
		}
	}
	for _, n := range []string{"pupil", "iris", "limbus", "sclera"} {
		require.True(t, parts[n], n)
	}
	code, out, errs = runLine(line)
	require.Zero(t, code, errs)
	require.Contains(t, out, "2 pictures: 0 rendered, 2 there already")
}

func TestCompareMistakes(t *testing.T) {
	file := writeHeron(t)
	for _, c := range []struct{ args, says string }{
		{"--looks traced", "give two ways"},
		{"--looks traced,etched", "etched: known are"},
		{"--vary film.spp", "give KEY=a,b"},
		{"--vary film.seed=1,2,3", "give KEY=a,b"},
		{"--vary camera.width=20,30", "same camera and size"},
		{"--vary view.exposure=0,99", "[-40, 40]"},
		{"--vary film.seed=1,2 --distance 0", "[0.05, 10] m"},
		{"--vary film.seed=1,2 --shard 1/2", "a comparison is two pictures"},
		{"--vary film.seed=1,2 --set camera={kind:plate,normal:[0,0,1],width:20}", "a plate records irradiance"},
	} {
		code, _, errs := runLine("compare " + file + " " + c.args + " -o none")
		require.Equal(t, exitUsage, code, "%s: %s", c.args, errs)
		require.Contains(t, errs, c.says)
		require.NoDirExists(t, "none")
	}
}
