package eye

import (
	"math"
	"testing"

	"catchlight/scene/colour"

	"github.com/stretchr/testify/require"
)

// A turn by 120 degrees about the axis of greys swaps the channels round: closed form of a rotation that takes x to y to z. All turns
// keep luminance, greys and the way back.
func TestTurned(t *testing.T) {
	c := colour.RGB{0.16, 0.10, 0.05}
	third := turned(c, 120)
	want := colour.RGB{c[2], c[0], c[1]}
	want = want.Scale(c.Luminance() / want.Luminance())
	for i := range want {
		require.InDelta(t, want[i], third[i], 1e-12)
	}
	for _, d := range []float64{-170, -90, -20, 0, 15, 60, 180} {
		require.InDelta(t, c.Luminance(), turned(c, d).Luminance(), 1e-12)
		for i := range 3 {
			require.InDelta(t, 0.2, turned(colour.Grey(0.2), d)[i], 1e-12)
		}
	}
	for i := range 3 {
		require.InDelta(t, c[i], turned(turned(c, 12), -12)[i], 1e-12)
	}
	green := turned(c, 40)
	require.Greater(t, green[1]/green[0], c[1]/c[0], "positive goes toward green")
}

// Each zone changes its own ring alone: brightness by its stops in the mean of logs, contrast by the deviation of logs, none of them
// at the neutral values, which give the very same colours.
func TestZonesOfIris(t *testing.T) {
	with := func(z Grades) *tissue { return paintedBy(t, func(p *Params) { p.Zones = z }).iris.tissue }
	was := with(EvenZones())
	require.Equal(t, with(Grades{}).colour, was.colour)
	// spread returns mean and deviation of the logs of luminance well inside a zone, in stops.
	spread := func(u *tissue, zone int) (mean, dev float64) {
		n, sum, square := 0.0, 0.0, 0.0
		for at, c := range u.colour {
			if u.s[at] >= 0 && u.shares(at)[zone] > 0.999 {
				l := math.Log2(c.Luminance())
				n, sum, square = n+1, sum+l, square+l*l
			}
		}
		require.Greater(t, n, 200.0)
		return sum / n, math.Sqrt(square/n - sum/n*sum/n)
	}
	for k := range 3 {
		z := EvenZones()
		*[]*Zone{&z.Collarette, &z.Ciliary, &z.Margin}[k] = Zone{Brightness: -0.25, Contrast: 0.5}
		now := with(z)
		for other := range 3 {
			m0, d0 := spread(was, other)
			m1, d1 := spread(now, other)
			if other != k {
				require.InDelta(t, m0, m1, 1e-3, "zone %d is left alone by zone %d", other, k)
				require.InDelta(t, d0, d1, 1e-3, "zone %d is left alone by zone %d", other, k)
				continue
			}
			// The mean that contrast goes about is the whole zone's, mixed edges too: up to a tenth of a stop apart.
			require.InDelta(t, m0-0.25, m1, 0.12, "zone %d", k)
			require.InDelta(t, 0.5, d1/d0, 0.05, "zone %d", k)
		}
	}
}
