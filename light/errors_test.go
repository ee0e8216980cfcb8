package light

import (
	"math"
	"strings"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// Bad arguments are named with light, value and range, all of one light at once.
func TestErrors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	var zero geom.Vec
	one := colour.Grey(1)
	for _, c := range []struct {
		err  func() (*Light, error)
		want []string
	}{
		{func() (*Light, error) { return NewRectangle("key", world, zero, -1, nan, one, false) }, []string{`"key"`, "width", "-1", "height", "NaN"}},
		{func() (*Light, error) { return NewRectangle("key", geom.Frame{}, zero, 1, 1, one, false) }, []string{"frame"}},
		{func() (*Light, error) { return NewRectangle("key", world, zero, 1, 1, colour.RGB{0, -2, 0}, false) }, []string{"radiance", "-2"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(0, 2, 1))
		}, []string{"panes across"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(2, 9999, 1))
		}, []string{"panes down"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(11, 2, 1))
		}, []string{"bar"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(2, 2, nan))
		}, []string{"bar"}},
		{func() (*Light, error) { return NewDisc("d", world, geom.Vec{X: inf}, 0, one, false) }, []string{"centre", "radius"}},
		{func() (*Light, error) { return NewSphere("s", geom.Vec{Y: nan}, inf, colour.Grey(inf)) }, []string{"centre", "radius", "radiance"}},
		{func() (*Light, error) { return NewDistant("sun", zero, 0.1, one) }, []string{"direction"}},
		{func() (*Light, error) { return NewDistant("sun", world.N, 0, one) }, []string{"angular diameter", "0"}},
		{func() (*Light, error) { return NewDistant("sun", world.N, 3.2, one) }, []string{"angular diameter", "3.2"}},
		{func() (*Light, error) { return NewDistantIrradiance("sun", world.N, 0.1, colour.Grey(nan)) }, []string{"irradiance"}},
		{func() (*Light, error) { return NewConstant("sky", colour.Grey(-1)) }, []string{"radiance"}},
		{func() (*Light, error) { return NewEnvironment("e", nil, inf, colour.Grey(-1)) }, []string{"picture", "rotation", "gain"}},
		{func() (*Light, error) {
			return NewEnvironment("e", texture.NewImage(2, 1, 2, make([]float32, 4)), 0, one)
		}, []string{"2 channels"}},
		{func() (*Light, error) {
			return NewEnvironment("e", texture.NewImage(2, 1, 3, []float32{0, 1, 2, 3, float32(nan), -1}), 0, one)
		}, []string{`"e"`, "2 of 6", "NaN", "channel 1", "(1, 0)"}},
	} {
		l, err := c.err()
		if err == nil || l != nil {
			t.Errorf("want an error with %v", c.want)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%q does not name %s", err, w)
			}
		}
	}
}
