package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// byChance compares a scene with its slow twin in which no vertex is connected to a light: the means agree within four
// standard errors, none above 2 %.
func byChance(t *testing.T, yaml string, spp, sppChance int, set ...string) {
	t.Helper()
	a := trace(t, yaml, append([]string{fmt.Sprintf("picture.samples=%d", spp)}, set...)...)
	b := trace(t, yaml, append([]string{fmt.Sprintf("picture.samples=%d", sppChance), "picture.seed=2", "advanced.light_samples=false"}, set...)...)
	pa, pb := a.Film.Develop(), b.Film.Develop()
	for ch := range 3 {
		m, se := mean(&pa, ch, nil)
		c, sc := mean(&pb, ch, nil)
		t.Logf("channel %d: %.5f +- %.5f, by chance %.5f +- %.5f (%+.1f standard errors, %+.2f %%), %.1f and %.1f s", ch, m, se, c, sc, (m-c)/math.Hypot(se, sc), 100*(m/c-1), a.Stats.Seconds, b.Stats.Seconds)
		assert.LessOrEqual(t, max(se/m, sc/c), 0.02, "standard error")
		assert.InDelta(t, c, m, 4*math.Hypot(se, sc), "channel %d", ch)
	}
}

// What lies between a surface and a light weakens the light that is connected as much as what comes by chance: mist about
// both, the border of a cloud between them, haze in the chamber, a thing in the chamber, straight and through the cornea.
func TestConnectionsThroughMedia(t *testing.T) {
	const head = `
picture: {width: 16, height: 16, filter: box, filter_width: 1}
camera: {kind: orthographic, width: %g, target: [0, 0, 8], orbit: {azimuth: 15, distance: 25}}
lights: [{name: lamp, kind: disc, radius: 350, orbit: {azimuth: 40, elevation: 10, distance: %g}, target: [0, 0, 0], radiance: [1, 0.9, 0.8]}]
objects:
  - %s
  - {name: cloud, shape: %s, material: {kind: matched, inside: {%s}}}
`
	const (
		eye    = "{name: eye, shape: eye, map_size: 64, iris: {scattering: false, pupil_closed: true}, sclera: {scattering: false}}"
		deep   = "{name: eye, shape: eye, map_size: 64}"
		card   = "{name: card, shape: disc, radius: 20, transform: {translate: [0, 0, 8]}, material: {colour: 0.5}}"
		mist   = "sigma_a: [0.002, 0.0025, 0.003], sigma_s: 0"
		fog    = "sigma_a: 0.001, sigma_s: [0.004, 0.005, 0.006], g: 0.3"
		around = "sphere, radius: 1000"
		near   = "sphere, radius: 60"
	)
	for _, c := range []struct {
		name, body, cloud, medium string
		width, lamp               float64
		spp, chance               int
		set                       []string
	}{
		{"eye and lamp in mist", eye, around, mist, 24, 400, 64, 400, nil},
		{"iris and lamp in mist", eye, around, mist, 8, 400, 64, 400, nil},
		{"rough cornea in mist", eye, around, mist, 8, 400, 200, 400, []string{"objects.eye.cornea.roughness=0.3"}},
		{"exact exit in mist", deep, around, mist, 12, 400, 128, 400, []string{"advanced.exit=exact"}},
		{"eye in a cloud, lamp outside", eye, near, "sigma_a: [0.01, 0.015, 0.02], sigma_s: 0.002", 24, 400, 64, 300, nil},
		{"disc in fog", card, around, fog, 20, 400, 256, 400, nil},
		{"disc by a sky through fog", card, near, fog, 20, 400, 128, 200, []string{"lights=[{name: sky, kind: distant, angle: 70, orbit: {azimuth: 40}, radiance: 1}]"}},
		{"haze in the chamber", eye, "sphere, radius: 1.8, transform: {translate: [0.5, 0, 9.2]}", "sigma_a: [0.3, 0.4, 0.5], sigma_s: 0", 8, 400, 64, 400, nil},
		{"a bead in the chamber", eye, "sphere, radius: 1, transform: {translate: [0.5, 0, 10.4]}", "sigma_a: 1, sigma_s: 0", 6, 400, 64, 400, []string{"objects.cloud.material={colour: 0}"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			byChance(t, fmt.Sprintf(head, c.width, c.lamp, c.body, c.cloud, c.medium), c.spp, c.chance, c.set...)
		})
	}
}

