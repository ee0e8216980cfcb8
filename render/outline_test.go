package render

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/limbus"
	"catchlight/scene/geom"
)

const seenFrom = `
picture: {width: 320, height: 240}
camera: {target: [0, 0, 4], orbit: {azimuth: 10, elevation: 3, distance: 1000}, focal_length: 900}
lights: [{name: sky, kind: constant, radiance: 0.5}]
objects:
  - {name: eye, shape: eye, transform: {translate: [2, 1, 0], rotate: [4, -6, 0]}, map_size: 64, globe: {facet_error: 0.01}}
`

// The limbus as another camera sees it gives that camera back: its overrides put the scene's camera where the other stood, so
// that places fall on the same pixels.
func TestCameraFrom(t *testing.T) {
	p := prepareText(t, seenFrom)
	truth := prepareText(t, seenFrom, "camera.orbit={azimuth: 24, elevation: -8, distance: 700}", "camera.target=[1, 2, 5]")
	var points []limbus.Point
	for _, q := range truth.limbus(0, 40) {
		x, y, _, ok := truth.Scene.Camera.Project(q)
		require.True(t, ok)
		points = append(points, limbus.Point{X: x, Y: y})
	}
	o, err := p.CameraFrom(0, points)
	require.NoError(t, err)
	// The limbus of an eye with relief is no perfect circle: a few hundredths of a pixel.
	require.Less(t, o.RMS, 0.05)
	require.InDelta(t, 0, o.Config.Position.Sub(truth.Scene.Camera.Position()).Len(), 3, "of 700 mm")
	again := prepareText(t, seenFrom, o.Sets...)
	for _, q := range []geom.Vec{{}, {X: 12}, {Y: -12}, {X: 2, Y: 1, Z: 12.5}} {
		x, y, _, _ := truth.Scene.Camera.Project(q)
		u, v, _, _ := again.Scene.Camera.Project(q)
		require.Less(t, math.Hypot(u-x, v-y), 0.6, "%v", q)
	}
	require.Contains(t, o.String(), "mm from the limbus")
	_, err = p.CameraFrom(1, points)
	require.ErrorContains(t, err, "eye 2 of 1")
}

// A white card's radiance in closed form: a constant surround lends it its own; a small disc of area A at distance d that faces
// it, as seen by a card that is turned by 30 degrees away, L A cos/(pi d^2); lights behind it nothing.
func TestCard(t *testing.T) {
	const scene = `
picture: {width: 8, height: 8}
camera: {target: [0, 0, 0], orbit: {azimuth: 0, distance: 1000}}
lights:
  - {name: sky, kind: constant, radiance: [0.5, 0.4, 0.3]}
  - {name: lamp, kind: disc, radius: 5, position: [600, 0, 1051.2], target: [0, 0, 12], radiance: [3000, 3000, 1500]}
  - {name: behind, kind: sphere, radius: 5, position: [0, 0, -900], radiance: 1000}
objects: [{name: eye, shape: eye, map_size: 64, globe: {facet_error: 0.01}}]
`
	p := prepareText(t, scene)
	got, err := p.Card(0)
	require.NoError(t, err)
	lamp := 25 * math.Cos(geom.Radians(30)) / (1200 * 1200)
	for c, want := range []float64{0.5 + 3000*lamp, 0.4 + 3000*lamp, 0.3 + 1500*lamp} {
		require.InEpsilon(t, want, got[c], 3e-3)
	}
	_, err = p.Card(3)
	require.Error(t, err)
}
