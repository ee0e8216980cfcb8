package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

const scaleScene = `
picture: {width: 24, height: 24, samples: 192, filter: box, filter_width: 1, seed: %d}
camera: {kind: orthographic, width: %g, target: [0, 0, %g], orbit: {azimuth: 25, distance: 5000}}
lights: [{name: sun, kind: distant, angle: 2, orbit: {azimuth: -40, elevation: 20}, irradiance: [3, 3, 3]}]
objects: [{name: eye, shape: eye, transform: {scale: %g}, map_size: 128, sclera: {scatter_radius: [%g, %g, %g]}, iris: {scatter_radius: [%g, %g, %g]}}]
`

// Scattering lengths are in mm of the world: an eye ten times as large with the same lengths is another picture, one
// whose lengths grow with it is the same, path by path but for rounding.
func TestScaleInMillimetres(t *testing.T) {
	picture := func(seed int, k, half float64) *Result {
		return trace(t, fmt.Sprintf(scaleScene, seed, 28*k, 8*k, k, 0.9*half, 0.6*half, 0.4*half, 0.3*half, 0.25*half, 0.2*half))
	}
	small, again, grown, hard := picture(1, 1, 1), picture(2, 1, 1), picture(1, 10, 10), picture(1, 10, 1)
	// Mean squared difference in standard errors: 1 where two pictures are the same.
	chi := func(a, b *Result) float64 {
		p, q := a.Film.Develop(), b.Film.Develop()
		sum, n := 0.0, 0.0
		for i := range p.Mean {
			v := p.Error[i][0]*p.Error[i][0] + q.Error[i][0]*q.Error[i][0]
			if v > 0 {
				d := p.Mean[i][0] - q.Mean[i][0]
				sum += min(d*d/v, 25)
				n++
			}
		}
		return sum / n
	}
	same, like, other := chi(small, again), chi(small, grown), chi(small, hard)
	t.Logf("difference: two seeds %.2f, grown %.2f, hard %.2f", same, like, other)
	assert.InDelta(t, 1.1, same, 0.4)
	assert.Less(t, like, 0.3*same)
	assert.Greater(t, other, same+1)
	p, q := small.Film.Develop(), grown.Film.Develop()
	m, se := mean(&p, 0, nil)
	m2, se2 := mean(&q, 0, nil)
	assert.InDelta(t, m, m2, 3*math.Hypot(se, se2))
}
