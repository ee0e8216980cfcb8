package render

import (
	"catchlight/material/tissue/chandrasekhar"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// beam says what a row of the transfer table measures: light of a normal beam or of an even sky, that an object gives back
// or lets through. Unscattered light that passes counts as let through, light mirrored at the face as given back.
type beam uint8

const (
	r1 beam = iota
	t1
	ru
	tu
)

func (b beam) String() string { return [...]string{"R1", "T1", "RU", "TU"}[b] }

// transfer is one row: a flat object of extinction 1/mm whose answer is known.
type transfer struct {
	source    string
	thickness float64 // mm; 0 is a half space
	index     float64
	a, g      float64
	beam      beam
	want      float64
}

// transfers is the table. Half spaces without a step of the index are exact (Chandrasekhar, Radiative Transfer, 1950: R1 = 1
// - H(1) sqrt(1-a), RU = 1 - 2 alpha1 sqrt(1-a)), and so is the conservative slab under a sky (Heaslet and Warming, Int. J.
// Heat Mass Transfer 8 (1965), 979: the flux in radiative equilibrium). The rest is own adding and doubling with 48 to 160
// streams, held against an independent Monte Carlo and against van de Hulst, Multiple Light Scattering, 1980, table 35 (slab,
// a 0.9, g 0.75, tau 2: R 0.09739, T 0.66096), and Giovanelli, Optica Acta 2 (1955), 153 (index 1.5, a 0.9: 0.2600).
func transfers() (out []transfer) {
	for _, v := range [][3]float64{
		{0.3, 0.057214, 0.074451}, {0.5, 0.115226, 0.146544}, {0.7, 0.208680, 0.256557}, {0.8, 0.285255, 0.341867}, {0.9, 0.414947, 0.478024},
		{0.95, 0.535541, 0.596669}, {0.99, 0.752721, 0.794564}, {0.995, 0.817047, 0.849849}, {0.999, 0.912845, 0.929713},
	} {
		out = append(out, transfer{"H function", 0, 1, v[0], 0, r1, v[1]}, transfer{"H function", 0, 1, v[0], 0, ru, v[2]})
	}
	for _, v := range [][7]float64{ // with what the face mirrors
		{0.5, 0.07918, 0.07956, 0.08425, 0.12713, 0.12882, 0.13612}, {0.8, 0.18933, 0.18373, 0.17198, 0.23795, 0.23298, 0.22258},
		{0.9, 0.29326, 0.28366, 0.25992, 0.34017, 0.33086, 0.30789}, {0.95, 0.40612, 0.39386, 0.36112, 0.44919, 0.43705, 0.40485},
		{0.99, 0.65108, 0.63869, 0.60198, 0.68035, 0.66805, 0.63196}, {0.999, 0.86814, 0.86177, 0.84146, 0.88033, 0.87405, 0.85424},
	} {
		for k, n := range []float64{1.336, 1.376, 1.5} {
			out = append(out, transfer{"adding and doubling", 0, n, v[0], 0, r1, v[1+k]}, transfer{"adding and doubling", 0, n, v[0], 0, ru, v[4+k]})
		}
	}
	taus := []float64{0.5, 1, 2, 4, 8}
	for _, v := range []struct {
		a float64
		q [5][4]float64
	}{
		{0.5, [5][4]float64{{0.07295, 0.67423, 0.10768, 0.53499}, {0.09912, 0.44606, 0.13417, 0.30671}, {0.11283, 0.18932, 0.14509, 0.10706}, {0.11517, 0.03199, 0.14652, 0.01423}, {0.11523, 0.00082, 0.14654, 0.00028}}},
		{0.9, [5][4]float64{{0.16904, 0.76538, 0.24749, 0.65992}, {0.26741, 0.59163, 0.35271, 0.47475}, {0.36165, 0.35650, 0.43715, 0.26558}, {0.40814, 0.12852, 0.47319, 0.09056}, {0.41484, 0.01602, 0.47795, 0.01103}}},
		{0.99, [5][4]float64{{0.19892, 0.79405, 0.29066, 0.69942}, {0.33292, 0.65098, 0.43596, 0.54435}, {0.49749, 0.46570, 0.58800, 0.37335}, {0.64505, 0.27548, 0.70973, 0.21663}, {0.72875, 0.12207, 0.77577, 0.09568}}},
	} {
		for i, tau := range taus {
			for k, w := range v.q[i] {
				out = append(out, transfer{"adding and doubling", tau, 1, v.a, 0, beam(k), w})
			}
		}
	}
	for _, v := range [][2]float64{{0.1, 0.915703}, {0.2, 0.849179}, {0.5, 0.704169}, {1, 0.553406}, {2, 0.390060}, {5, 0.207657}, {10, 0.116745}} {
		out = append(out, transfer{"radiative equilibrium", v[0], 1, 1, 0, tu, v[1]}, transfer{"radiative equilibrium", v[0], 1, 1, 0, ru, 1 - v[1]})
	}
	for _, v := range [][4]float64{
		{0.5, 0.9, 0.27778, 0.36015}, {0.8, 0.99, 0.52191, 0.60265}, {0.9, 0.5, 0.00646, 0.01825}, {0.9, 0.9, 0.06857, 0.13258},
		{0.9, 0.99, 0.39954, 0.49342}, {0.9, 0.999, 0.74595, 0.79543},
	} {
		out = append(out, transfer{"adding and doubling", 0, 1, v[1], v[0], r1, v[2]}, transfer{"adding and doubling", 0, 1, v[1], v[0], ru, v[3]})
	}
	for k, w := range []float64{0.097395, 0.660958, 0.191090, 0.501816} {
		out = append(out, transfer{"van de Hulst", 2, 1, 0.9, 0.75, beam(k), w})
	}
	for k, w := range []float64{0.004957, 0.590719, 0.016494, 0.422599} {
		out = append(out, transfer{"adding and doubling", 1, 1, 0.5, 0.9, beam(k), w})
	}
	return
}

func (c *transfer) String() string {
	object := "half space"
	if c.thickness > 0 {
		object = fmt.Sprintf("slab %g", c.thickness)
	}
	return fmt.Sprintf("%s, index %g, a %g, g %g, %s", object, c.index, c.a, c.g, c.beam)
}

// measure renders the row with spp samples in each of 1024 pixels.
func (c *transfer) measure(t *testing.T, spp, seed int) (m, se float64) {
	t.Helper()
	material, thick := "kind: matched", c.thickness
	if c.index != 1 {
		material = fmt.Sprintf("kind: dielectric, index: %g", c.index)
	}
	if thick == 0 {
		thick = 1e6
	}
	// A black wall hides the sky on one side of the object.
	wall := -thick - 1000
	if c.beam == t1 || c.beam == tu {
		wall = 1000
	}
	set := []string{fmt.Sprintf("picture.seed=%d", seed), fmt.Sprintf("objects=[{name: slab, shape: slab, thickness: %g, material: {%s, inside: {sigma_a: [%g, %[3]g, %[3]g], sigma_s: [%g, %[4]g, %[4]g], g: %g}}}, "+
		"{name: wall, shape: slab, transform: {translate: [0, 0, %g]}, thickness: 1, material: {colour: 0}}]", thick, material, 1-c.a, c.a, c.g, wall)}
	if c.beam == ru || c.beam == tu {
		set = append(set, "camera.kind=plate", "camera.position=null", "camera.normal=[0, 0, -1]", "camera.target=[0, 0, 1]")
	}
	pic := trace(t, fmt.Sprintf(slabScene, spp, 1.0, "kind: matched", 1., 1., 1., 1., 1., 1., 0.), set...).Film.Develop()
	m, se = mean(&pic, 0, nil)
	if c.beam == ru || c.beam == tu {
		m, se = m/math.Pi, se/math.Pi
	}
	return
}

// The whole table, each row within the larger of 0.5 % and 0.0002, with a standard error of at most a third of that.
func TestTransferLong(t *testing.T) {
	row := longTable(t, "transfer", "Reflectance and transmittance of flat objects with the extinction 1/mm, normal beam (1) or even sky (U).\n\n"+
		"| object | known by | known | measured | off, share of what is allowed |\n| --- | --- | --- | --- | --- |")
	for i, c := range transfers() {
		tol := max(0.005*c.want, 2e-4)
		_, se := c.measure(t, 16, 2*i+2)
		q := se / (0.3 * tol)
		spp := min(1<<15, max(16, int(16*q*q*1.2)))
		m, se := c.measure(t, spp, 2*i+1)
		row("| %s | %s | %.6g | %.6f +- %.6f | %+.2f |", c.String(), c.source, c.want, m, se, (m-c.want)/tol)
		assert.LessOrEqual(t, se, tol/3, c.String())
		assert.InDelta(t, c.want, m, tol, c.String())
	}
}

// The tissue of an eye with its exact exit, in a spot seen along the normal under an even sky, gives back R1 of the H function,
// as reciprocity has it: its mean free path is 1/600 of the radius of the globe. With the exit by the cosine law it gives
// back RU, the colour that its maps mean. (A ball takes in less than a flat object by a share of about the diffusion length over
// its radius: 0.2 % of what it gives back at albedo 0.99.)
func TestTissueGivesBack(t *testing.T) {
	const scene = `
picture: {width: 32, height: 32, samples: %d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 0.4, target: [11, 0, 0], orbit: {azimuth: 90}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
advanced: {exit: %s, guided: %t}
effects: {tear_film: false, refraction: false}
objects: [{name: eye, shape: eye, map_size: 64, sclera: {wobble: 0, sigma_a: %g, sigma_s: %g, veins: 0}, cornea: {wobble: 0}}]
`
	for _, c := range []struct {
		guided      bool
		spp         int
		a, want     float64
		exit, about string
	}{
		{true, 96, 0.9, 0.414947, "exact", "R1"}, {false, 256, 0.9, 0.414947, "exact", "R1"},
		{true, 96, 0.9, 0.478024, "lambert", "RU"}, {true, 96, 0.95, 0.535541, "exact", "R1"},
	} {
		pic := trace(t, fmt.Sprintf(scene, c.spp, c.exit, c.guided, 50*(1-c.a), 50*c.a)).Film.Develop()
		m, se := mean(&pic, 1, nil)
		t.Logf("albedo %g, exit %s, guided %t: %.5f +- %.5f, %s %.5f", c.a, c.exit, c.guided, m, se, c.about, c.want)
		assert.LessOrEqual(t, se, 0.005*c.want/3)
		assert.InEpsilon(t, c.want, m, 0.005)
	}
}

// hScene is a half space of extinction 1/mm under a round lamp about its normal, seen from aside.
const hScene = `
picture: {width: 32, height: 32, samples: %d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 1, target: [0, 0, 0], orbit: {azimuth: %g, distance: 50}}
advanced: {max_depth: 65536}
lights: [{name: lamp, kind: distant, angle: %g, orbit: {azimuth: 0}, radiance: [1, 1, 1], camera_visible: false}]
objects: [{name: slab, shape: slab, thickness: 1e6, material: {kind: matched, inside: {sigma_a: [%g, %[4]g, %[4]g], sigma_s: [%g, %[5]g, %[5]g]}}}]
`

// The angular profile of light from a half space is Chandrasekhar's: f = a/(4 pi (mu + mu0)) H(mu) H(mu0). Here mu0 is
// integrated over a lamp of 40 or 75 degrees radius about the normal, and mu goes from the normal to grazing.
func TestAngularProfile(t *testing.T) {
	for _, c := range []struct{ a, mu, lamp float64 }{{0.9, 0.1, 75}} {
		profile(t, c.a, c.mu, c.lamp, func(format string, a ...any) { t.Logf(format, a...) })
	}
}

// The same at five angles for four albedos.
func TestAngularProfileLong(t *testing.T) {
	row := longTable(t, "profile", "Radiance of a half space under a round lamp about the normal, against the H function.\n\n"+
		"| albedo | cosine of view | radius of the lamp, degrees | exact | measured | off, % |\n| --- | --- | --- | --- | --- | --- |")
	for _, a := range []float64{0.5, 0.9, 0.99, 0.999} {
		for _, mu := range []float64{0.1, 0.25, 0.5, 0.75, 1} {
			for _, lamp := range []float64{40, 75} {
				profile(t, a, mu, lamp, row)
			}
		}
	}
}

func profile(t *testing.T, a, mu, lamp float64, row func(format string, a ...any)) {
	t.Helper()
	// The midpoint rule in the cosine; the integrand is smooth.
	const n = 200
	want, least := 0.0, math.Cos(lamp*math.Pi/180)
	for i := range n {
		mu0 := least + (1-least)*(float64(i)+0.5)/n
		want += a / (4 * math.Pi * (mu + mu0)) * chandrasekhar.H(mu, a) * chandrasekhar.H(mu0, a) * mu0 * 2 * math.Pi * (1 - least) / n
	}
	measure := func(spp, seed int) (float64, float64) {
		pic := trace(t, fmt.Sprintf(hScene, spp, math.Acos(mu)*180/math.Pi, 2*lamp, 1-a, a), fmt.Sprintf("picture.seed=%d", seed)).Film.Develop()
		return mean(&pic, 0, nil)
	}
	_, se := measure(16, 2)
	q := se / (0.3 * 0.005 * want)
	m, se := measure(min(1<<14, max(16, int(16*q*q*1.2))), 1)
	row("| %g | %g | %g | %.5f | %.5f +- %.5f | %+.2f |", a, mu, lamp, want, m, se, 100*(m/want-1))
	assert.LessOrEqual(t, se, 0.005*want/3)
	assert.InEpsilon(t, want, m, 0.005)
}

// Where light leaves a half space, in mean free paths from where it came in: radii that hold half and nine tenths of what
// comes out, for light that comes in by the cosine law and along the normal (own Monte Carlo, another program, 0.6 to 6
// million walks). A black disc just above the surface, which light on its way in does not meet, takes away what leaves nearer.
var exits = []struct{ a, r50, r90, beam50 float64 }{
	{0.5, 0.486, 1.839, 0.413}, {0.8, 0.694, 2.540, 0.640}, {0.9, 0.861, 3.155, 0.837}, {0.95, 1.029, 3.838, 1.039},
	{0.98, 1.234, 4.843, 1.309}, {0.99, 1.377, 5.687, 1.494}, {0.995, 1.493, 6.56, 1.658}, {0.999, 1.698, 8.66, 1.952},
}

func TestExitRadii(t *testing.T) {
	log := func(format string, a ...any) { t.Logf(format, a...) }
	exitRadius(t, 0.9, 0.5, exits[2].r50, false, 96, log)
	exitRadius(t, 0.95, 0.5, exits[3].beam50, true, 64, log)
}

func TestExitRadiiLong(t *testing.T) {
	row := longTable(t, "exits", "Radii, in mean free paths, that hold a share of the light that leaves a half space.\n\n"+
		"| albedo | light comes in | share | known | measured | off, % |\n| --- | --- | --- | --- | --- | --- |")
	for _, c := range exits {
		exitRadius(t, c.a, 0.5, c.r50, false, int(100/c.a/c.a), row)
		exitRadius(t, c.a, 0.9, c.r90, false, 128, row)
		exitRadius(t, c.a, 0.5, c.beam50, true, int(100/c.a/c.a), row)
	}
}

func exitRadius(t *testing.T, a, share, known float64, beam bool, spp int, row func(format string, a ...any)) {
	t.Helper()
	beyond := func(r float64, spp, seed int) (m, se float64) {
		disc := ""
		if r > 0 {
			disc = fmt.Sprintf(", {name: stop, shape: disc, radius: %g, transform: {translate: [0, 0, 1e-4]}, material: {colour: 0}, visibility: {camera: false}}", r)
		}
		set := []string{fmt.Sprintf("picture.seed=%d", seed), "camera.width=1e-6", fmt.Sprintf("objects=[{name: slab, shape: slab, thickness: 1e6, material: {kind: matched, inside: {sigma_a: [%g, %[1]g, %[1]g], sigma_s: [%g, %[2]g, %[2]g]}}}%s]", 1-a, a, disc)}
		if !beam {
			// Below the disc and above the surface.
			set = append(set, "camera.kind=plate", "camera.position=null", "camera.normal=[0, 0, -1]", "camera.target=[0, 0, 5e-5]")
		}
		pic := trace(t, fmt.Sprintf(slabScene, spp, 1.0, "kind: matched", 1., 1., 1., 1., 1., 1., 0.), set...).Film.Develop()
		return mean(&pic, 0, nil)
	}
	// The radius is found between two that bracket it, by the logarithm.
	const step = 0.04
	all, _ := beyond(0, spp, 3)
	lo, seLo := beyond(known*(1-step), spp, 1)
	hi, seHi := beyond(known*(1+step), spp, 2)
	slope := (hi - lo) / math.Log((1+step)/(1-step))
	r := known * math.Exp(((1-share)*all-(lo+hi)/2)/slope) * math.Sqrt((1-step)*(1+step))
	se := math.Hypot(seLo, seHi) / 2 / math.Abs(slope)
	kind := "by the cosine law"
	if beam {
		kind = "along the normal"
	}
	row("| %g | %s | %g | %.3f | %.3f +- %.3f | %+.1f |", a, kind, share, known, r, r*se, 100*(r/known-1))
	assert.LessOrEqual(t, se, 0.02/3)
	assert.InEpsilon(t, known, r, 0.02)
}
