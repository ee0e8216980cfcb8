package frozen

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/light"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Under a lamp that is nearly a point the table holds the cosine, under an even sky 1, and behind an object under both the
// sky's share and the way to the lamp. Closed forms: a lamp of radiance L and solid angle w gives L w, a sky pi L.
func TestLit(t *testing.T) {
	up := geom.Vec{Y: 1}
	lamp, err := light.NewDistant("lamp", up, 2*math.Pi/180, colour.Grey(1000))
	require.NoError(t, err)
	sky, err := light.NewConstant("sky", colour.Grey(0.1))
	require.NoError(t, err)
	e := 1000 * math.Pi * math.Pow(math.Sin(math.Pi/180), 2)
	for _, n := range []geom.Vec{{Y: 1}, {X: 0.6, Y: 0.8}, {X: 0.8, Z: -0.6}, {Y: -1}, {X: 0.6, Y: -0.8}} {
		one := NewLit([]*light.Light{lamp}, geom.Vec{}).At(n)
		assert.InDelta(t, max(0, n.Y), one.Share, 0.12) // a cell is 11 degrees wide
		assert.InDelta(t, 0, one.Rest, 1e-12)
		assert.InDelta(t, 1, one.Net, 0.01)
		assert.InDelta(t, 1, one.Way.Dot(up), 0.01)

		even := NewLit([]*light.Light{sky}, geom.Vec{}).At(n)
		assert.InDelta(t, 1, even.Share, 0.05)
		assert.Equal(t, geom.Vec{}, even.Way)

		both := NewLit([]*light.Light{lamp, sky}, geom.Vec{}).At(n)
		assert.InDelta(t, (e*max(0, n.Y)+0.1*math.Pi)/(e+0.1*math.Pi), both.Share, 0.12)
		assert.InDelta(t, 1, both.Way.Dot(up), 0.05)
		if n.Y < -0.5 {
			assert.InDelta(t, 0.1*math.Pi/(e+0.1*math.Pi), both.Rest, 0.03)
		}
	}
	assert.Equal(t, LitCell{Share: 1, Rest: 1}, (*Lit)(nil).At(up))
	assert.Equal(t, 1.0, NewLit(nil, geom.Vec{}).At(up).Share)
}
