package adopt

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A height field of our own, drawn as normal maps of both green directions: the curl tells them apart.
func TestGreenDirection(t *testing.T) {
	const n = 128
	for _, up := range []float64{1, -1} {
		r, g, b := make([]float32, n*n), make([]float32, n*n), make([]float32, n*n)
		for y := range n {
			for x := range n {
				u, v := float64(x)/n*2*math.Pi, -float64(y)/n*2*math.Pi // v up
				// h = sin(3u+2v) + 0.6 cos(5u-4v) + 0.4 sin(7u) sin(6v), slopes small
				p := 0.05 * (3*math.Cos(3*u+2*v) - 3*math.Sin(5*u-4*v) + 2.8*math.Cos(7*u)*math.Sin(6*v))
				q := 0.05 * (2*math.Cos(3*u+2*v) + 2.4*math.Sin(5*u-4*v) + 2.4*math.Sin(7*u)*math.Cos(6*v))
				l := math.Sqrt(p*p + q*q + 1)
				i := y*n + x
				r[i], g[i], b[i] = float32(0.5-0.5*p/l), float32(0.5-0.5*up*q/l), float32(0.5+0.5/l)
				for _, c := range [][]float32{r, g, b} {
					c[i] = float32(math.Round(float64(c[i])*255) / 255)
				}
			}
		}
		require.Greater(t, up*greenUp(n, n, r, g, b), 0.9)
	}
	flat := make([]float32, n*n)
	require.Zero(t, greenUp(n, n, flat, flat, flat))
}
