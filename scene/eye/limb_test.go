package eye

import (
	"math"
	"testing"

	"catchlight/scene/colour"

	"github.com/stretchr/testify/assert"
)

// The limbus is painted as one smooth step by the clock: it never falls outward, in no channel; between 10 and 90 % it is 0.6 mm wide
// at the sides, 1.1 below and 1.2 above (0.6 + 0.5 |sin|^1.5, above 0.1 more; common practice, no published source), and
// without its entry it is the same all round. It was a step of a width of 0.9 to 1.6 of the map, which the wall squeezed.
//
// Its outline is 0.91 to 0.95 as tall as wide (the visible iris in textbooks and white to white in pictures: 0.91 and 0.98; Bergmanson
// and Martinez 2017, from memory), where the outline is half of the light between a dark rim of albedo 0.06 and a white of 0.65. It
// was round: the step was widened inward and pushed outward by as much.
func TestLimbusIsOneStep(t *testing.T) {
	p := Defaults()
	prof := newProfile(&p)
	c := newChart(&p, prof.apex-p.IrisDepth)
	b := newLimb(&p, newIris(&p, prof.apex-p.IrisDepth), c)
	l := p.layer("limbus")
	width := func(e edge) float64 {
		var at [2]float64
		last := colour.RGB{}
		for i := range 4000 {
			h := 4 + float64(i)/1000
			s := e.share(h)
			for k := range s {
				assert.GreaterOrEqual(t, s[k], last[k])
			}
			for k, f := range []float64{0.1, 0.9} {
				if last[1] < f && s[1] >= f {
					at[k] = h
				}
			}
			last = s
		}
		return at[1] - at[0]
	}
	for hour := range 12 {
		sin, cos := math.Sincos(2 * math.Pi * float64(hour) / 12)
		want := 0.6 + 0.5*math.Pow(math.Abs(sin), 1.5) + 0.1*max(0, sin)*max(0, sin)
		w := width(b.edge(l, 1, 7, cos, sin))
		t.Logf("%3d degrees: %.2f mm, want %.2f within 0.1", 30*hour, w, want)
		assert.InDelta(t, want, w, 0.1)
		assert.InDelta(t, 0.8, width(b.edge(&plainLimbus, 0, 7, cos, sin)), 0.01)
	}
	half := math.Log((0.06+0.65)/2/0.06) / math.Log(0.65/0.06)
	outline := func(deg float64) float64 {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		e := b.edge(l, 1, 7, cos, sin)
		h := 4.0
		for e.share(h)[1] < half {
			h += 0.001
		}
		return h
	}
	wide, tall := outline(0)+outline(180), outline(90)+outline(270)
	t.Logf("outline %.2f mm wide, %.2f mm tall: %.3f", wide, tall, tall/wide)
	assert.InDelta(t, 0.93, tall/wide, 0.02)
	assert.InDelta(t, 11.83, wide, 0.57) // mean and standard deviation of 461 eyes: Aguirre, Sci. Rep. 9 (2019)
	// Where it is seen grows with the place in the map, all the way.
	for i := 1; i <= limbSteps; i++ {
		assert.Greater(t, b.seen[i], b.seen[i-1])
	}
}
