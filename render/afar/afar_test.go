package afar

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/imgcmp"
	"catchlight/scene/colour"
)

func even(n int, v float64) *Light {
	l := &Light{W: n, H: n, Mean: make([]colour.RGB, n*n), Alpha: make([]float64, n*n)}
	for i := range l.Mean {
		l.Mean[i], l.Alpha[i] = colour.Grey(v), 1
	}
	return l
}

// One degree at 57.29 units away is one unit wide, by the definition of the angle.
func TestPerPixel(t *testing.T) {
	assert.InEpsilon(t, 1.0, PerPixel(0.5/math.Tan(math.Pi/360), 1), 1e-12)
	// An eye's 24 mm at a metre are 1.375 degrees.
	assert.InEpsilon(t, 24/1.375, PerPixel(1000, 1), 1e-3)
}

// Light is neither lost nor made: a wider pixel is the mean of what it covers, by area, and not of the display's code.
func TestResample(t *testing.T) {
	l := even(60, 0.2)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range l.Mean {
		l.Mean[i] = colour.Grey(rng.ExpFloat64())
	}
	mean := func(l *Light) (m float64) {
		for _, v := range l.Mean {
			m += v[0] / float64(len(l.Mean))
		}
		return
	}
	for _, k := range []float64{1, 2, 2.5, 4, 7.5, 60} { // wider pixels that fill the picture
		q := l.Resample(k)
		assert.InDelta(t, mean(l), mean(q), 1e-12, "%g", k)
		assert.Equal(t, int(60/k), q.W)
	}
	assert.Equal(t, l.Mean, l.Resample(1).Mean)
	half := even(2, 0)
	half.Mean[0], half.Mean[2] = colour.Grey(1), colour.Grey(1)
	assert.InDelta(t, 0.5, half.Resample(2).Mean[0][0], 1e-15, "black and white beside each other are half the light")
	assert.Equal(t, 1, even(3, 1).Resample(100).W)
}

// What is noticed is FLIP's own word for greys 2.3 units of L* apart.
func TestNoticed(t *testing.T) {
	lightness := func(L float64) float64 { return math.Pow((L+16)/116, 3) }
	a, b := even(40, lightness(50)), even(40, lightness(52.3))
	f, err := imgcmp.FLIP(b.Mean, a.Mean, 40, 67)
	require.NoError(t, err)
	assert.InDelta(t, Noticed, f[20*40+20], 0.002)
}

// A dark disc is seen up to a distance that grows with its size, an even difference from everywhere, and none from nowhere.
func TestReach(t *testing.T) {
	disc := func(r float64) *Pair {
		p := &Pair{Name: "disc", A: even(120, 0.3), B: even(120, 0.3), Mask: make([]float64, 120*120), Show: func(l *Light) []colour.RGB { return l.Mean }}
		for i := range p.Mask {
			if math.Hypot(float64(i%120)-59.5, float64(i/120)-59.5) < r {
				p.Mask[i], p.B.Mean[i] = 1, colour.Grey(0.05)
			}
		}
		return p
	}
	reach := func(p *Pair) Reach {
		r, err := p.Reach(0.25, 67.02, 0)
		require.NoError(t, err)
		return r
	}
	small, large := reach(disc(4)), reach(disc(12))
	t.Log(small, large)
	assert.False(t, small.Beyond)
	assert.Greater(t, small.Metres, 1.0)
	assert.Greater(t, large.Metres, 2*small.Metres)
	none := disc(12)
	none.B = none.A
	assert.Zero(t, reach(none).Metres)
	// Grain that is seen from as far leaves a detail in doubt; what is not seen at all is none.
	small.Against(large)
	assert.True(t, small.Doubt)
	assert.Equal(t, large.Metres, small.Grain)
	assert.Regexp(t, `^seen up to [0-9.]+ m, or grain$`, small.String())
	large.Against(small)
	assert.False(t, large.Doubt)
	assert.NotContains(t, large.String(), "grain")
	near := Reach{Metres: 4.5}
	near.Against(Reach{Metres: 4.4})
	assert.True(t, near.Doubt, "a little further is not clearly further")
	unseen := reach(none)
	unseen.Against(large)
	assert.False(t, unseen.Doubt)
	far := Reach{Metres: Furthest, Beyond: true}
	far.Against(Reach{Metres: Furthest, Beyond: true})
	assert.True(t, far.Doubt)
	all := disc(12)
	all.B = even(120, 0.6)
	assert.True(t, reach(all).Beyond)
	grey := all.A.Grey(all.Mask)
	assert.InDelta(t, 0.3, grey.Mean[60*120+60][1], 1e-12)
	_, err := (&Pair{Name: "nothing", A: all.A, B: all.A, Mask: make([]float64, 120*120), Show: all.Show}).Score(2, 67)
	assert.ErrorContains(t, err, "shows none of it")
}
