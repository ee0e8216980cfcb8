package render

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/accel"
	"catchlight/scene"
)

const kernelScene = `
picture: {width: 40, height: 40, samples: 64}
camera: {kind: orthographic, width: 26, target: [0, 0, 8], orbit: {azimuth: 20}}
lights: [{name: key, kind: rectangle, orbit: {azimuth: -40, elevation: 30, distance: 300}, width: 100, height: 100, radiance: [9, 9, 9]}, {name: sky, kind: constant, radiance: [0.3, 0.3, 0.3]}]
objects: [{name: eye, shape: eye, map_size: 128}]
`

// pictureOf renders the scene and returns the luminance of its pixels and their standard errors.
func pictureOf(t *testing.T) (mean, se []float64) {
	d, err := scene.Parse("kernel.yaml", []byte(kernelScene))
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{})
	require.NoError(t, err)
	r, err := p.Render(context.Background(), Options{})
	require.NoError(t, err)
	require.Greater(t, r.Stats.KernelShare, 0.01)
	require.Less(t, r.Stats.KernelShare, 0.95)
	require.Greater(t, r.Stats.Rays, r.Stats.CameraRays)
	pic := r.Film.Develop()
	for i := range pic.Mean {
		mean = append(mean, pic.Mean[i].Luminance())
		se = append(se, pic.Error[i].Luminance())
	}
	return
}

// The portable kernel, in a process of its own, gives the picture of the assembly within the noise: most paths are the
// same, and where rounding parts them the difference has the size of the standard error. 6 of them bound 1600 pixels.
func TestKernelsGiveTheSamePicture(t *testing.T) {
	if file := os.Getenv("CATCHLIGHT_TEST_PICTURE"); file != "" {
		require.Equal(t, "go", accel.Kernel())
		mean, se := pictureOf(t)
		data, err := json.Marshal([][]float64{mean, se})
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(file, data, 0o666))
		return
	}
	if accel.Kernel() == "go" {
		t.Skip("this machine or build has the portable kernel alone, so there is nothing to compare")
	}
	file := filepath.Join(t.TempDir(), "picture.json")
	exe, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(exe, "-test.run", "^TestKernelsGiveTheSamePicture$")
	cmd.Env = append(os.Environ(), "CATCHLIGHT_KERNEL=go", "CATCHLIGHT_TEST_PICTURE="+file)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	var other [][]float64
	require.NoError(t, json.Unmarshal(data, &other))
	mean, se := pictureOf(t)
	same, sum, sum2 := 0, 0.0, 0.0
	for i := range mean {
		d := math.Abs(mean[i] - other[0][i])
		require.LessOrEqual(t, d, 6*math.Hypot(se[i], other[1][i])+1e-9, "pixel %d", i)
		if d <= 1e-4*mean[i] {
			same++
		}
		sum += mean[i] - other[0][i]
		sum2 += se[i]*se[i] + other[1][i]*other[1][i]
	}
	t.Logf("%d of %d pixels agree to 1e-4", same, len(mean))
	require.Less(t, math.Abs(sum), 4*math.Sqrt(sum2))
}

// The share of the ray kernel is one of work done: workers that wait for a core make it no smaller.
func TestKernelShareIsOfProcessorTime(t *testing.T) {
	s := Stats{Seconds: 40, Workers: 2, CPUSeconds: 8}
	require.Equal(t, 0.25, s.shareOf(2))
	s.CPUSeconds = 0 // the system does not tell
	require.Equal(t, 0.025, s.shareOf(2))
	d, err := scene.Parse("kernel.yaml", []byte(kernelScene), "picture.samples=8")
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{})
	require.NoError(t, err)
	start := cpuSeconds()
	r, err := p.Render(context.Background(), Options{Workers: 1})
	require.NoError(t, err)
	if whole := cpuSeconds() - start; whole > 0 {
		require.Greater(t, r.Stats.CPUSeconds, 0.0)
		require.LessOrEqual(t, r.Stats.CPUSeconds, whole)
	}
}
