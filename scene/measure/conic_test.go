package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

var ahead = geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}

// capOf is n points spread evenly over the cap of a conicoid with its apex at (dx, dy, apex), out to half chord a, each
// moved by noise along the normal.
func capOf(r *rand.Rand, n int, R, Q, a, apex, dx, dy, noise float64) []Point {
	out := make([]Point, n)
	for i := range out {
		rho := a * math.Sqrt((float64(i)+0.5)/float64(n))
		sin, cos := math.Sincos(float64(i) * math.Pi * (3 - math.Sqrt(5)))
		s := rho * rho / (R + math.Sqrt(R*R-(1+Q)*rho*rho))
		nv := geom.Vec{X: rho * cos, Y: rho * sin, Z: R - (1+Q)*s}.Unit()
		out[i] = Point{P: geom.Vec{X: dx + rho*cos, Y: dy + rho*sin, Z: apex - s}.Mad(noise*r.NormFloat64(), nv), N: nv, A: 1}
	}
	return out
}

// Without noise the conic comes back to the last digits: people's corneas, a sphere, prolate and oblate ones.
func TestCorneaExact(t *testing.T) {
	for _, q := range []struct{ R, Q float64 }{{7.8, -0.26}, {7.8, 0}, {6.1, -0.54}, {8.4, 0.3}, {11.5, -0.8}} {
		c := FitCornea(capOf(rand.New(rand.NewPCG(1, 2)), 400, q.R, q.Q, 4.5, 12.965, 0.1, -0.2, 0), geom.Vec{}, ahead, 4.6)
		name := fmt.Sprint(q)
		require.True(t, c.Radius.Held && c.Q.Held && c.Steady, name)
		require.InDelta(t, q.R, c.Radius.V, 1e-7, name)
		require.InDelta(t, q.Q, c.Q.V, 1e-7, name)
		require.InDelta(t, 0, c.Apex.Sub(geom.Vec{X: 0.1, Y: -0.2, Z: 12.965}).Len(), 1e-7, name)
		// Closed form of the root: the conic about the axis and the sphere meet where their heights are equal.
		straight := FitCornea(capOf(rand.New(rand.NewPCG(1, 2)), 400, q.R, q.Q, 4.5, 12.965, 0, 0, 0), geom.Vec{}, ahead, 4.6)
		if root := straight.Root(12, 0); root.Held {
			// s from (1+Q) s^2 - 2 R s + r^2 = 0 and r^2 = G^2 - (A-s)^2: Q s^2 + 2 (A-R) s + G^2 - A^2 = 0.
			A, G := 12.965, 12.0
			s := (G*G - A*A) / (-2 * (A - q.R))
			if q.Q != 0 {
				s = (-(A - q.R) + math.Sqrt((A-q.R)*(A-q.R)-q.Q*(G*G-A*A))) / q.Q
			}
			require.InDelta(t, math.Sqrt(G*G-(A-s)*(A-s)), root.V, 1e-6, name)
		} else {
			require.NotEqual(t, 7.8, q.R, "people's corneas meet the globe")
		}
	}
}

// With 0.01 mm of noise on 1500 vertices within 4.5 mm (one each 0.2 mm; 1000 would give 0.0352), the printed error of Q is at most 0.035, and of 200 corneas
// 95 +- 3 % come out within two printed errors of the truth, Q, radius and root alike; the radius lies within 0.02 mm in
// the mean.
func TestCorneaErrorsAreHonest(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	const runs = 200
	in := map[string]int{}
	bias, worst, mean := 0.0, 0.0, 0.0
	exact := FitCornea(capOf(r, 1000, 7.8, -0.26, 4.5, 12.965, 0, 0, 0), geom.Vec{}, ahead, 4.6)
	truth := exact.Root(12, 0).V
	for range runs {
		c := FitCornea(capOf(r, 1500, 7.8, -0.26, 4.5, 12.965, 0.1, 0.05, 0.01), geom.Vec{}, ahead, 4.6)
		require.True(t, c.Q.Held)
		worst = max(worst, c.Q.SE)
		mean += c.Q.SE / runs
		bias += (c.Radius.V - 7.8) / runs
		for k, e := range map[string]float64{"Q": (c.Q.V + 0.26) / c.Q.SE, "R": (c.Radius.V - 7.8) / c.Radius.SE} {
			if math.Abs(e) < 2 {
				in[k]++
			}
		}
		if root := c.Root(12, 0); math.Abs(root.V-truth) < 2*root.SE+0.002 { // off the axis the mean root differs by 0.002
			in["root"]++
		}
	}
	t.Logf("error of Q %.4f, at most %.4f, mean error of R %.4f, within two errors: %v of %d", mean, worst, bias, in, runs)
	require.Less(t, worst, 0.035)
	require.Less(t, math.Abs(bias), 0.02)
	for k, n := range in {
		require.InDelta(t, 0.95, float64(n)/runs, 0.03, k)
	}
}

// A cap too small to tell Q says so, and its radius is still that of the cornea; a flat one and one of a few vertices
// have neither.
func TestSmallCap(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	c := FitCornea(capOf(r, 1000, 7.8, -0.26, 2.5, 12.965, 0, 0, 0.01), geom.Vec{}, ahead, 2.6)
	require.False(t, c.Q.Held)
	require.Contains(t, c.Q.String(), "not held")
	require.Greater(t, c.Q.SE, 0.2)
	require.False(t, FitCornea(capOf(r, 12, 7.8, -0.26, 4, 12.965, 0, 0, 0), geom.Vec{}, ahead, 4.6).Radius.Held)
	require.Contains(t, FitCornea(capOf(r, 200, 1e7, 0, 4, 12, 0, 0, 0), geom.Vec{}, ahead, 4.6).Radius.Why, "flat")
}

// One in twenty vertices 0.3 mm off does not move the fit by more than its error.
func TestCorneaOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 5))
	pts := capOf(r, 1000, 7.8, -0.26, 4.5, 12.965, 0, 0, 0.003)
	for i := 0; i < len(pts); i += 20 {
		pts[i].P.Z += 0.3
	}
	c := FitCornea(pts, geom.Vec{}, ahead, 4.6)
	require.InDelta(t, 7.8, c.Radius.V, 3*c.Radius.SE)
	require.InDelta(t, -0.26, c.Q.V, 3*c.Q.SE)
	require.Less(t, c.Q.SE, 0.015)
}
