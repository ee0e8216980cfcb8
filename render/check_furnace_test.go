package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// furnace is a lit-from-everywhere scene: whatever an object does to light, without loss the picture stays 1 everywhere.
const furnace = `
picture: {width: 32, height: 32, samples: %d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: %g, target: [0, 0, 0], orbit: {azimuth: 20, elevation: 10}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [%s]
`

func inFurnace(t *testing.T, spp int, width float64, object string, set ...string) *Result {
	return trace(t, fmt.Sprintf(furnace, spp, width, object), set...)
}

// White objects in a white furnace can't be seen: 1.000 within 0.005, the standard error at most 0.0015.
func TestWhiteFurnace(t *testing.T) {
	for _, c := range []struct {
		name, material string
		spp            int
		want           float64
	}{
		{"diffuse", "kind: diffuse, colour: 1", 32, 1},
		{"mirror", "kind: conductor, mirror: true", 8, 1},
		{"rough mirror .3", "kind: conductor, mirror: true, roughness: 0.3", 64, 1},
		{"rough mirror .7", "kind: conductor, mirror: true, roughness: 0.7", 64, 1},
		{"rough mirror 1", "kind: conductor, mirror: true, roughness: 1", 64, 1},
		{"glass", "kind: dielectric", 8, 1},
		// The object takes 2 % of what the coat lets pass; the coat mirrors some 0.15.
		{"rough coat on a diffuse object", "kind: tissue, scattering: false, roughness: 0.8, index: 2, colour: 0.98", 48, 0.983},
		{"glass with a white medium", "kind: dielectric, inside: {sigma_a: [0, 0, 0], sigma_s: [0.3, 0.33, 0.36], g: 0.5}", 24, 1},
		{"white medium", "kind: matched, inside: {sigma_a: [0, 0, 0], sigma_s: [0.3, 0.33, 0.36]}", 24, 1},
		{"forward white medium", "kind: matched, inside: {sigma_a: [0, 0, 0], sigma_s: [0.3, 0.33, 0.36], g: 0.8}", 24, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := inFurnace(t, c.spp, 18, "{name: ball, shape: sphere, material: {"+c.material+"}}")
			pic := r.Film.Develop()
			for ch := range 3 {
				m, se := mean(&pic, ch, nil)
				t.Logf("channel %d: %.5f +- %.5f", ch, m, se)
				assert.InDelta(t, c.want, m, 0.005)
				assert.LessOrEqual(t, se, 0.0015)
			}
		})
	}
}

// The whole eye with everything on, random walks in white tissue too: coefficients without absorption give an albedo of
// exactly 1, which no colour map does. Nothing is lost in a closed object, so it can't be seen. (The coat's law is exact for
// light that leaves the tissue evenly, so with the walk's own exit it is left out; with it the picture reads 1 % high.)
func TestWhiteScatteringEyeFurnace(t *testing.T) {
	const object = "{name: eye, shape: eye, map_size: 128, " +
		"iris: {sigma_a: 0, sigma_s: [0.9, 1, 1.1], pupil_closed: true}, sclera: {sigma_a: 0, sigma_s: [1.1, 1, 0.9], veins: 0}}"
	front := []string{"camera.orbit.azimuth=0", "camera.orbit.elevation=0"}
	for _, c := range []struct {
		name  string
		width float64
		spp   int
		set   []string
	}{
		{"all", 26, 256, nil},
		{"plain walks", 26, 256, []string{"advanced.guided=false"}},
		{"iris", 8, 300, front},
		{"exact exit", 26, 128, []string{"advanced.exit=exact", "effects.tear_film=false"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := inFurnace(t, c.spp, c.width, object, c.set...)
			pic := r.Film.Develop()
			for ch := range 3 {
				m, se := mean(&pic, ch, nil)
				t.Logf("channel %d: %.5f +- %.5f, %d leaks, %d cut, %.1f s", ch, m, se, r.Stats.WalkLeaks, r.Stats.CutPaths, r.Stats.Seconds)
				assert.InDelta(t, 1, m, 0.005)
				assert.LessOrEqual(t, se, 0.0015)
			}
		})
	}
}

// Rough glass loses nothing, by samples of lights or by chance, alone, with another glass inside and with glass about it: what
// scatters between its facets more than once is made up for (Turquin 2019).
func TestRoughGlassFurnace(t *testing.T) {
	const nest = ", {name: core, shape: sphere, radius: 5, material: {kind: dielectric, index: 1.8, roughness: 0.5}}"
	for _, c := range []struct {
		name      string
		roughness float64
		more      string
		spp       int
	}{{"0.1", 0.1, "", 32}, {"0.3", 0.3, "", 64}, {"0.6", 0.6, "", 192}, {"0.6 about rough glass", 0.6, nest, 320}} {
		object := fmt.Sprintf("{name: ball, shape: sphere, radius: 9, material: {kind: dielectric, roughness: %g}}%s", c.roughness, c.more)
		r := inFurnace(t, c.spp, 18, object)
		pic := r.Film.Develop()
		m, se := mean(&pic, 1, nil)
		chance := inFurnace(t, c.spp, 18, object, "advanced.light_samples=false", "picture.seed=2").Film.Develop()
		m2, se2 := mean(&chance, 1, nil)
		t.Logf("roughness %s: %.5f +- %.5f, by chance %.5f +- %.5f", c.name, m, se, m2, se2)
		assert.LessOrEqual(t, se, 0.0015)
		assert.InDelta(t, 1, m, 0.005)
		assert.InDelta(t, m2, m, 3*math.Hypot(se, se2))
	}
}

// The whole eye in the furnace, with white tissue that scatters plainly: the tear film over it, refraction through
// the cornea, the light caught between tissue and cornea, the solver and its weights are all in it.
func TestWhiteEyeFurnace(t *testing.T) {
	const object = "{name: eye, shape: eye, map_size: 128, iris: {colour: 1, scattering: false, pupil_closed: true}, sclera: {colour: 1, scattering: false}}"
	for _, c := range []struct {
		name  string
		width float64
		spp   int
		set   []string
	}{
		{"all", 26, 64, nil},
		{"iris alone", 8, 64, []string{"camera.orbit.azimuth=0", "camera.orbit.elevation=0", "objects.eye.iris.relief=0"}},
		{"iris with its relief", 8, 64, []string{"camera.orbit.azimuth=0", "camera.orbit.elevation=0"}},
		{"one light sample path", 26, 64, []string{"advanced.split=false"}},
		{"chance", 26, 64, []string{"advanced.light_samples=false"}},
		{"no solver", 26, 64, []string{"advanced.manifold=false"}},
		{"mirror index", 26, 64, []string{"objects.eye.cornea.reflection_index=1.376"}},
		{"rough cornea", 26, 64, []string{"objects.eye.cornea.roughness=0.2"}},
		{"rougher cornea", 8, 128, []string{"camera.orbit.azimuth=0", "camera.orbit.elevation=0", "objects.eye.cornea.roughness=0.5"}},
		{"rough all over", 26, 96, []string{"objects.eye.cornea.roughness=0.5", "objects.eye.sclera.roughness=0.8"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := inFurnace(t, c.spp, c.width, object, c.set...)
			pic := r.Film.Develop()
			m, se := mean(&pic, 1, nil)
			t.Logf("%.5f +- %.5f, %d leaks, %d cut, %.1f s", m, se, r.Stats.WalkLeaks, r.Stats.CutPaths, r.Stats.Seconds)
			assert.InDelta(t, 1, m, 0.005)
			assert.LessOrEqual(t, se, 0.0015)
		})
	}
}
