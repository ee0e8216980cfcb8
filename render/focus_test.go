package render

import (
	"fmt"
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
