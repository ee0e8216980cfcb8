package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// chanceEye is an eye with everything on it under lamps that are wide enough to be met by chance.
const chanceEye = `
picture: {width: 24, height: 24, samples: %d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 14, target: [0, 0, 8], orbit: {azimuth: 15}}
lights:
%s
objects:
  - {name: eye, shape: eye, map_size: 128}
  - {name: wall, shape: rectangle, size: [40, 40, 1], transform: {translate: [-25, 0, 10], rotate: [0, 90, 0]}, material: {colour: [0.7, 0.6, 0.5]}}
`

// What is done to get less noise changes no mean: the solver, samples of lights, both ways at the first hit, each
// against its slow twin that leaves it to chance. Means agree within three standard errors, none above 1 %.
func TestChanceGivesTheSameMean(t *testing.T) {
	const (
		distant = "  - {name: lamp, kind: distant, angle: 60, orbit: {azimuth: 30, elevation: 20}, radiance: [1, 0.9, 0.8]}"
		near    = "  - {name: lamp, kind: disc, radius: 20, orbit: {azimuth: 40, elevation: 10, distance: 30}, radiance: [1, 0.9, 0.8]}"
		ball    = "  - {name: ball, kind: sphere, radius: 15, orbit: {azimuth: 50, elevation: 10, distance: 45}, radiance: [3, 3, 3]}"
	)
	const eye = "objects.eye."
	plain := []string{eye + "iris.scattering=false", eye + "sclera.scattering=false"} // less noise of its own
	for row, c := range []struct {
		name, lamps string
		set         []string
	}{
		{"distant", distant, plain},
		{"near disc", near, plain},
		{"near ball", ball, plain},
		{"rough cornea", distant, append([]string{eye + "cornea.roughness=0.25"}, plain...)},
		{"smooth refraction", distant, append([]string{eye + "cornea.roughness=0.25", eye + "cornea.smooth_refraction=true"}, plain...)},
		{"two lamps, scattering tissue", distant + "\n" + ball, []string{"picture.samples=160"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			yaml := fmt.Sprintf(chanceEye, 128, c.lamps)
			type way struct {
				name string
				set  []string
			}
			var m0, se0 [3]float64
			for k, w := range []way{
				{"all on", nil},
				{"no solver", []string{"advanced.manifold=false"}},
				{"no light samples", []string{"advanced.light_samples=false", "picture.samples=512"}},
				{"no split", []string{"advanced.split=false", "picture.samples=256"}},
			} {
				set := append(append([]string{fmt.Sprintf("picture.seed=%d", 4*row+k+1)}, c.set...), w.set...)
				r := trace(t, yaml, set...)
				pic := r.Film.Develop()
				for ch := range 3 {
					m, se := mean(&pic, ch, nil)
					if k == 0 {
						m0[ch], se0[ch] = m, se
					}
					both := math.Hypot(se, se0[ch])
					if ch == 1 {
						t.Logf("%-17s %.5f +- %.5f (%+.1f standard errors, %+.2f %%), %.1f s", w.name, m, se, (m-m0[ch])/both, 100*(m/m0[ch]-1), r.Stats.Seconds)
					}
					assert.LessOrEqual(t, se, 0.01*m, w.name)
					assert.InDelta(t, m0[ch], m, 3*both, "%s, channel %d", w.name, ch)
				}
			}
		})
	}
}
