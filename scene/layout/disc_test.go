package layout

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// Without the ease the worst ratio is 1/m = ln(tan(phi1/2)/tan(phi0/2)) / ln(1/s), the least that any radial map can have; the ease may
// add a little. Beside it the goal: 1.5 times the iris texels of a projection along the axis at a stretch below 3.
func TestLeastStretch(t *testing.T) {
	for _, c := range []struct{ share, cover, closed float64 }{{0.5, 75, 1.56}, {0.5, 90, 1.94}, {0.5, 100, 2.20}, {0.5, 110, 2.46}, {0.4, 100, 1.66}, {0.6, 100, 2.98}} {
		d, err := NewDisc(12, 5.85, c.share, c.cover)
		require.NoError(t, err)
		least := math.Log(math.Tan(geom.Radians(c.cover)/2)/math.Tan(math.Asin(5.85/12)/2)) / math.Log(1/c.share)
		require.InDelta(t, c.closed, least, 0.005)
		require.Greater(t, d.Stretch(), least)
		require.Less(t, d.Stretch(), 1.13*least)
	}
	d, err := NewDisc(12, 5.85, UsualShare, UsualCover)
	require.NoError(t, err)
	a, _ := d.Density(0, 4096)
	planar := 4096 / 24.0
	require.Greater(t, a*a/(planar*planar), 1.5)
	require.Less(t, d.Stretch(), 3.0)
	_, err = NewDisc(12, 5.85, 0.97, 92)
	require.ErrorContains(t, err, "at most")
	_, err = NewDisc(12, 11.9, 0.5, 92)
	require.ErrorContains(t, err, "limbus of 11.9")
	_, err = NewDisc(12, 5.85, 0.5, 20)
	require.ErrorContains(t, err, "cover of 20")
}

// The disc is smooth: f rises, its slope has no kink at the limbus, Angle is its inverse, Density its derivative, and at the even share
// nothing is stretched.
func TestDisc(t *testing.T) {
	d, err := NewDisc(12, 5.85, 0.6, 92)
	require.NoError(t, err)
	require.InDelta(t, d.Rim, d.At(d.Cover), 1e-9)
	const h = 1e-5
	for phi := 0.02; phi < d.Cover; phi += 0.02 {
		require.InDelta(t, phi, d.Angle(d.At(phi)), 1e-9)
		slope := (d.At(phi+h) - d.At(phi-h)) / (2 * h)
		if along, _ := d.Density(phi, 1); phi > d.phi0+h {
			require.InEpsilon(t, along*d.Globe, slope, 1e-3, phi)
		}
	}
	in, out := (d.At(d.phi0)-d.At(d.phi0-h))/h, (d.At(d.phi0+h)-d.At(d.phi0))/h
	require.InEpsilon(t, in, out, 1e-3)
	e, err := NewDisc(12, 5.85, Even(12, 5.85, 92), 92)
	require.NoError(t, err)
	require.Less(t, e.Stretch(), 1.16) // the plane of the iris itself is 1/cos(phi0) off the sphere at the limbus
	// The isles lie in the square, outside the disc.
	for _, i := range []Isle{Back, Well} {
		require.Greater(t, math.Hypot(i.U-0.5, i.V-0.5)-i.R, 0.5)
		require.Less(t, max(math.Abs(i.U-0.5), math.Abs(i.V-0.5))+i.R, 0.5)
	}
}
