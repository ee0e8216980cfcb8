package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The plane that is sharp goes through the iris or the front of the cornea, 3.6 mm apart on the default eye: a thin lens blurs a
// point at depth z by f^2 |z - focus| / (N z (focus - f)) on its sensor, so the distances must be those of the eye's own numbers.
func TestFocusOn(t *testing.T) {
	const text = `
picture: {width: 8, height: 8, samples: 1}
camera: {orbit: {distance: 500}, f_number: 4%s}
lights: [{name: sky, kind: constant, radiance: 1}]
objects: [{name: eye, shape: eye, map_size: 64, iris: {relief: 0}, cornea: {wobble: 0}, transform: {translate: [0, 0, -5]}}]
`
	focus := func(on string) float64 {
		p := prepareText(t, fmt.Sprintf(text, on))
		_, distance := p.Scene.Camera.Lens()
		return distance
	}
	cornea, iris := focus(", focus_on: cornea"), focus(", focus_on: iris")
	require.InDelta(t, 3.6, iris-cornea, 0.25)       // the iris bulges by 0.2 mm toward its pupil
	require.InDelta(t, 500+8+5-12.965, cornea, 0.03) // the apex stands 0.965 mm before a globe of 12 mm (closed form of the conic)
	require.InDelta(t, 500, focus(""), 1e-9)
}

// A small ball off the sharp plane becomes a disc: a thin lens of diameter A blurs a point at depth z to a circle A |z - F| / z across,
// as seen on the sharp plane at F (Born and Wolf, Principles of Optics, 7th ed., section 4.4; from memory). Light is spread evenly
// over it, so its mean squared distance from the middle is half the squared radius.
func TestThinLensInPictures(t *testing.T) {
	const n, focal, stop, far, ball = 64, 1000.0, 10.0, 500.0, 0.2
	pixel := 36 / focal * far / n // mm on the sharp plane
	for _, z := range []float64{450, 480, 540} {
		p := prepareText(t, fmt.Sprintf(`
picture: {width: %d, height: %[1]d, samples: 256, filter: box, filter_width: 1}
camera: {target: [0, 0, 0], orbit: {distance: %g}, focal_length: %g, f_number: %g}
view: {background: colour}
lights: [{name: sky, kind: constant, radiance: 1, camera_visible: false}]
objects: [{name: ball, shape: sphere, radius: %g, transform: {translate: [0, 0, %g]}, material: {kind: diffuse, colour: 1}}]
`, n, far, focal, stop, ball, far-z))
		pic := finish(t, p).Film.Develop()
		sum, moment := 0.0, 0.0
		for i, v := range pic.Mean {
			x, y := float64(i%n)+0.5-n/2, float64(i/n)+0.5-n/2
			sum += v[1]
			moment += v[1] * (x*x + y*y)
		}
		radius := focal / stop / 2 * math.Abs(z-far) / z / pixel
		own := ball * far / z / pixel
		want := math.Sqrt((radius*radius+own*own)/2 + 1.0/6) // and a pixel's own width
		require.InEpsilon(t, want, math.Sqrt(moment/sum), 0.02, "at %g mm", z)
	}
}
