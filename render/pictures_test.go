package render

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const pictures = "../testdata/images/"

// underSky prepares a scene lit by a picture alone.
func underSky(t *testing.T, file string) *Prepared {
	t.Helper()
	full, err := filepath.Abs(pictures + file)
	require.NoError(t, err)
	return prepare(t, fmt.Sprintf("camera: {orbit: {}}\nlights: [{name: sky, kind: environment, file: %s}]\n", full))
}

// What is odd about an environment reaches the user of a render, as the manifest of the broken files asks.
func TestEnvironmentWarnings(t *testing.T) {
	for file, want := range map[string]string{
		"broken/hdr_not_2to1.hdr": "64 x 20 is not a 2:1", "broken/hdr_all_black.hdr": "black", "broken/exr_negative.exr": "-2306",
	} {
		p := underSky(t, file)
		assert.Contains(t, strings.Join(p.Warnings, "\n"), want, file)
	}
	assert.Empty(t, underSky(t, "environment/apartment.hdr").Warnings)
}

// The orientation picture of the OpenEXR samples writes -Z at u = 0 and 1, +X at 1/4, +Z at 1/2, -X at 3/4 and +Y
// above: toward each axis a light shows what the file has there, and toward the right of +Z (seen from the middle,
// -X) what it has on the right.
func TestOrientation(t *testing.T) {
	p := underSky(t, "environment/orientation.exr")
	pic, err := imageio.Read(pictures + "environment/orientation.exr")
	require.NoError(t, err)
	planes := pic.RGB()
	at := func(u, v float64) colour.RGB {
		i := min(int(v*float64(pic.H)), pic.H-1)*pic.W + min(int(u*float64(pic.W)), pic.W-1)
		return colour.RGB{float64(planes[0][i]), float64(planes[1][i]), float64(planes[2][i])}
	}
	n, varied := 0, 0.0
	for _, c := range []struct {
		d geom.Vec
		u float64
	}{{geom.Vec{Z: -1}, 0}, {geom.Vec{X: 1}, .25}, {geom.Vec{Z: 1}, .5}, {geom.Vec{X: -1}, .75}} {
		right := c.d.Cross(geom.Vec{Y: 1}) // of one who looks along d with +Y up
		for i := -8; i <= 8; i++ {
			for j := -8; j <= 8; j++ {
				// At texel centres the look-up is the texel.
				du, dv := (float64(i)+.5)/float64(pic.W), (float64(j)+.5)/float64(pic.H)
				s, k := math.Sincos(2 * math.Pi * du)
				up, out := math.Sincos(math.Pi * -dv)
				d := c.d.Mul(k*out).Mad(s*out, right).Mad(up, geom.Vec{Y: 1})
				u := c.u + du
				want, got := at(u-math.Floor(u), .5+dv), p.Scene.Lights[0].RadianceDir(d)
				for ch := range want {
					assert.InDelta(t, want[ch], got[ch], 2e-3)
				}
				varied += math.Abs(want[0] - 1)
				n++
			}
		}
	}
	assert.Greater(t, varied/float64(n), .02, "the patches hold no letters")
	for _, y := range []float64{1, -1} {
		want, got := at(0, (1-y)/2*.999), p.Scene.Lights[0].RadianceDir(geom.Vec{Y: y, Z: -1e-9}.Unit())
		assert.InDelta(t, want[1], got[1], .5)
	}
}

// The .hdr and the .exr of one environment agree: mantissas of 8 bits are cut, by at most 1/128 of the largest channel.
func TestEnvironmentFormatsAgree(t *testing.T) {
	a, b := underSky(t, "environment/apartment.hdr").Scene.Lights[0], underSky(t, "environment/apartment.exr").Scene.Lights[0]
	rnd := rand.New(rand.NewPCG(4, 4))
	for range 2000 {
		d := geom.Vec{X: rnd.NormFloat64(), Y: rnd.NormFloat64(), Z: rnd.NormFloat64()}.Unit()
		p, q := a.RadianceDir(d), b.RadianceDir(d)
		for c := range p {
			assert.InDelta(t, q[c], p[c], q.Max()/100+1e-3, "%v", d)
		}
	}
}

