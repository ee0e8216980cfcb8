package light

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// What a light sends comes from within its rim: no sample lies outside the hull of the rim's points as seen from the point asked
// for, and the radius is not much wider than what the samples need.
func TestRimHoldsTheLight(t *testing.T) {
	one := colour.Grey(1)
	f := geom.NewFrame(geom.Vec{X: -0.6, Y: 0.2, Z: -0.7}.Unit())
	at := geom.Vec{X: 200, Y: -50, Z: 300}
	rect, err := NewRectangle("r", f, at, 30, 50, one, true)
	require.NoError(t, err)
	disc, err := NewDisc("d", f, at, 20, one, true)
	require.NoError(t, err)
	ball, err := NewSphere("s", at, 25, one)
	require.NoError(t, err)
	sun, err := NewDistant("x", geom.Vec{X: 1, Y: 2, Z: 0.5}, 0.05, one)
	require.NoError(t, err)
	const w, h = 128, 64
	pix := make([]float32, 3*w*h)
	for i := range pix {
		pix[i] = 0.1
	}
	for k := range 3 {
		for c := range 3 {
			pix[3*(20*w+30+k)+c] = 4000
		}
	}
	sky, err := NewEnvironment("e", texture.NewImage(w, h, 3, pix), 0.7, one, WithHotSpots())
	require.NoError(t, err)
	require.NotEmpty(t, sky.Spots())
	ref := geom.Vec{X: 3, Y: 1, Z: 10}
	for _, l := range []*Light{rect, disc, ball, sun, sky.Spots()[0]} {
		r, ok := l.Rim(ref)
		require.True(t, ok, l.Kind)
		dir := func(p geom.Vec) geom.Vec {
			if r.Distant {
				return p
			}
			return p.Sub(ref).Unit()
		}
		fr := geom.NewFrame(dir(r.Points[0]))
		// The support of the rim against that of the samples in many directions across the light.
		const turns = 64
		var hull, seen [turns]float64
		for k := range turns {
			hull[k], seen[k] = math.Inf(-1), math.Inf(-1)
		}
		grow := func(s *[turns]float64, d geom.Vec) {
			q := fr.Local(d)
			for k := range turns {
				b, a := math.Sincos(2 * math.Pi * float64(k) / turns)
				s[k] = max(s[k], (a*q.X+b*q.Y)/q.Z)
			}
		}
		for _, p := range r.Points {
			grow(&hull, dir(p))
		}
		widest := 0.0
		for i := range 4096 {
			s, ok := l.Sample(ref, (float64(i%64)+0.5)/64, (float64(i/64)+0.5)/64)
			if ok {
				grow(&seen, s.Wi)
				widest = max(widest, math.Acos(min(1, s.Wi.Dot(fr.N))))
			}
		}
		for k := range turns {
			assert.GreaterOrEqual(t, hull[k], 0.99*seen[k], "%v, turn %d", l.Kind, k)
		}
		assert.Greater(t, r.Radius, 0.95*widest, l.Kind)
		assert.Less(t, r.Radius, 2.5*widest, l.Kind)
	}
	_, ok := sky.Rim(ref)
	assert.False(t, ok, "a sky has no rim")
	_, ok = ball.Rim(at)
	assert.False(t, ok, "nor has a ball from inside")
}
