package raster

import (
	"testing"

	"catchlight/light"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"

	"github.com/stretchr/testify/require"
)

// A smooth surface mirrors of a lamp with a profile what the profile says at the mirrored place, a rough one about its mean; the
// light that falls on a surface is that of an even lamp.
func TestLampProfile(t *testing.T) {
	fr := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: -1}, N: geom.Vec{Z: -1}}
	shape := light.Profile{Core: 3, Edge: 0.4, Sky: 0.5}
	even, err := light.NewRectangle("even", fr, geom.Vec{Z: 100}, 60, 40, colour.Grey(1), false)
	require.NoError(t, err)
	hot, err := light.NewRectangle("hot", fr, geom.Vec{Z: 100}, 60, 40, colour.Grey(1), false, light.WithProfile(shape))
	require.NoError(t, err)
	lamps := [2]lamp{}
	for i, l := range []*light.Light{even, hot} {
		f, ok := l.Form()
		require.True(t, ok)
		lamps[i] = newLamp(f, 0)
	}
	n := geom.Vec{Z: 1}
	require.InDelta(t, lamps[0].cosine(geom.Vec{}, n), lamps[1].cosine(geom.Vec{}, n), 1e-12)
	for _, at := range []geom.Vec{{Z: 100}, {X: 20, Y: 5, Z: 100}, {X: -24, Y: -16, Z: 100}} {
		r := at.Unit()
		wo := geom.Vec{X: -r.X, Y: -r.Y, Z: r.Z}
		gain := func(alpha float64) float64 {
			lobe := shading.NewLobe(wo, n, alpha)
			return lamps[1].gloss(geom.Vec{}, &lobe, r, alpha) / lamps[0].gloss(geom.Vec{}, &lobe, r, alpha)
		}
		require.InEpsilon(t, hot.Radiance(at, geom.Vec{Z: -1})[0], gain(1e-4), 0.01, "%v", at)
		require.InDelta(t, 1, gain(0.3), 0.6, "%v", at) // the hit is 0.4 to 3
	}
}
