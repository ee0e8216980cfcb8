package truescale

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/camera"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/geom"
)

// The ruler is right to a pixel: a tick is where the renderer's own camera sees a point so many mm aside.
func TestRulerToAPixel(t *testing.T) {
	base := scene.Default()
	place := Place{Radius: 11.1, Polar: 1.03}
	for _, n := range []int{96, 240, 700} {
		for _, f := range []Frame{place.Whole(), place.Close()} {
			r := NewRuler(f.Width, n)
			require.GreaterOrEqual(t, len(r.Marks), 5)
			d := *base
			d.Camera.Kind, d.Camera.Width, d.Camera.Target, d.Camera.Up, d.Camera.Orbit = "orthographic", f.Width, f.Target, f.Up, nil
			from := f.Target.Mad(200, f.From)
			d.Camera.Position = &from
			d.Picture.Width, d.Picture.Height = n, n
			cam, err := camera.New(prepare.Camera(&d))
			require.NoError(t, err)
			right := f.Up.Cross(f.From).Unit()
			x0, y0, _, ok := cam.Project(f.Target)
			require.True(t, ok)
			for i, m := range r.Marks {
				x, y, _, ok := cam.Project(f.Target.Mad(float64(i)*r.Step, right))
				require.True(t, ok)
				assert.InDelta(t, x-x0, m, 0.5001)
				assert.InDelta(t, y0, y, 1e-6)
				u, v := f.Pixel(f.Target.Mad(float64(i)*r.Step, right).Mad(0.3, f.From.Cross(right)), n)
				assert.InDelta(t, x, u, 1e-6)
				assert.InDelta(t, y-0.3*float64(n)/f.Width, v, 1e-6)
			}
		}
	}
	assert.Equal(t, geom.Vec{Y: 1}, place.Whole().Up)
}