// A set of tiles in a scene: what is missing is named, and an object shows the tiles that are there.
func TestMissingTiles(t *testing.T) {
	dir := t.TempDir()
	for n, v := range map[int]uint8{1002: 255, 1013: 128} {
		require.NoError(t, imageio.WritePNG(filepath.Join(dir, fmt.Sprintf("marsh.%d.png", n)), 1, 1, 1, []uint8{v}, nil))
	}
	p := prepare(t, fmt.Sprintf(`
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects: [{name: eye, shape: eye, map_size: 64, iris: {colour: {file: "%s/marsh.{tile}.png", space: linear}}}]
`, dir))
	assert.Contains(t, strings.Join(p.Warnings, "\n"), "tiles that have no file: 1001; they show the nearest of those that are there (1002 1013)")
	_, err := scene.Parse("x.yaml", []byte(fmt.Sprintf("camera: {orbit: {}}\nlights: [{name: a, kind: constant, radiance: 1}]\nobjects: [{name: m, shape: box, material: {colour: {file: \"%s/reed.{tile}.png\"}}}]", dir)))
	assert.ErrorContains(t, err, "no such tile")
}

// A table in place of the transform: it is read when the scene is prepared, and the picture is what it says.
func TestViewTable(t *testing.T) {
	file := filepath.Join(t.TempDir(), "half.cube")
	require.NoError(t, os.WriteFile(file, []byte("LUT_1D_SIZE 2\n0 0 0\n0.5 0.25 0\n"), 0o666))
	yaml := fmt.Sprintf(`
picture: {width: 8, height: 8, samples: 1}
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
view: {table: {file: %s, input: linear, output: linear}}
`, file)
	r := trace(t, yaml)
	require.NoError(t, os.Remove(file)) // it is not needed again
	require.NoError(t, r.shownBands(func(_ int, pix []colour.RGB, _ []float64) {
		for c, want := range []float64{.5, .25, 0} {
			assert.InDelta(t, want, pix[9][c], 1e-6)
		}
	}))
	assert.Contains(t, r.record()["display"], "half.cube, input linear, output linear")
	require.NoError(t, os.WriteFile(file, []byte("LUT_1D_SIZE 2\n0 0 0\n"), 0o666))
	d, err := scene.Parse("x.yaml", []byte(yaml))
	require.NoError(t, err)
	_, err = Prepare(context.Background(), d, Options{})
	assert.ErrorContains(t, err, "half.cube: the data end after 1 of 2")
}

// A map's space: red of each set of primaries in Rec. 709 (Rec. 2020: ITU-R BT.2407-0; P3: the matrix that CSS Color 4
// gives by way of XYZ), white as white, and the same 8-bit levels in srgb and p3 decoded alike.
func TestMapSpaces(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "x.png")
	require.NoError(t, imageio.WritePNG(file, 2, 1, 3, []uint8{255, 0, 0, 188, 188, 188}, nil))
	for space, want := range map[string][2]colour.RGB{
		"auto": {{1, 0, 0}, colour.Grey(.5029)}, "srgb": {{1, 0, 0}, colour.Grey(.5029)}, "linear": {{1, 0, 0}, colour.Grey(188. / 255)},
		"p3": {{1.2249, -.0421, -.0196}, colour.Grey(.5029)}, "linear-rec2020": {{1.6605, -.1246, -.0182}, colour.Grey(188. / 255)},
	} {
		p := prepare(t, fmt.Sprintf(`
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects: [{name: b, shape: sphere, material: {colour: {file: %s, space: %s, tiling: clamp, gain: 0.5, offset: 0.1}}}]
`, file, space)) // all within what a reflectance may be
		m := p.Scene.Objects[0].Material.Colour
		for i, u := range []float64{.25, .75} {
			got := m.RGB(geom.UV{U: u, V: .5}, 0)
			for c := range got {
				assert.InDelta(t, 0.5*want[i][c]+0.1, got[c], 2e-4, "%s, texel %d, channel %d", space, i, c)
			}
		}
	}
}
