package render

import (
	"catchlight/material/tissue/chandrasekhar"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// With the exact exit collisions below the surface are connected to lights, through coat and cornea. That changes no mean: each
// way against its twin that leaves light to chance, within three standard errors of at most 1 %.
func TestExactExitByChance(t *testing.T) {
	const lamps = "  - {name: lamp, kind: distant, angle: 70, orbit: {azimuth: 30, elevation: 20}, radiance: [1, 0.9, 0.8]}\n" +
		"  - {name: ball, kind: sphere, radius: 15, orbit: {azimuth: 50, elevation: 10, distance: 45}, radiance: [3, 3, 3]}"
	yaml := fmt.Sprintf(chanceEye, 80, lamps)
	var m0, se0 [3]float64
	for k, way := range [][]string{
		{"picture.seed=1"}, {"picture.seed=2", "advanced.light_samples=false", "picture.samples=256"}, {"picture.seed=3", "advanced.manifold=false"}, {"picture.seed=4", "advanced.guided=false"},
	} {
		r := trace(t, yaml, append(way, "advanced.exit=exact", "objects.eye.iris.pupil=2")...)
		pic := r.Film.Develop()
		for ch := range 3 {
			m, se := mean(&pic, ch, nil)
			if k == 0 {
				m0[ch], se0[ch] = m, se
			}
			both := math.Hypot(se, se0[ch])
			if ch == 1 {
				t.Logf("%v: %.5f +- %.5f (%+.1f standard errors), %.1f s", way, m, se, (m-m0[ch])/both, r.Stats.Seconds)
			}
			assert.LessOrEqual(t, se, 0.01*m, way)
			assert.InDelta(t, m0[ch], m, 3*both, "%v, channel %d", way, ch)
		}
	}
}

// A spot of the sclera under a sun of half a degree, with the exact exit: Chandrasekhar's a/(4 pi (mu + mu0)) H(mu) H(mu0),
// lit and seen along the normal and aslant.
func TestExactExitUnderSun(t *testing.T) {
	const scene = `
picture: {width: 24, height: 24, samples: 128, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 0.05, target: [%g, 0, 0], orbit: {azimuth: %g}}
lights: [{name: sun, kind: distant, angle: 0.5, orbit: {azimuth: %g}, irradiance: [1, 1, 1]}]
advanced: {exit: exact}
effects: {tear_film: false, refraction: false}
objects: [{name: eye, shape: eye, map_size: 64, sclera: {wobble: 0, sigma_a: 5, sigma_s: 45, veins: 0}, cornea: {wobble: 0}}]
`
	const a = 0.9
	at := 11.5
	p := prepare(t, fmt.Sprintf(scene, at, 90., 90.))
	at = p.Scene.Objects[p.Scene.Eyes[0].Inner].Mesh.Bounds().Hi.X
	for _, c := range []struct{ view, light float64 }{{0, 0}, {0, 60}, {60, 0}, {70, -70}} {
		mu, mu0 := math.Cos(c.view*math.Pi/180), math.Cos(c.light*math.Pi/180)
		want := a / (4 * math.Pi * (mu + mu0)) * chandrasekhar.H(mu, a) * chandrasekhar.H(mu0, a) * mu0
		r := trace(t, fmt.Sprintf(scene, at, 90+c.view, 90+c.light))
		pic := r.Film.Develop()
		m, se := mean(&pic, 1, nil)
		t.Logf("view %g, light %g degrees: %.5f +- %.5f, exact %.5f (%+.2f %%), %.1f s", c.view, c.light, m, se, want, 100*(m/want-1), r.Stats.Seconds)
		assert.LessOrEqual(t, se, 0.004*want)
		assert.InEpsilon(t, want, m, 0.01)
	}
}
