package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// furnace is a lit-from-everywhere scene: whatever a body does to light, without loss the picture stays 1 everywhere.
const furnace = `
film: {width: 32, height: 32, spp: %d, filter: box, filter_radius: 0.5}
camera: {kind: orthographic, width: %g, aim: [0, 0, 0], orbit: {azimuth: 20, elevation: 10}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
bodies: [%s]
`

func inFurnace(t *testing.T, spp int, width float64, body string, set ...string) *Result {
	return trace(t, fmt.Sprintf(furnace, spp, width, body), set...)
}

// White bodies in a white furnace can't be seen: 1.000 within 0.005, the standard error at most 0.0015.
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
// exactly 1, which no colour map does. Nothing is lost in a closed body, so it can't be seen. (The coat's law is exact for
// light that leaves the tissue evenly, so with the walk's own exit it is left out; with it the picture reads 1 % high.)
func TestWhiteScatteringEyeFurnace(t *testing.T) {
	const body = "{name: eye, shape: eye, eye: {map_size: 128, " +
		"iris: {sigma_a: 0, sigma_s: [0.9, 1, 1.1], pupil_closed: true}, sclera: {sigma_a: 0, sigma_s: [1.1, 1, 0.9], veins: 0}}}"
	front := []string{"camera.orbit.azimuth=0", "camera.orbit.elevation=0"}
	for _, c := range []struct {
		name  string
		width float64
		spp   int
		set   []string
	}{
		{"all", 26, 256, nil},
		{"plain walks", 26, 256, []string{"trace.guided=false"}},
		{"iris", 8, 300, front},
		{"exact exit", 26, 128, []string{"trace.exit=exact", "trace.effects.coat=false"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := inFurnace(t, c.spp, c.width, body, c.set...)
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

// A rough glass ball loses what would scatter between its facets more than once: the interface is single scattering,
// as in Walter et al., Microfacet Models for Refraction through Rough Surfaces, EGSR 2007. It never gains, and what it
// loses is what the lobe itself does: at roughness 0.6 the lobe met from inside along the normal keeps 0.859, from
// outside 0.983 (own computation, quadrature over visible normals).
func TestRoughGlassLosesLittle(t *testing.T) {
	for _, c := range []struct{ roughness, least float64 }{{0.1, 0.998}, {0.3, 0.95}, {0.6, 0.70}} {
		body := fmt.Sprintf("{name: ball, shape: sphere, material: {kind: dielectric, roughness: %g}}", c.roughness)
		r := inFurnace(t, 64, 18, body)
		pic := r.Film.Develop()
		m, se := mean(&pic, 1, nil)
		chance := inFurnace(t, 64, 18, body, "trace.light_samples=false", "film.seed=2").Film.Develop()
		m2, se2 := mean(&chance, 1, nil)
		t.Logf("roughness %g: %.5f +- %.5f, by chance %.5f", c.roughness, m, se, m2)
		assert.LessOrEqual(t, se, 0.002)
		assert.LessOrEqual(t, m, 1+3*se)
		assert.GreaterOrEqual(t, m, c.least)
		assert.InDelta(t, m2, m, 3*math.Hypot(se, se2))
	}
}

// The whole eye in the furnace, with white tissue that scatters plainly: the tear film over it, refraction through
// the cornea, the light caught between tissue and cornea, the solver and its weights are all in it.
func TestWhiteEyeFurnace(t *testing.T) {
	const body = "{name: eye, shape: eye, eye: {map_size: 128, iris: {colour: 1, scatter: false, pupil_closed: true}, sclera: {colour: 1, scatter: false}}}"
	for _, c := range []struct {
		name  string
		width float64
		spp   int
		set   []string
	}{
		{"all", 26, 64, nil},
		{"iris alone", 8, 64, []string{"camera.orbit.azimuth=0", "camera.orbit.elevation=0", "bodies.eye.eye.iris.relief=0"}},
		{"iris with its relief", 8, 64, []string{"camera.orbit.azimuth=0", "camera.orbit.elevation=0"}},
		{"one light sample path", 26, 64, []string{"trace.split=false"}},
		{"chance", 26, 64, []string{"trace.light_samples=false"}},
		{"no solver", 26, 64, []string{"trace.manifold=false"}},
		{"mirror index", 26, 64, []string{"bodies.eye.eye.cornea.reflect_index=1.376"}},
		{"rough cornea", 26, 64, []string{"bodies.eye.eye.cornea.roughness=0.2"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := inFurnace(t, c.spp, c.width, body, c.set...)
			pic := r.Film.Develop()
			m, se := mean(&pic, 1, nil)
			t.Logf("%.5f +- %.5f, %d leaks, %d cut, %.1f s", m, se, r.Stats.WalkLeaks, r.Stats.CutPaths, r.Stats.Seconds)
			assert.InDelta(t, 1, m, 0.005)
			assert.LessOrEqual(t, se, 0.0015)
		})
	}
}