// Roulette changes no mean: grey surfaces and fog read the same where the red of all is white, as a path that carries red
// undiminished is never put to it.
func TestRouletteKeepsTheMean(t *testing.T) {
	const yaml = `
picture: {width: 12, height: 12, samples: 2048, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 8, target: [0, 0, 0], orbit: {azimuth: 0, distance: 100}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects:
  - {name: globe, shape: sphere, radius: 9, material: {kind: dielectric, inside: {sigma_a: [%g, 0.1, 0.1], sigma_s: 0.2}}}
  - {name: ball, shape: sphere, radius: 7, material: {colour: [%g, 0.3, 0.3]}}
`
	a := trace(t, fmt.Sprintf(yaml, 0.1, 0.3)).Film.Develop()
	b := trace(t, fmt.Sprintf(yaml, 0.0, 1.0), "picture.seed=2").Film.Develop()
	m, se := mean(&a, 1, nil)
	c, sc := mean(&b, 1, nil)
	t.Logf("%.5f +- %.5f, without roulette %.5f +- %.5f", m, se, c, sc)
	assert.LessOrEqual(t, max(se/m, sc/c), 0.004, "standard error")
	assert.InDelta(t, c, m, 4*math.Hypot(se, sc))
}

// A lamp that the camera doesn't see changes nothing in its view, mist about it or not: a black one, in front of a lit disc,
// beside the same scene without it.
func TestHiddenLampInMist(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 1024, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 4, target: [0, 0, 0], orbit: {azimuth: 0, distance: 200}}
lights:
  - {name: face, kind: disc, radius: 20, position: [0, 0, 1], target: [0, 0, 300], radiance: 1}
  - {name: hidden, kind: sphere, radius: 20, on: %t, orbit: {azimuth: 0, distance: 100}, radiance: 0, camera_visible: false}
objects: [{name: mist, shape: sphere, radius: 1000, material: {kind: matched, inside: {sigma_a: [0.001, 0.003, 0.005], sigma_s: 0}}}]
`
	a := trace(t, fmt.Sprintf(yaml, true)).Film.Develop()
	b := trace(t, fmt.Sprintf(yaml, false)).Film.Develop()
	for ch, sigma := range []float64{0.001, 0.003, 0.005} {
		m, se := mean(&a, ch, nil)
		c, _ := mean(&b, ch, nil)
		t.Logf("channel %d: %.5f +- %.5f, without the lamp %.5f, by Beer and Lambert %.5f", ch, m, se, c, math.Exp(-sigma*199))
		assert.InDelta(t, math.Exp(-sigma*199), m, 4*se)
		assert.InDelta(t, c, m, 1e-9)
		assert.LessOrEqual(t, se, 0.02*m)
	}
}

// What a rough film mirrors is stopped by what reflections see, and by nothing else, by light samples as by chance: a card
// before the lamp that reflections alone see leaves no highlight, one that they do not see leaves it whole.
func TestReflectionsSeeCards(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 512, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 6, target: [0, 0, 8], orbit: {azimuth: 0, distance: 100}}
advanced: {light_samples: %t}
lights: [{name: lamp, kind: disc, radius: 40, position: [0, 0, 300], radiance: 10, camera_visible: false}]
objects:
  - {name: eye, shape: eye, map_size: 64, cornea: {roughness: 0.4}, iris: {colour: 0, scattering: false}, sclera: {colour: 0, scattering: false}}
  - {name: card, shape: disc, radius: 60, on: %t, transform: {translate: [0, 0, 200]}, material: {colour: 0}, visibility: {camera: false, shadow: %t, reflection: %t}}
`
	look := func(samples, on, shadow, reflection bool) (m, se float64) {
		pic := trace(t, fmt.Sprintf(yaml, samples, on, shadow, reflection)).Film.Develop()
		return mean(&pic, 1, nil)
	}
	bare, _ := look(true, false, true, true)
	assert.Greater(t, bare, 0.004)
	for _, samples := range []bool{true, false} {
		seen, _ := look(samples, true, false, true)
		unseen, se := look(samples, true, true, false)
		t.Logf("light samples %t: highlight %.5f, behind a card that reflections alone see %.5f, behind one that they don't see %.5f +- %.5f", samples, bare, seen, unseen, se)
		assert.Zero(t, seen)
		assert.InDelta(t, bare, unseen, 4*se)
		assert.LessOrEqual(t, se, 0.05*bare)
	}
}
