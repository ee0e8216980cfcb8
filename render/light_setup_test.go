package render

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene"
)

// card is a plate of 18 % grey at the eye's place, seen squarely from where it faces.
const card = `
picture: {width: 12, height: 12, samples: 256}
camera: {kind: orthographic, width: 2, target: [0, 0, 8], orbit: {azimuth: %g, elevation: %g, distance: 20}}
lights: [{name: none, kind: constant, radiance: 0}]
objects: [{name: card, shape: rectangle, size: [4, 4, 1], transform: {translate: [0, 0, 8], rotate: [%g, %g, 0]}, material: {colour: 0.18}}]
`

func lightSetups(t *testing.T) []string {
	files, err := filepath.Glob("../scene/builtin/light_setups/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 6)
	return files
}

// lit is the card under a light set-up, facing its key wherever the light set-up is turned to.
func lit(t *testing.T, file string, turn float64) *scene.Description {
	d, err := scene.Parse("card.yaml", []byte(fmt.Sprintf(card, 0.0, 0.0, 0.0, 0.0)))
	require.NoError(t, err)
	r, err := d.WithLightSetup(file)
	require.NoError(t, err)
	az, el := r.LightSetup.KeyDirection.Azimuth+turn, r.LightSetup.KeyDirection.Elevation
	sin, cos := math.Sincos(turn * math.Pi / 180)
	at := fmt.Sprintf("[%g, 0, %g]", 8*sin, 8*cos) // turned along with the light set-up
	r, err = r.With("camera.target="+at, "objects.card.transform.translate="+at, fmt.Sprintf("light_setup.rotation=%g", turn), fmt.Sprintf("camera.orbit={azimuth: %g, elevation: %g, distance: 20}", az, el),
		fmt.Sprintf("objects.card.transform.rotate=[%g, %g, 0]", -el, az))
	require.NoError(t, err)
	return r
}

func cardReads(t *testing.T, d *scene.Description) (l, se float64) {
	p, err := Prepare(context.Background(), d, Options{Cache: built})
	require.NoError(t, err)
	pic := finish(t, p).Film.Develop()
	for i, m := range pic.Mean {
		l += m.Luminance() / float64(len(pic.Mean))
		se += pic.Error[i].Luminance() * pic.Error[i].Luminance()
	}
	return l, math.Sqrt(se) / float64(len(pic.Mean))
}

// facing is what the card reads under each light set-up as shipped, and its standard error: two tests want it.
var facing = map[string][2]float64{}

func facingReads(t *testing.T, file string) (l, se float64) {
	if _, known := facing[file]; !known {
		l, se := cardReads(t, lit(t, file, 0))
		facing[file] = [2]float64{l, se}
	}
	return facing[file][0], facing[file][1]
}

// Every shipped light set-up is balanced: the grey card reads 0.18 within 2 %. By definition of reflectance: radiance is 0.18 times
// irradiance over pi, so each light set-up brings an irradiance of pi to a plate that faces its key.
func TestLightSetupsReadGrey(t *testing.T) {
	for _, f := range lightSetups(t) {
		d := lit(t, f, 0)
		l, se := facingReads(t, f)
		require.Less(t, se, 0.0006, f)
		require.InDelta(t, 0.18, l, 0.0036, "%s: light_setup.ev should be %.4f", f, d.LightSetup.EV+math.Log2(0.18/l))
		require.NotEmpty(t, d.LightSetup.Shows, f)
		require.NotEmpty(t, d.LightSetup.About, f)
	}
}

// Turning a light set-up is turning the world about +Y: a card turned along reads the same, one stop up reads twice as much.
func TestLightSetupTurns(t *testing.T) {
	for _, f := range lightSetups(t) {
		a, ea := facingReads(t, f)
		b, eb := cardReads(t, lit(t, f, 130))
		require.InDelta(t, a, b, 4*math.Hypot(ea, eb)+1e-4, f)
	}
	d, err := lit(t, "../scene/builtin/light_setups/studio.yaml", 0).With("light_setup.ev=3")
	require.NoError(t, err)
	up, err := d.With("light_setup.ev=4")
	require.NoError(t, err)
	a, ea := cardReads(t, d)
	b, _ := cardReads(t, up)
	require.InDelta(t, 2*a, b, 8*ea)
}

// A light set-up file holds nothing but a light set-up; what is wrong in it is named by its own file and line.
func TestLightSetupMistakes(t *testing.T) {
	d, err := scene.Parse("card.yaml", []byte(fmt.Sprintf(card, 0.0, 0.0, 0.0, 0.0)))
	require.NoError(t, err)
	dir := t.TempDir()
	for text, want := range map[string]string{
		"light_setup: {rotation: 5}": "lights: missing",
		"lights: [{name: a, kind: constant, radiance: 1}]\npicture: {samples: 3}":  "light set-up.yaml:2:1: picture: a light set-up holds light_setup and lights alone",
		"light_setup: {turm: 5}\nlights: [{name: a, kind: constant, radiance: 1}]": "light set-up.yaml:1:15: light_setup.turm: unknown key; did you mean rotation?",
		"lights: [{name: sky, kind: environment, file: none.hdr}]":                 "none.hdr: no such file",
	} {
		file := filepath.Join(dir, "light set-up.yaml")
		writeFile(t, file, text)
		_, err := d.WithLightSetup(file)
		require.ErrorContains(t, err, want)
		require.False(t, strings.Contains(err.Error(), "card.yaml"))
	}
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
}

// A window of a given power sends it out through its panes: far away on its axis the irradiance is that of an intensity
// P/pi (Lambert), whatever the bars take. With bars of 60 mm 56 % is open: 16,384 samples leave 0.7 % at most.
func TestPowerOfAWindow(t *testing.T) {
	const yaml = `
picture: {width: 1, height: 1, samples: 16384, filter: box, filter_width: 1}
camera: {kind: plate, normal: [0, 0, 1], width: 1, target: [0, 0, 0]}
lights: [{name: window, kind: rectangle, position: [0, 0, 50000], width: 300, height: 400, panes: [2, 3], bar: %g, power: 100}]
`
	for _, bar := range []float64{0, 20, 60} {
		pic := trace(t, fmt.Sprintf(yaml, bar)).Film.Develop()
		assert.InEpsilon(t, 100/math.Pi/(50*50), pic.Mean[0][1], 0.02, "bars of %g mm", bar)
	}
}

// A balanced light set-up brings the card to 0.18 whatever its lights' own level; a picture of surroundings stands for one.
func TestBalance(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"key.yaml":       "light_setup: {balance: key, key_direction: {azimuth: 30, elevation: 20}}\nlights:\n  - {name: key, kind: rectangle, orbit: {azimuth: 30, elevation: 20, distance: 900}, radiance: [700, 500, 300]}\n  - {name: sky, kind: constant, radiance: 0.01}\n",
		"brightest.yaml": "light_setup: {balance: brightest, ev: 1}\nlights:\n  - {name: sun, kind: distant, angle: 4, orbit: {azimuth: -50, elevation: 35}, irradiance: 0.001}\n",
	} {
		writeFile(t, filepath.Join(dir, name), text)
	}
	for file, want := range map[string]struct{ level, azimuth, elevation float64 }{
		filepath.Join(dir, "key.yaml"):                 {0.18, 30, 20},
		filepath.Join(dir, "brightest.yaml"):           {0.36, -50, 35},
		"../testdata/images/environment/apartment.hdr": {0.18, 0, 0},
	} {
		d, err := scene.Parse("card.yaml", []byte(fmt.Sprintf(card, want.azimuth, want.elevation, -want.elevation, want.azimuth)))
		require.NoError(t, err)
		d, err = d.WithLightSetup(file)
		require.NoError(t, err)
		if filepath.Ext(file) == ".hdr" {
			// Where its light comes from is not known here: a ball shows it. On it the brightest point is as bright as the card.
			d, err = d.With("objects=[{name: ball, shape: sphere, radius: 3, transform: {translate: [0, 0, 8]}, material: {colour: 0.18}}]", "camera.width=7", "camera.orbit.azimuth=-25", "picture.width=16", "picture.height=16")
			require.NoError(t, err)
			p, err := Prepare(context.Background(), d, Options{})
			require.NoError(t, err)
			most := 0.0
			for az := 0.0; az < 360; az += 90 {
				v, err := d.With(fmt.Sprintf("camera.orbit.azimuth=%g", az))
				require.NoError(t, err)
				q, err := Prepare(context.Background(), v, Options{})
				require.NoError(t, err)
				pic := finish(t, q).Film.Develop()
				for i, m := range pic.Mean {
					if i%16 > 4 && i%16 < 12 && i/16 > 4 && i/16 < 12 {
						most = max(most, m.Luminance())
					}
				}
			}
			require.InDelta(t, 0.18, most, 0.03)
			require.Contains(t, strings.Join(p.Warnings, "\n"), "brought to the grey card")
			continue
		}
		l, se := cardReads(t, d)
		require.InDelta(t, want.level, l, 0.01*want.level+4*se, file)
	}
}
