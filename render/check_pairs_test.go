package render

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// pairBodies are the kinds of material that light may meet, each with what is seen of it and how wide that is, in mm.
var pairBodies = []struct {
	name, bodies string
	at           float64 // height of the camera's aim, mm
	width        float64
	short        bool   // part of the normal run
	ways         string // ways that are tried in the normal run
	set          []string
}{
	{"matte", "{name: it, shape: sphere, radius: 9, material: {colour: [0.5, 0.4, 0.3]}}", 0, 16, true, "chance, black lamp", nil},
	{"rough metal", "{name: it, shape: sphere, radius: 9, material: {kind: conductor, roughness: 0.5}}", 0, 16, true, "chance", nil},
	{"rough glass", "{name: it, shape: sphere, radius: 9, material: {kind: dielectric, roughness: 0.5}}", 0, 16, true, "chance", nil},
	{"matte in fog under glass", "{name: it, shape: sphere, radius: 9, material: {kind: dielectric, inside: {sigma_a: 0.1, sigma_s: 0.2}}}\n" +
		"  - {name: core, shape: sphere, radius: 7, material: {colour: 0.3}}", 0, 8, true, "no roulette", nil},
	{"matte in a cloud", "{name: it, shape: sphere, radius: 14, material: {kind: matched, inside: {sigma_a: 0.02, sigma_s: [0.03, 0.04, 0.05], g: 0.4}}}\n" +
		"  - {name: core, shape: sphere, radius: 9, material: {colour: 0.5}}", 0, 16, true, "chance, no roulette", nil},
	{"flesh, rough coat", "{name: it, shape: sphere, radius: 9, material: {kind: tissue, roughness: 0.6, colour: 0.5}}", 0, 12, true, "chance", nil},
	{"flesh, smooth coat", "{name: it, shape: sphere, radius: 9, material: {kind: tissue, roughness: 0, colour: 0.5}}", 0, 12, true, "no split, plain walks", nil},
	{"eye, plain tissue", "{name: eye, shape: eye, map_size: 64, iris: {scattering: false}, sclera: {scattering: false}}", 8, 20, true, "chance, no split", nil},
	{"iris, plain tissue", "{name: eye, shape: eye, map_size: 64, iris: {scattering: false, colour: 0.4}, sclera: {scattering: false}}", 8, 6, true, "chance, no solver", nil},
	{"iris behind haze", "{name: eye, shape: eye, map_size: 64, iris: {scattering: false, colour: 0.4}, sclera: {scattering: false}}\n" +
		"  - {name: haze, shape: sphere, radius: 1.2, transform: {translate: [0.5, 0, 11]}, material: {kind: matched, inside: {sigma_a: 0.2, sigma_s: 0.1}}}", 8, 6, false, "", nil},
	{"eye, walks", "{name: eye, shape: eye, map_size: 64}", 8, 20, true, "plain walks", nil},
	{"eye, rough film", "{name: eye, shape: eye, map_size: 64, iris: {colour: 0.03, scattering: false}, sclera: {colour: 0.03, scattering: false, roughness: 0.8}, cornea: {roughness: 0.6}}\n" +
		"  - {name: mirrored, shape: disc, radius: 30, transform: {translate: [34, 10, 48], rotate: [-10, 35, 0]}, material: {colour: 0}, visibility: {camera: false, shadow: false}}", 8, 11, true, "chance", []string{"lights.far.on=false"}},
	{"eye, exact exit", "{name: eye, shape: eye, map_size: 64}", 8, 14, true, "no solver", []string{"advanced.exit=exact"}},
	{"skin, two lobes and relief", "{name: eye, shape: eye, lids: {facet_size: 0.4, skin: {scattering: false, colour: 0.1}, lashes: {density: 0}, down: {density: 0}}, map_size: 64}", 8, 4, true, "chance",
		[]string{"camera.target=[-2, -15, 9]"}},
	{"eye in lids", "{name: eye, shape: eye, lids: {facet_size: 0.3, lashes: {density: 0.3}}, map_size: 64}", 8, 20, false, "", nil},
}

// pairScene is one of them in thin mist or not, under a near lamp in the mist and a distant one beyond it, of the given radius
// as an angle; a hidden lamp that sends nothing and faces the camera stands before all.
const pairScene = `
picture: {width: 8, height: 8, filter: box, filter_width: 1}
camera: {kind: orthographic, width: %g, target: [0, 0, %g], orbit: {azimuth: 10, elevation: 5, distance: 100}}
lights:
  - {name: near, kind: disc, radius: %g, orbit: {azimuth: 35, elevation: 10, distance: 100}, radiance: %g}
  - {name: far, kind: distant, angle: %g, orbit: {azimuth: -20, elevation: 20}, radiance: %g}
  - {name: black, kind: disc, on: false, radius: 40, position: [7, 4, 48], target: [17, 9, 100], radiance: 0, camera_visible: false}
objects:
  - %s
  - {name: mist, shape: sphere, radius: 200, on: %t, material: {kind: matched, inside: {sigma_a: [0.0005, 0.0015, 0.0025], sigma_s: %g}}}
`

// pairWays are what may be left out without changing a mean.
var pairWays = []struct {
	name string
	set  []string
}{
	{"chance", []string{"advanced.light_samples=false"}},
	{"no solver", []string{"advanced.manifold=false"}},
	{"plain walks", []string{"advanced.guided=false"}},
	{"no split", []string{"advanced.split=false"}},
	{"no roulette", nil},
	{"black lamp", []string{"lights.black.on=true"}},
}

