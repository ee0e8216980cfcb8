package render

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// A lamp far away stands where the scene puts it, an even sky nowhere, and their shares are those of their irradiance: a
// surface gets E from a distant lamp that it faces, and all that comes from an even sky of radiance L is 4 pi L.
func TestLamps(t *testing.T) {
	p := prepareText(t, `
picture: {width: 8, height: 8, samples: 1}
camera: {orbit: {distance: 500}}
lights:
  - {name: sun, kind: distant, angle: 1, orbit: {azimuth: -50, elevation: 20}, irradiance: 4}
  - {name: sky, kind: constant, radiance: 0.5}
objects: [{name: eye, shape: eye, map_size: 64}]
`)
	l := p.Lamps(0)
	require.Len(t, l, 2)
	a, e := geom.Radians(-50), geom.Radians(20)
	require.InDelta(t, 0, l[0].Dir.Sub(geom.Vec{X: math.Sin(a) * math.Cos(e), Y: math.Sin(e), Z: math.Cos(a) * math.Cos(e)}).Len(), 0.01)
	require.True(t, l[1].Even)
	require.InDelta(t, 4/(4+2*math.Pi), l[0].Share, 0.005)
	require.InDelta(t, 1, l[0].Share+l[1].Share, 1e-12)
}
