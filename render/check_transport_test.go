package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A slab under constant light seen along its normal: the picture is the reflectance under a normal beam, R1, as
// reciprocity has it; seen along directions drawn by the cosine law (a plate that faces it) it is the reflectance
// under diffuse light, RU. A finite slab has the sky on both sides, so there it is R1 + T1.
const slabScene = `
picture: {width: 32, height: 32, samples: %d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 10, target: [0, 0, 0], position: [0, 0, 50]}
advanced: {max_depth: 65536}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: slab, shape: slab, thickness: %g, material: {%s, inside: {sigma_a: [%g, %g, %g], sigma_s: [%g, %g, %g], g: %g}}}]
`

// slab renders one albedo in all channels (so that the choice of channels costs nothing) and returns the mean.
func slab(t *testing.T, spp int, thickness float64, material string, a, g float64, set ...string) (m, se float64) {
	t.Helper()
	r := trace(t, fmt.Sprintf(slabScene, spp, thickness, material, 1-a, 1-a, 1-a, a, a, a, g), set...)
	pic := r.Film.Develop()
	return mean(&pic, 0, nil)
}

// Reflectances of scattering half spaces and slabs against published and exact values. The extinction is 1/mm.
func TestRadiativeTransfer(t *testing.T) {
	const deep = 1e6
	plate := []string{"camera.kind=plate", "camera.position=null", "camera.normal=[0, 0, -1]", "camera.target=[0, 0, 1]"}
	for _, c := range []struct {
		name      string
		material  string
		thickness float64
		a, g      float64
		want      float64
		diffuse   bool
		spp       int
	}{
		// van de Hulst, Multiple Light Scattering, 1980, table 35 (a 0.9, g 0.75, tau 2): R 0.09739, T 0.66096.
		{name: "B1 reflected and transmitted", material: "kind: matched", thickness: 2, a: 0.9, g: 0.75, want: 0.09739 + 0.66096, spp: 64},
		// Half spaces by the H function: Chandrasekhar, Radiative Transfer, 1950; R1 = 1 - H(1) sqrt(1-a).
		{name: "half space .5", material: "kind: matched", thickness: deep, a: 0.5, want: 0.115226, spp: 1024},
		{name: "half space .8", material: "kind: matched", thickness: deep, a: 0.8, want: 0.285255, spp: 512},
		{name: "half space .9", material: "kind: matched", thickness: deep, a: 0.9, want: 0.414947, spp: 256},
		{name: "half space .99", material: "kind: matched", thickness: deep, a: 0.99, want: 0.752721, spp: 96},
		{name: "half space .999", material: "kind: matched", thickness: deep, a: 0.999, want: 0.912845, spp: 32},
		{name: "half space .9 diffuse", material: "kind: matched", thickness: deep, a: 0.9, want: 0.478024, diffuse: true, spp: 256},
		// Giovanelli, Optica Acta 2 (1955), 153: 0.2600 with the mirrored part; 0.25992 by adding and doubling (own computation).
		{name: "glass 1.5 half space .9", material: "kind: dielectric, index: 1.5", thickness: deep, a: 0.9, want: 0.25992, spp: 512},
		// The rest by adding and doubling (own computation), checked by an independent Monte Carlo.
		{name: "cornea 1.376 half space .9", material: "kind: dielectric, index: 1.376", thickness: deep, a: 0.9, want: 0.28366, spp: 512},
		{name: "cornea 1.376 half space .9 diffuse", material: "kind: dielectric, index: 1.376", thickness: deep, a: 0.9, want: 0.33086, diffuse: true, spp: 384},
		{name: "1.336 half space .99", material: "kind: dielectric, index: 1.336", thickness: deep, a: 0.99, want: 0.65108, spp: 128},
		{name: "forward half space", material: "kind: matched", thickness: deep, a: 0.99, g: 0.8, want: 0.52191, spp: 192},
		{name: "slab tau 1 .9", material: "kind: matched", thickness: 1, a: 0.9, want: 0.26741 + 0.59163, spp: 32},
		{name: "slab tau 4 .99", material: "kind: matched", thickness: 4, a: 0.99, want: 0.64505 + 0.27548, spp: 48},
	} {
		t.Run(c.name, func(t *testing.T) {
			var set []string
			scale := 1.0
			if c.diffuse {
				set, scale = plate, 1/math.Pi
			}
			m, se := slab(t, c.spp, c.thickness, c.material, c.a, c.g, set...)
			m, se = m*scale, se*scale
			tol := max(0.005*c.want, 2e-4)
			t.Logf("%.5f +- %.5f, want %.5f (off by %.1f standard errors)", m, se, c.want, (m-c.want)/se)
			assert.LessOrEqual(t, se, tol/3, "standard error")
			assert.InDelta(t, c.want, m, tol)
		})
	}
}

// Light from behind a slab alone, which is the constant sky with a black wall at the camera's back: what comes through
// under a normal beam, T1, the unscattered part with it. Sources as above.
func TestSlabTransmittance(t *testing.T) {
	for _, c := range []struct {
		thickness, a, g, want float64
		spp                   int
	}{
		{2, 0.9, 0.75, 0.66096, 192}, {1, 0.9, 0, 0.59163, 128}, {4, 0.99, 0, 0.27548, 768}, {2, 0.5, 0, 0.18932, 320},
	} {
		wall := "objects=[{name: slab, shape: slab, thickness: %g, material: {kind: matched, inside: {sigma_a: [%g, %g, %g], sigma_s: [%g, %g, %g], g: %g}}}, " +
			"{name: wall, shape: slab, transform: {translate: [0, 0, 60]}, thickness: 1, material: {colour: 0}}]"
		b := 1 - c.a
		r := trace(t, fmt.Sprintf(slabScene, c.spp, 1.0, "kind: matched", 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0),
			fmt.Sprintf(wall, c.thickness, b, b, b, c.a, c.a, c.a, c.g))
		pic := r.Film.Develop()
		m, se := mean(&pic, 0, nil)
		t.Logf("thickness %g: %.5f +- %.5f, want %.5f", c.thickness, m, se, c.want)
		assert.LessOrEqual(t, se, 0.005*c.want/3)
		assert.InDelta(t, c.want, m, 0.005*c.want)
	}
}
