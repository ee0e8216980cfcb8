//go:build amd64 && !purego

package denoise

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The loops in assembly do what those in Go do, to the rounding of single precision: distances, columns, weights (also past the
// farthest, and of what is no number), sums of every count, kernels.
func TestLoopsAgree(t *testing.T) {
	if !useAVX2 {
		t.Skip("this processor has no AVX2, or CATCHLIGHT_KERNEL=go is set: there is one kind of loop")
	}
	defer func() { useAVX2 = true }()
	r := rand.New(rand.NewPCG(5, 9))
	random := func(n int) []float32 {
		a := make([]float32, n)
		for i := range a {
			a[i] = r.Float32()
		}
		return a
	}
	both := func(name string, n int, f func(out []float32)) {
		var out [2][]float32
		for k := range out {
			useAVX2 = k == 1
			out[k] = make([]float32, n+9*lanes)
			f(out[k])
		}
		for i, want := range out[0][:n] {
			require.InDelta(t, want, out[1][i], 3e-6*(1+math.Abs(float64(want))), "%s, place %d", name, i)
		}
	}
	a := random(40 * plane)
	both("distances", distWidth, func(out []float32) { distances(out, a[7:], a[900:], plane, distWidth, 1e-9, 0.25) })
	both("columns", distWidth, func(out []float32) { columns(out, a[3:], 77, distWidth) })
	far := random(tileWidth + 8)
	for i := range far {
		far[i] = 40*far[i] - 10
	}
	far[20] = float32(math.NaN())
	share, trust := random(tileWidth), random(tileWidth)
	both("weights", 4*50, func(out []float32) { weights(out, far, share, trust, 50, tileWidth) })
	w, b := random(neighbours*lanes), random((maxDims+1)*lanes)
	for count := 1; count <= maxDims+1; count++ {
		both("sums", count*lanes, func(out []float32) { sums(out, count, w, a[11:], a[plane+11:], plane, offsets[:]) })
	}
	for features := 1; features <= maxDims; features++ {
		both("kernels", neighbours*lanes, func(out []float32) { kernels(out, w, a[5:], plane, offsets[:], b, features) })
	}
}