// pairError is the largest standard error of the mean of green, as a share of it.
const pairError = 0.0033

// pairMean is the mean of a picture by channel, and its standard errors.
type pairMean struct {
	m, se [3]float64
	spp   int
}

func (a *pairMean) apart(b *pairMean) (z float64) {
	for c := range a.m {
		if d := (b.m[c] - a.m[c]) / math.Hypot(a.se[c], b.se[c]); math.Abs(d) > math.Abs(z) {
			z = d
		}
	}
	return z
}

// meanOfPair renders with as many samples as the error asks for, times more.
func meanOfPair(t *testing.T, p *Prepared, seed, more int) (out pairMean) {
	t.Helper()
	look := func(seed, spp int) {
		p.Description.Picture.Seed, p.Description.Picture.Samples = seed, spp
		pic := finish(t, p).Film.Develop()
		out.spp = spp
		for c := range out.m {
			out.m[c], out.se[c] = mean(&pic, c, nil)
		}
	}
	look(seed, 64)
	for try := 1; try < 8 && out.se[1] > pairError*out.m[1]; try++ {
		more := 1.25 * math.Pow(out.se[1]/(pairError*out.m[1]), 2)
		look(seed+1000*try, int(float64(out.spp)*max(1.3, min(more, 32)))+1)
	}
	if more > 1 {
		look(seed+500, out.spp*more)
	}
	return out
}

// pairs checks a body, in mist or not, under lamps of the given radius in degrees, by the ways that try picks.
func pairs(t *testing.T, body int, mist bool, degrees float64, try func(way string) bool, row func(format string, a ...any)) {
	b := &pairBodies[body]
	scatters := 0.001
	with := func(set []string) *Prepared {
		a := degrees * math.Pi / 180
		bright := 1 / math.Pow(math.Sin(a), 2)
		yaml := fmt.Sprintf(pairScene, b.width, b.at, 100*math.Tan(a), bright, 2*degrees, bright, b.bodies, mist, scatters)
		return prepare(t, yaml, append(append([]string{}, b.set...), set...)...)
	}
	var base *pairMean
	for k, w := range pairWays {
		if !try(w.name) {
			continue
		}
		if w.name == "black lamp" {
			scatters, base = 0, nil // what the mist scatters it may block
		}
		q := with(w.set)
		q.Scene.Settings.NoRoulette = w.name == "no roulette"
		seed := 100*body + 10*k
		if base == nil {
			first := meanOfPair(t, with(nil), seed+1, 1)
			base = &first
		}
		m := meanOfPair(t, q, seed+2, 1)
		z, again := base.apart(&m), ""
		if math.Abs(z) > 4 {
			again = fmt.Sprintf(", %+.1f at first", z)
			second := meanOfPair(t, with(nil), seed+3, 8)
			base, m = &second, meanOfPair(t, q, seed+4, 8)
			z = base.apart(&m)
		}
		row("| %s | %t | %g | %s | %.5f +- %.5f | %.5f +- %.5f | %+.1f%s | %d |", b.name, mist, degrees, w.name, base.m[1], base.se[1], m.m[1], m.se[1], z, again, m.spp)
		assert.LessOrEqual(t, max(base.se[1]/base.m[1], m.se[1]/m.m[1]), pairError, "%s, %s: standard error", b.name, w.name)
		assert.LessOrEqual(t, math.Abs(z), 4.0, "%s, %s: standard errors apart", b.name, w.name)
	}
}

// What is done to get less noise changes no mean, whatever light meets and with mist between all: samples of lights, the
// solver through the cornea, guided walks, both ways at the first hit, roulette, each against its slow twin without.
func TestPairsAgree(t *testing.T) {
	start := cpuSeconds()
	for i := range pairBodies {
		if b := &pairBodies[i]; b.short {
			t.Run(b.name, func(t *testing.T) {
				from := cpuSeconds()
				pairs(t, i, true, 60, func(way string) bool { return strings.Contains(b.ways, way) }, t.Logf)
				t.Logf("%.1f s", cpuSeconds()-from)
			})
		}
	}
	t.Logf("%.1f processor seconds", cpuSeconds()-start)
}

// The same by every kind and way, down to lamps of 5 degrees' radius, with mist and without.
func TestPairsAgreeLong(t *testing.T) {
	for _, l := range []struct {
		degrees float64
		mist    bool
	}{{50, true}, {20, true}, {5, true}, {20, false}} {
		where := map[bool]string{true: "in-mist", false: "in-air"}[l.mist]
		t.Run(fmt.Sprintf("%g-%s", l.degrees, where), func(t *testing.T) {
			row := longTable(t, fmt.Sprintf("pairs-%g-%s", l.degrees, where), "Mean of the green channel of a small picture with all on and with one thing left out; the standard error of each is at most\n"+
				"0.33 % of it. Standard errors apart are those of the channel that is furthest.\n\n"+
				"| what is seen | in mist | lamps' radius, degrees | left out | all on | without | apart, standard errors | samples a pixel |\n| --- | --- | --- | --- | --- | --- | --- | --- |")
			for i := range pairBodies {
				// Without an eye there is nothing to solve, and without an eye or flesh nowhere to walk.
				eye, flesh := strings.Contains(pairBodies[i].bodies, "shape: eye"), strings.Contains(pairBodies[i].bodies, "kind: tissue")
				pairs(t, i, l.mist, l.degrees, func(way string) bool {
					return (l.mist || way != "black lamp") && (eye || way != "no solver") && (eye || flesh || way != "plain walks")
				}, row)
			}
		})
	}
}
