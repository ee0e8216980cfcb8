package render

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
)

// Long checks write what they measure into a dated file; see DEVELOPERS.md.
const longVariable = "CATCHLIGHT_LONG"

// longTable opens the table of a long check, or skips the check.
func longTable(t *testing.T, name, head string) func(format string, a ...any) {
	t.Helper()
	if os.Getenv(longVariable) == "" {
		t.Skipf("takes minutes; %s=1 runs it and writes testdata/traced/%s-DATE.md", longVariable, name)
	}
	file := filepath.Join("..", "testdata", "traced", fmt.Sprintf("%s-%s.md", name, time.Now().Format("2006-01-02")))
	f, err := os.Create(file)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, f.Close()) })
	_, err = fmt.Fprintf(f, "Measured %s, %s, %d processors, machine shared, by\n`%s=1 go test ./render -run '%s' -timeout 60m`\n\n%s\n",
		time.Now().Format("2 January 2006"), runtime.Version(), runtime.NumCPU(), longVariable, t.Name(), head)
	require.NoError(t, err)
	return func(format string, a ...any) {
		t.Logf(format, a...)
		fmt.Fprintf(f, format+"\n", a...)
	}
}

// A lamp 50 degrees off the axis and the middle of the plane of the iris, as irradiance.
const behindCornea = `
picture: {width: 16, height: 16, samples: %d, seed: %d, filter: box, filter_width: 1}
camera: {kind: plate, normal: [0, 0, 1], width: 4, target: [0, 0, %g]}
advanced: {manifold: %t}
lights: [{name: lamp, kind: distant, angle: %g, orbit: {azimuth: 50}, irradiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, ` + plainEye + `}]
`

// relief is a shape of the cornea.
type relief struct {
	name  string
	folds bool
	set   []string
}

// reliefs are a smooth cornea, the steepest that looks like one, and two on which light crosses itself (folds), each as real
// displacement and, through dir, as a normal map on a smooth cornea.
func reliefs(t *testing.T, dir string) []relief {
	const cornea = "objects.eye.cornea."
	wobble := func(slope, size float64) []string {
		return []string{fmt.Sprintf(cornea+"wobble=%g", slope), fmt.Sprintf(cornea+"wobble_size=%g", size)}
	}
	return []relief{
		{"smooth", false, wobble(0, 4)},
		{"displaced, slope 0.04", false, wobble(0.04, 4)},
		{"displaced, folds", true, []string{cornea + "height={file: " + heights(t, dir, 48) + ", scale: 0.06}"}},
		{"normal map, slope 0.04", false, []string{cornea + "normal={file: " + waves(t, dir, 0.04, 12) + "}"}},
		{"normal map, folds", true, []string{cornea + "normal={file: " + waves(t, dir, 0.12, 24) + "}"}},
	}
}

// waves writes a normal map of crossed waves of the given RMS slope each way, so many across the picture, and returns its path.
func waves(t *testing.T, dir string, slope float64, count int) string {
	t.Helper()
	const n = 512
	pix := make([]float32, 0, 3*n*n)
	for i := range n * n {
		k := 2 * math.Pi * float64(count) / n
		x, y := k*(float64(i%n)+0.5), k*(float64(i/n)+0.5)
		d := geom.Vec{X: slope * math.Sqrt2 * math.Sin(x), Y: slope * math.Sqrt2 * math.Sin(y), Z: 1}.Unit()
		pix = append(pix, float32(0.5+d.X/2), float32(0.5+d.Y/2), float32(0.5+d.Z/2))
	}
	path := filepath.Join(dir, fmt.Sprintf("waves-%g-%d.pfm", slope, count))
	require.NoError(t, imageio.WritePFM(path, n, n, 3, pix))
	return path
}

// heights writes a height map of crossed waves from 0 to 1.
func heights(t *testing.T, dir string, count int) string {
	t.Helper()
	const n = 1024
	pix := make([]float32, 0, n*n)
	for i := range n * n {
		k := 2 * math.Pi * float64(count) / n
		pix = append(pix, float32(0.5+0.25*(math.Sin(k*(float64(i%n)+0.5))+math.Sin(k*(float64(i/n)+0.5)))))
	}
	path := filepath.Join(dir, fmt.Sprintf("heights-%d.pfm", count))
	require.NoError(t, imageio.WritePFM(path, n, n, 1, pix))
	return path
}

type bent struct{ mean, se, chance, chanceSE, unfound float64 }

// bothWays measures the mean irradiance with the solver, by spp samples, and by plain path tracing, by sppChance.
func bothWays(t *testing.T, radius float64, c relief, spp, sppChance int) bent {
	t.Helper()
	z := apex(prepare(t, fmt.Sprintf(behindCornea, 1, 1, 8.0, true, 2.0, 5.5, 2.0, 0.0))) - 3.6
	look := func(manifold bool, spp, seed int) (m, se, unfound float64) {
		r := trace(t, fmt.Sprintf(behindCornea, spp, seed, z, manifold, 2*radius, 5.5, 2.0, 0.0), c.set...)
		pic := r.Film.Develop()
		m, se = mean(&pic, 1, nil)
		return m, se, r.Stats.NotFound
	}
	var b bent
	b.mean, b.se, b.unfound = look(true, spp, 1)
	b.chance, b.chanceSE, _ = look(false, sppChance, 2)
	return b
}

