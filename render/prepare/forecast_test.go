package prepare

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"

	"catchlight/scene"
	"catchlight/scene/imageio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fourMaps writes an RGB colour of 8 bits, a normal map of unit vectors in three channels of 16, a displacement of 16
// and a mask of 8 bits, n x n each, and returns a scene that lays them on an eye.
func fourMaps(t *testing.T, dir string, n int) string {
	t.Helper()
	name := func(s string) string { return filepath.Join(dir, s+".png") }
	bytes := make([]uint8, 3*n*n)
	for i := range bytes {
		bytes[i] = uint8(i * 2654435761 >> 13)
	}
	require.NoError(t, imageio.WritePNG(name("colour"), n, n, 3, bytes, nil))
	require.NoError(t, imageio.WritePNG(name("mask"), n, n, 1, bytes[:n*n], nil))
	bytes = nil
	words := make([]uint16, 3*n*n)
	for i := 0; i < len(words); i += 3 {
		x, y := .05*math.Sin(float64(i)), .05*math.Cos(1.7*float64(i))
		for c, v := range [3]float64{x, y, math.Sqrt(1 - x*x - y*y)} {
			words[i+c] = uint16(65535*(v+1)/2 + .5)
		}
	}
	require.NoError(t, imageio.WritePNG16(name("normal"), n, n, 3, words, nil))
	require.NoError(t, imageio.WritePNG16(name("height"), n, n, 1, words[:n*n], nil))
	return fmt.Sprintf(`
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects:
  - {name: eye, shape: eye, cornea: {normal: {file: %s}, height: {file: %s, scale: 0.01}}, iris: {colour: {file: %s}}, sclera: {colour: {file: %s}}}
`, name("normal"), name("height"), name("colour"), name("mask"))
}

// A forecast comes from headers alone and agrees with what the textures take; above the limit the work is refused, with
// every file and its numbers.
func TestForecast(t *testing.T) {
	const n = 256
	d, err := scene.Parse("x.yaml", []byte(fourMaps(t, t.TempDir(), n)), "objects.eye.map_size=64")
	require.NoError(t, err)
	f := NewForecast(d)
	quarter, rest := n*n/4, (n*n/4-1)/3
	want := (3+2*2+2+1)*n*n + (3+2*2+2+1)*quarter + (6+2*2+2+2)*rest + 3*12*64*64
	assert.EqualValues(t, want, f.Kept)
	assert.Greater(t, f.Peak, f.Kept+8*n*n) // the normal map decodes to four channels of 16 bits
	d.Advanced.MapMemory = float64(f.Peak-1) / 1e9
	_, err = Scene(context.Background(), d, Options{})
	for _, want := range []string{"advanced.map_memory", "normal.png (256 x 256, 16 bits)", "mask.png", "GB at the peak"} {
		assert.ErrorContains(t, err, want)
	}
	d.Advanced.MapMemory = float64(f.Peak+1) / 1e9
	p, err := Scene(context.Background(), d, Options{})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(p.Warnings, "\n"), "forecast: the pictures of the scene take")
}

// Four maps of 8192 take at most 1 GB after Prepare and 2.2 GB at the peak, of a process of its own. It takes minutes
// and 2 GB of memory, so it runs where CATCHLIGHT_MAPS gives the side of the maps, 8192 for these limits.
func TestMemoryOfMaps(t *testing.T) {
	if file := os.Getenv("CATCHLIGHT_MAPS_SCENE"); file != "" {
		d, err := scene.Load(file)
		require.NoError(t, err)
		p, err := Scene(context.Background(), d, Options{})
		require.NoError(t, err)
		debug.FreeOSMemory()
		status, err := os.ReadFile("/proc/self/status")
		require.NoError(t, err)
		for _, line := range strings.Split(string(status), "\n") {
			if strings.HasPrefix(line, "VmHWM") || strings.HasPrefix(line, "VmRSS") {
				fmt.Println(line)
			}
		}
		require.NotNil(t, p.Scene)
		return
	}
	n, err := strconv.Atoi(os.Getenv("CATCHLIGHT_MAPS"))
	if err != nil {
		t.Skip("set CATCHLIGHT_MAPS=8192 to measure the memory of four maps of that side")
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "x.yaml")
	require.NoError(t, os.WriteFile(file, []byte(fourMaps(t, dir, n)), 0o666))
	debug.FreeOSMemory()
	cmd := exec.Command(os.Args[0], "-test.run", "^TestMemoryOfMaps$", "-test.v")
	cmd.Env = append(os.Environ(), "CATCHLIGHT_MAPS_SCENE="+file)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	kB := map[string]float64{}
	for _, line := range strings.Split(string(out), "\n") {
		if w := strings.Fields(line); len(w) == 3 && strings.HasPrefix(w[0], "Vm") {
			kB[w[0]], err = strconv.ParseFloat(w[1], 64)
			require.NoError(t, err)
		}
	}
	d, err := scene.Load(file)
	require.NoError(t, err)
	f := NewForecast(d)
	t.Logf("side %d: %.3f GB after Prepare, %.3f GB at the peak; forecast %s and %s", n, kB["VmRSS:"]*1024e-9, kB["VmHWM:"]*1024e-9,
		gigabytes(f.Kept), gigabytes(f.Peak))
	assert.Less(t, kB["VmRSS:"]*1024, 1e9)
	assert.Less(t, kB["VmHWM:"]*1024, 2.2e9)
	assert.NotZero(t, kB["VmRSS:"])
}
