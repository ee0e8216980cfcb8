package shells

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// A picture that is moved by mm shows at a place what it showed where that place came from; the way back undoes it.
func TestMoveMaps(t *testing.T) {
	m := &mesh.Mesh{}
	for j := range 41 {
		for i := range 41 {
			x, y := float64(i-20)*0.3, float64(j-20)*0.3
			m.P = append(m.P, geom.Vec{X: x, Y: y, Z: 9})
			m.UV = append(m.UV, geom.UV{U: 0.45 + 0.04*x + 0.005*y, V: 0.52 - 0.05*y})
		}
	}
	front := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}
	q, err := FlatOf(m, geom.Vec{}, front, 5.85)
	require.NoError(t, err)
	require.InDelta(t, 0.45, q.At.U, 1e-12)
	require.InDelta(t, math.Sqrt(0.04*0.05)*1000, q.PerMM(1000, 1000), 1e-9)
	MoveMaps(m, q, [2]float64{0.3, -0.1}, 10, 1.2)
	sin, cos := math.Sincos(geom.Radians(10))
	for i, p := range m.P {
		// What lies at (a, b) in the picture comes to p.
		a, b := (p.X-0.3)/1.2, (p.Y+0.1)/1.2
		a, b = a*cos+b*sin, b*cos-a*sin
		require.InDelta(t, 0.45+0.04*a+0.005*b, m.UV[i].U, 1e-9)
		require.InDelta(t, 0.52-0.05*b, m.UV[i].V, 1e-9)
	}
	_, err = FlatOf(&mesh.Mesh{P: m.P}, geom.Vec{}, front, 5.85)
	require.ErrorContains(t, err, "no texture coordinates")
}