func (b *bent) check(t *testing.T) {
	t.Helper()
	assert.Less(t, b.se, 0.005*b.mean)
	assert.Less(t, b.chanceSE, 0.005*b.chance)
	assert.Less(t, math.Abs(b.mean-b.chance), 3*math.Hypot(b.se, b.chanceSE))
}

// The solver changes no mean, whatever the cornea's relief, and finds nearly all the light where the relief makes no folds.
func TestManifoldKeepsTheMean(t *testing.T) {
	for i, c := range reliefs(t, t.TempDir()) {
		spp, radii := 256, map[float64]int{15: 3000, 30: 1000, 60: 500}
		if i > 1 {
			spp, radii = 512, map[float64]int{30: 800}
		}
		for radius, sppChance := range radii {
			b := bothWays(t, radius, c, spp, sppChance)
			t.Logf("radius %g degrees, %s: %.5f +- %.5f, by chance %.5f +- %.5f; not found %.5f", radius, c.name, b.mean, b.se, b.chance, b.chanceSE, b.unfound)
			b.check(t)
			if i < 2 {
				assert.Less(t, b.unfound, 1e-3)
			}
		}
	}
}

// The same down to lamps of 2 degrees.
func TestManifoldKeepsTheMeanLong(t *testing.T) {
	row := longTable(t, "solver-mean", "Mean irradiance on the middle 4 x 4 mm of the plane of the iris, lamp at 50 degrees, irradiance 1. Not found is the share of\n"+
		"the light that the solver did not find and chance brought.\n\n"+
		"| relief of the cornea | radius of the lamp, degrees | with the solver | by chance | apart, standard errors | not found |\n| --- | --- | --- | --- | --- | --- |")
	for _, c := range reliefs(t, t.TempDir()) {
		for _, l := range []struct {
			radius float64
			spp    int
		}{{2, 80000}, {5, 16000}, {15, 4000}, {30, 1500}, {60, 1000}} {
			spp, chance := min(l.spp/4, 4096), l.spp
			if c.folds { // much is left to chance
				spp, chance = l.spp*3/2, l.spp*5/2
			}
			b := bothWays(t, l.radius, c, max(256, spp), chance)
			row("| %s | %g | %.5f +- %.5f | %.5f +- %.5f | %+.1f | %.5f |", c.name, l.radius, b.mean, b.se, b.chance, b.chanceSE,
				(b.chance-b.mean)/math.Hypot(b.se, b.chanceSE), b.unfound)
			b.check(t)
		}
	}
}

// What the solver gains on a picture of the iris, whose median is about 0.18, under a disc light at 50 degrees: variance
// of a pixel times processor seconds without it over the same with it, in the median and in the mean over the iris. The
// tear film mirrors nothing here, as the edge of the lamp's image would be most of the variance that is left.
func TestManifoldEfficiencyLong(t *testing.T) {
	if cpuSeconds() == 0 {
		t.Skip("processor time is not known here")
	}
	row := longTable(t, "solver-gain", "The default hazel eye, 24 x 24 pixels of its iris, random walks on, no mirror image, disc light at 50 degrees; variance x processor seconds\n"+
		"with connections through the cornea and without.\n\n"+
		"| radius of the lamp, degrees | median of the iris | with, variance x s | without | gain, mean over pixels | gain, median |\n| --- | --- | --- | --- | --- | --- |")
	const yaml = `
picture: {width: 24, height: 24, samples: %d, seed: 3, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 10, target: [0, 0, 8], orbit: {azimuth: 0}}
advanced: {manifold: %t}
effects: {tear_film: false}
lights: [{name: lamp, kind: disc, radius: %g, orbit: {azimuth: 50, distance: 800}, radiance: [%g, %[4]g, %[4]g], camera_visible: false}]
objects: [{name: eye, shape: eye, map_size: 512, iris: {colour: 0.3, pupil: 3.4}}]
`
	for _, c := range []struct{ radius, least float64 }{{1, 1000}, {5, 100}, {15, 10}} {
		r := 800 * math.Tan(c.radius*math.Pi/180)
		s := math.Sin(c.radius * math.Pi / 180)
		radiance := 3.8 / (math.Pi * s * s)
		cost := func(manifold bool, spp int) (v []float64, median float64) {
			p := prepare(t, fmt.Sprintf(yaml, spp, manifold, r, radiance))
			start := cpuSeconds()
			res := finish(t, p)
			sec := cpuSeconds() - start
			pic := res.Film.Develop()
			var m []float64
			for i := range pic.Mean {
				d := math.Hypot(float64(i%24)-11.5, float64(i/24)-11.5) * 10 / 24
				if d > 2.3 && d < 4.8 { // the iris, clear of pupil and limbus
					v = append(v, pic.Error[i][1]*pic.Error[i][1]*sec)
					m = append(m, pic.Mean[i][1])
				}
			}
			slices.Sort(m)
			return v, m[len(m)/2]
		}
		with, median := cost(true, 512)
		without, _ := cost(false, 8192)
		avg := func(v []float64) (s float64) {
			for _, x := range v {
				s += x / float64(len(v))
			}
			return s
		}
		gain := avg(without) / avg(with)
		a, b := avg(with), avg(without)
		slices.Sort(with)
		slices.Sort(without)
		row("| %g | %.3f | %.3g | %.3g | %.0f | %.0f |", c.radius, median, a, b, gain, without[len(without)/2]/with[len(with)/2])
		assert.Greater(t, gain, c.least)
	}
}
