package render

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

const guideScene = `
picture: {width: 24, height: 24, samples: 128, filter: box, filter_width: 1}
camera: {kind: orthographic, width: %g, target: %s, orbit: {azimuth: %g}}
lights: [%s]
effects: {tear_film: false, refraction: false}
objects: [{name: eye, shape: eye, map_size: 64, sclera: {colour: %s, scatter_radius: [0.06, 0.05, 0.03], veins: 0, wobble: 0}, iris: {pupil: 2, colour: %[5]s}, cornea: {wobble: 0}}]
`

// Guided and plain walks have the same mean: under an even sky and under a lamp at the edge of its shadow, on the sclera
// and on the iris with its relief, for a white and a dark tissue. (Both are unbiased; their difference is within 3.5
// standard errors, which are at most half a percent.)
func TestGuidedWalksKeepTheMean(t *testing.T) {
	const sky = "{name: sky, kind: constant, radiance: [1, 1, 1]}"
	const lamp = "{name: lamp, kind: disc, orbit: {azimuth: -30, elevation: 20, distance: 60}, radius: 4, radiance: [500, 500, 500]}"
	for _, q := range []struct {
		name, light, aim, colour string
		width, azimuth           float64
	}{
		{"white, sky", sky, "[11, 0, 0]", "[0.9, 0.8, 0.6]", 2, 90},
		{"dark, sky", sky, "[11, 0, 0]", "[0.3, 0.1, 0.05]", 2, 90},
		{"white, edge of a shadow", lamp, "[9, 0, 6]", "[0.9, 0.8, 0.6]", 5, 60},
		{"iris, sky", sky, "[0, 0, 8]", "[0.5, 0.3, 0.1]", 9, 0},
		{"limbus, lamp", lamp, "[0, 5.8, 10]", "[0.5, 0.3, 0.1]", 3, 0},
	} {
		t.Run(q.name, func(t *testing.T) {
			text := fmt.Sprintf(guideScene, q.width, q.aim, q.azimuth, q.light, q.colour)
			look := func(set string) (m, se [3]float64) {
				pic := trace(t, text, set).Film.Develop()
				for c := range m {
					m[c], se[c] = mean(&pic, c, nil)
				}
				return
			}
			a, sa := look("advanced.guided=true")
			b, sb := look("advanced.guided=false")
			for c := range a {
				se := math.Hypot(sa[c], sb[c])
				t.Logf("channel %d: guided %.5f +- %.5f, plain %.5f +- %.5f", c, a[c], sa[c], b[c], sb[c])
				assert.Less(t, math.Abs(a[c]-b[c]), 3.5*se+1e-12)
				assert.Greater(t, a[c], 0.005)
				assert.Less(t, sa[c], 0.01*a[c])
			}
		})
	}
}

// What guiding gains: variance times processor time of a plain walk over that of a guided one, on a flat piece of tissue
// (mean free paths of hundredths of a mm) under an even sky.
func BenchmarkGuidedWalks(b *testing.B) {
	for _, colour := range []string{"0.478", "0.722", "0.795"} {
		b.Run("albedo="+colour, func(b *testing.B) {
			text := fmt.Sprintf(guideScene, 2.0, "[11, 0, 0]", 90.0, "{name: sky, kind: constant, radiance: [1, 1, 1]}", colour)
			cost := func(set string) float64 {
				p := prepare(b, text, set, "objects.eye.sclera.scatter_radius=0.02")
				start := time.Now()
				pic := finish(b, p).Film.Develop()
				sec := time.Since(start).Seconds()
				v := 0.0
				for i := range pic.Error {
					v += pic.Error[i][1] * pic.Error[i][1]
				}
				return v * sec
			}
			var sum float64
			for b.Loop() {
				sum += math.Log(cost("advanced.guided=false") / cost("advanced.guided=true"))
			}
			b.ReportMetric(math.Exp(sum/float64(b.N)), "times-better")
		})
	}
}
