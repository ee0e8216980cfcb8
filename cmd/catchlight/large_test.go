package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// wide is a large picture with twelve lights, most of it backdrop, so that its samples cost little.
func wide(object string) string {
	s := `picture: {width: 4096, height: 4096, samples: 1}
camera: {kind: orthographic, width: 500, target: [0, 0, 8], orbit: {azimuth: 0, distance: 1000}}
lights:
  - {name: sky, kind: constant, radiance: [0.3, 0.35, 0.4]}
`
	for i := range 11 {
		s += fmt.Sprintf("  - {name: l%d, kind: distant, angle: 2, orbit: {azimuth: %d, elevation: 20}, irradiance: [2, 2, 2]}\n", i+1, 10*i-40)
	}
	return s + "objects: [" + object + "]\n"
}

// Large pictures stay within what memory they may take: with passes, denoised, in 64 parts, and twice as wide.
func TestLargePicturesLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("takes an hour of a busy machine and 60 GB of disk; CATCHLIGHT_LONG=1 runs it and writes testdata/large")
	}
	lists, err := filepath.Abs("../../testdata/large")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	put(t, "wide.yaml", wide("{name: eye, shape: eye}"))
	put(t, "float.yaml", wide("{name: float, shape: sphere, radius: 15}"))
	var table strings.Builder
	fmt.Fprintf(&table, "Measured %s, %s, %d processors, by\n`CATCHLIGHT_LONG=1 go test ./cmd/catchlight -run TestLargePicturesLong -timeout 240m`\n\n"+
		"| what | GB resident at most | allowed | CPU s |\n| --- | --- | --- | --- |\n", time.Now().Format("2 January 2006"), runtime.Version(), runtime.NumCPU())
	row := func(what string, most float64, args ...string) {
		t.Helper()
		c := program(t, args...)
		out, err := c.CombinedOutput()
		require.NoError(t, err, string(out))
		use := c.ProcessState.SysUsage().(*syscall.Rusage)
		gb := float64(use.Maxrss) * 1024 / 1e9
		cpu := c.ProcessState.UserTime() + c.ProcessState.SystemTime()
		if what != "" {
			fmt.Fprintf(&table, "| %s | %.2f | %g | %.0f |\n", what, gb, most, cpu.Seconds())
		}
		require.LessOrEqual(t, gb, most, what)
	}
	row("4096 x 4096, 12 light passes, 1 sample", 2, "render", "wide.yaml", "--passes", "lights", "-o", "a.exr")
	row("the same denoised, 2 samples", 2, "render", "wide.yaml", "--passes", "lights", "--denoise", "--samples", "2", "-o", "b.exr")
	row("8192 x 8192, no passes, .exr and .png", 3, "render", "float.yaml", "--size", "8192x8192", "-o", "c.exr", "-o", "c.png")
	row("4096 x 4096, 12 light passes, one ball", 2, "render", "float.yaml", "--passes", "lights", "-o", "d.exr")
	merge := []string{"merge", "-o", "e.exr"}
	for i := range 64 {
		row("", 2, "render", "float.yaml", "--passes", "lights", "--shard", fmt.Sprintf("%d/64", i+1), "-o", "e.exr")
		merge = append(merge, fmt.Sprintf("e.shard-%d-of-64.film", i+1))
	}
	row("64 parts of it merged", 1, merge...)
	one, err := os.ReadFile("d.exr")
	require.NoError(t, err)
	joined, err := os.ReadFile("e.exr")
	require.NoError(t, err)
	require.True(t, bytes.Equal(one, joined))
	require.NoError(t, os.MkdirAll(lists, 0o777))
	require.NoError(t, os.WriteFile(filepath.Join(lists, time.Now().Format("2006-01-02")+".md"), []byte(table.String()), 0o644))
}
