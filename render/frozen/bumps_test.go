package frozen

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/scene/geom"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Bumps have the slope asked for, are 5 to 20 um high and 0.1 to 0.4 mm wide, leave the cornea alone, and what a footprint leaves
// out comes back as slope: both add up to the whole.
func TestBumpsHaveTheSlopeAskedFor(t *testing.T) {
	b := Bumps{Slope: 0.05, Seed: 3}
	rng := rand.New(rand.NewPCG(1, 2))
	const n = 40000
	for _, foot := range []float64{0, 0.05, 0.12, 0.3, 2} {
		sum, left := 0.0, 0.0
		for range n {
			v := geom.UniformSphere(rng.Float64(), rng.Float64())
			p := v.Mul(12)
			q, lost := b.Tilt(v, p, 0, foot)
			require.InDelta(t, 1, q.Len(), 1e-12)
			c := q.Dot(v)
			sum, left = sum+max(0, 1-c*c)/(c*c), left+lost
		}
		whole := math.Sqrt((sum + left) / n)
		t.Logf("footprint %.2f mm: slope %.4f shown, %.4f in all", foot, math.Sqrt(sum/n), whole)
		assert.InEpsilon(t, 0.05*math.Sqrt(1+0.25*0.076), whole, 0.03, "footprint %g", foot) // the unevenness adds its variance
	}
	v := geom.Vec{Z: 1}
	q, lost := b.Tilt(v, v.Mul(13), 1, 0)
	assert.Equal(t, v, q)
	assert.Zero(t, lost)

	// Height along a great circle, by adding up slopes; width from crossings of the mean.
	const step = 0.004
	h, last := 0.0, 0.0
	var hs []float64
	for i := range 6000 {
		a := float64(i) * step / 12
		sin, cos := math.Sincos(a)
		n, along := geom.Vec{X: sin, Z: cos}, geom.Vec{X: cos, Z: -sin}
		q, _ := b.Tilt(n, n.Mul(12), 0, 0)
		h -= step * q.Dot(along) / q.Dot(n)
		hs = append(hs, h)
	}
	crossings, square := 0, 0.0
	for i := 100; i < len(hs)-100; i++ {
		mean := 0.0
		for k := i - 100; k < i+100; k++ {
			mean += hs[k] / 200
		}
		d := hs[i] - mean
		square += d * d
		if d*last < 0 {
			crossings++
		}
		last = d
	}
	rms, width := math.Sqrt(square/5800), 5800*step/float64(crossings)
	t.Logf("height: rms %.1f um, so some %.1f from floor to crown; width %.3f mm", 1000*rms, 2000*math.Sqrt2*rms, width)
	assert.InDelta(t, 0.0125, 2*math.Sqrt2*rms, 0.0075)
	assert.InDelta(t, 0.25, width, 0.15)
}
