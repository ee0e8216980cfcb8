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
film: {width: 12, height: 12, spp: 256}
camera: {kind: orthographic, width: 2, aim: [0, 0, 8], orbit: {azimuth: %g, elevation: %g, distance: 20}}
lights: [{name: none, kind: constant, radiance: 0}]
bodies: [{name: card, shape: rectangle, size: [4, 4, 1], place: {at: [0, 0, 8], rotate: [%g, %g, 0]}, material: {colour: 0.18}}]
`

func rigs(t *testing.T) []string {
	files, err := filepath.Glob("../scenes/rigs/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 6)
	return files
}

// lit is the card under a rig, facing its key wherever the rig is turned to.
func lit(t *testing.T, file string, turn float64) *scene.Description {
	d, err := scene.Parse("card.yaml", []byte(fmt.Sprintf(card, 0.0, 0.0, 0.0, 0.0)))
	require.NoError(t, err)
	r, err := d.WithRig(file)
	require.NoError(t, err)
	az, el := r.Rig.Key.Azimuth+turn, r.Rig.Key.Elevation
	sin, cos := math.Sincos(turn * math.Pi / 180)
	at := fmt.Sprintf("[%g, 0, %g]", 8*sin, 8*cos) // turned along with the rig
	r, err = r.With("camera.aim="+at, "bodies.card.place.at="+at, fmt.Sprintf("rig.turn=%g", turn), fmt.Sprintf("camera.orbit={azimuth: %g, elevation: %g, distance: 20}", az, el),
		fmt.Sprintf("bodies.card.place.rotate=[%g, %g, 0]", -el, az))
	require.NoError(t, err)
	return r
}

func cardReads(t *testing.T, d *scene.Description) (l, se float64) {
	p, err := Prepare(context.Background(), d, Options{})
	require.NoError(t, err)
	pic := finish(t, p).Film.Develop()
	for i, m := range pic.Mean {
		l += m.Luminance() / float64(len(pic.Mean))
		se += pic.Error[i].Luminance() * pic.Error[i].Luminance()
	}
	return l, math.Sqrt(se) / float64(len(pic.Mean))
}

// Every shipped rig is balanced: the grey card reads 0.18 within 2 %. By definition of reflectance: radiance is 0.18 times
// irradiance over pi, so each rig brings an irradiance of pi to a plate that faces its key.
func TestRigsReadGrey(t *testing.T) {
	for _, f := range rigs(t) {
		d := lit(t, f, 0)
		l, se := cardReads(t, d)
		require.Less(t, se, 0.0006, f)
		require.InDelta(t, 0.18, l, 0.0036, "%s: rig.ev should be %.4f", f, d.Rig.EV+math.Log2(0.18/l))
		require.NotEmpty(t, d.Rig.Reveals, f)
		require.NotEmpty(t, d.Rig.About, f)
	}
}

// Turning a rig is turning the world about +Y: a card turned along reads the same, one stop up reads twice as much.
func TestRigTurns(t *testing.T) {
	for _, f := range rigs(t) {
		a, ea := cardReads(t, lit(t, f, 0))
		b, eb := cardReads(t, lit(t, f, 130))
		require.InDelta(t, a, b, 4*math.Hypot(ea, eb)+1e-4, f)
	}
	d, err := lit(t, "../scenes/rigs/studio.yaml", 0).With("rig.ev=3")
	require.NoError(t, err)
	up, err := d.With("rig.ev=4")
	require.NoError(t, err)
	a, ea := cardReads(t, d)
	b, _ := cardReads(t, up)
	require.InDelta(t, 2*a, b, 8*ea)
}

// A rig file holds nothing but a rig; what is wrong in it is named by its own file and line.
func TestRigMistakes(t *testing.T) {
	d, err := scene.Parse("card.yaml", []byte(fmt.Sprintf(card, 0.0, 0.0, 0.0, 0.0)))
	require.NoError(t, err)
	dir := t.TempDir()
	for text, want := range map[string]string{
		"rig: {turn: 5}": "lights: missing",
		"lights: [{name: a, kind: constant, radiance: 1}]\nfilm: {spp: 3}": "rig.yaml:2:1: film: a rig holds rig and lights alone",
		"rig: {turm: 5}\nlights: [{name: a, kind: constant, radiance: 1}]": "rig.yaml:1:7: rig.turm: unknown key; did you mean turn?",
		"lights: [{name: sky, kind: environment, file: none.hdr}]":         "none.hdr: no such file",
	} {
		file := filepath.Join(dir, "rig.yaml")
		writeFile(t, file, text)
		_, err := d.WithRig(file)
		require.ErrorContains(t, err, want)
		require.False(t, strings.Contains(err.Error(), "card.yaml"))
	}
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
}

// A window of a given power sends it out through its panes: far away on its axis the irradiance is that of an intensity
// P/pi (Lambert), whatever the bars take.
func TestPowerOfAWindow(t *testing.T) {
	const yaml = `
film: {width: 1, height: 1, spp: 256, filter: box, filter_radius: 0.5}
camera: {kind: plate, normal: [0, 0, 1], width: 1, aim: [0, 0, 0]}
lights: [{name: window, kind: rectangle, at: [0, 0, 50000], width: 300, height: 400, panes: [2, 3], bar: %g, power: 100}]
`
	for _, bar := range []float64{0, 20, 60} {
		pic := trace(t, fmt.Sprintf(yaml, bar)).Film.Develop()
		assert.InEpsilon(t, 100/math.Pi/(50*50), pic.Mean[0][1], 0.02, "bars of %g mm", bar)
	}
}
