package prepare

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// prepared makes a scene of inline YAML ready to render.
func prepared(t *testing.T, yaml string) *Prepared {
	t.Helper()
	p, err := preparedOr(yaml)
	require.NoError(t, err)
	return p
}

// preparedOr is prepared for a scene that may be refused.
func preparedOr(yaml string) (*Prepared, error) {
	d, err := scene.Parse("check.yaml", []byte(yaml))
	if err != nil {
		return nil, err
	}
	return Scene(context.Background(), d, Options{})
}

// strayMap writes a picture of 8 x 4 texels that hold 0.5, all but two in row 2: (1.5, 0.5, 0.5) at x 3 and -0.25 at x 6.
func strayMap(t *testing.T, name string) string {
	pix := make([]float32, 8*4*3)
	for i := range pix {
		pix[i] = 0.5
	}
	pix[3*(2*8+3)] = 1.5
	for c := range 3 {
		pix[3*(2*8+6)+c] = -0.25
	}
	path := filepath.Join(t.TempDir(), name)
	if strings.HasSuffix(name, ".pfm") {
		require.NoError(t, imageio.WritePFM(path, 8, 4, 3, pix))
		return path
	}
	var planes [3][]float32
	for i, v := range pix {
		planes[i%3] = append(planes[i%3], v)
	}
	require.NoError(t, imageio.WriteEXR(path, 8, 4, []imageio.EXRChannel{{Name: "R", Pix: planes[0]}, {Name: "G", Pix: planes[1]}, {Name: "B", Pix: planes[2]}}, nil))
	return path
}

// warnings of a scene that have a word in them.
func warnings(p *Prepared, word string) (out []string) {
	for _, w := range p.Warnings {
		if strings.Contains(w, word) {
			out = append(out, w)
		}
	}
	return out
}

// Every look-up of a colour map, at any footprint, is a reflectance, and one note says what was outside and where.
func TestColourMapsStayReflectances(t *testing.T) {
	for _, name := range []string{"stray.exr", "stray.pfm"} {
		file := strayMap(t, name)
		const plate = `
picture: {width: 8, height: 8, samples: 64}
camera: {kind: orthographic, width: 4, target: [0, 0, 0], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects:
  - {name: plate, shape: rectangle, size: [8, 8, 1], material: {kind: diffuse, colour: {file: %s, space: linear%s}}}
`
		p := prepared(t, fmt.Sprintf(plate, file, ""))
		m := &p.Scene.Objects[0].Material.Colour
		for i := range 64 * 64 {
			uv := geom.UV{U: float64(i%64) / 64, V: float64(i/64) / 64}
			for _, footprint := range []float64{0, 0.1, 0.5, 2} {
				c := m.RGB(uv, footprint)
				require.True(t, min(c[0], c[1], c[2]) >= 0 && max(c[0], c[1], c[2]) <= 0.98, "%v at %v", c, uv)
			}
		}
		assert.InDelta(t, 0.5+0.48/32, m.RGB(geom.UV{U: 0, V: 0}, 100)[0]+0.5/32, 1e-6, "the smallest copy: texels are kept before they are averaged")
		said := warnings(p, "plate")
		require.Len(t, said, 1)
		assert.Contains(t, said[0], "2 of 32 texels are outside 0 to 0.98, first at u 0.4375, v 0.625 with (1.5, 0.5, 0.5)")

		// What gain and offset push out counts too: 30 texels of 0.5 become 1.1.
		p = prepared(t, fmt.Sprintf(plate, file, ", gain: 2, offset: 0.1"))
		said = warnings(p, "plate")
		require.Len(t, said, 1)
		assert.Contains(t, said[0], "32 of 32 texels are outside 0 to 0.98, first at u 0.0625, v 0.125 with (1.1, 1.1, 1.1)")
		m = &p.Scene.Objects[0].Material.Colour
		assert.InDelta(t, 0.98, m.RGB(geom.UV{U: 0.1, V: 0.1}, 0)[0], 1e-6)
	}
	// A plain value may be 1; what gain and offset make of it may not be more.
	for text, want := range map[string]float64{"1": 1, "{value: 0.8, gain: 2}": 0.98, "{value: 0.2, offset: -0.5}": 0} {
		p := prepared(t, `
picture: {width: 8, height: 8}
camera: {orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: plate, shape: disc, radius: 4, material: {kind: diffuse, colour: `+text+`}}]
`)
		c := p.Scene.Objects[0].Material.Colour.Mean()
		assert.Equal(t, want, c[0], text)
		assert.Len(t, warnings(p, "plate"), map[bool]int{true: 0, false: 1}[text == "1"], text)
	}
}

// An environment's texels count up to 1e12, as a light's radiance in a scene does, and one note says which were brighter.
func TestBrightEnvironment(t *testing.T) {
	pix := make([]float32, 8*4*3)
	for i := range pix {
		pix[i] = 1
	}
	pix[3*(8+5)+1] = 1e20
	pix[3*(2*8+5)] = 3e12
	file := filepath.Join(t.TempDir(), "sun.pfm")
	require.NoError(t, imageio.WritePFM(file, 8, 4, 3, pix))
	pic, err := imageio.Read(file)
	require.NoError(t, err)
	img, notes := clampNegative(pic)
	assert.Equal(t, 1e12, float64(int64(img.At(5, 1, 1)/1e6+0.5))*1e6)
	assert.Equal(t, 1.0, img.At(5, 1, 0))
	require.Len(t, notes, 1)
	assert.Contains(t, notes[0], "2 texels of the picture shine brighter than 1e+12, first at u 0.6875, v 0.375 with (1, 1e+20, 1)")
	p := prepared(t, `
picture: {width: 8, height: 8}
camera: {orbit: {azimuth: 0}}
lights: [{name: sky, kind: environment, file: `+file+`}]
`)
	assert.Len(t, warnings(p, "brighter than"), 1)
}
