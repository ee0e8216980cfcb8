package seat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
)

// cap is a part of a sphere about c: from polar angle a to b (degrees) about +Z.
func zone(c geom.Vec, r, a, b float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n + 1 {
		st, ct := math.Sincos(geom.Radians(a + (b-a)*float64(i)/float64(n)))
		for j := range 2 * n {
			sp, cp := math.Sincos(math.Pi * float64(j) / float64(n))
			m.P = append(m.P, c.Add(geom.Vec{X: r * st * cp, Y: r * st * sp, Z: r * ct}))
		}
	}
	for i := range n {
		for j := range 2 * n {
			a, b := uint32(i*2*n+j), uint32(i*2*n+(j+1)%(2*n))
			m.Tri = append(m.Tri, [3]uint32{a, a + uint32(2*n), b}, [3]uint32{b, a + uint32(2*n), b + uint32(2*n)})
		}
	}
	return m
}

func measured(t *testing.T, lids *mesh.Mesh, g Globe, o Options) *Report {
	tree, err := near.New(lids)
	require.NoError(t, err)
	r, err := Measure(tree, g, o)
	require.NoError(t, err)
	return r
}

// A ball of 12 mm within a lid that is a sphere of 12.5 mm with a round opening of 35 degrees, moved aside by known amounts: the gap
// along a direction d is 12.5 - 12 - m.d to first order, and the move that seats it best is the way back along the lid's axis
// until the rim touches, whatever the gaze, as a ball turned is the same ball.
func TestBallInASphere(t *testing.T) {
	ball := zone(geom.Vec{}, 12, 0, 180, 64)
	o := Options{Most: 30, Steps: 1, Cell: 2}
	g := Globe{Radius: 12, Ahead: geom.Vec{Z: 1}, Nose: geom.Vec{X: 1}, Shell: ball}
	r := measured(t, zone(geom.Vec{}, 12.5, 35, 100, 64), g, o)
	require.InDelta(t, 0.5, r.Rest.Gap.MM, 0.02)
	require.InDelta(t, 0.5, r.Turns.Gap.MM, 0.02)
	require.Zero(t, r.Rest.Clip.MM)
	require.InDelta(t, 0, r.Move.X, 0.2) // the corner beside the nose is left out
	require.InDelta(t, 0, r.Move.Y, 0.02)
	require.Greater(t, r.Move.Z, 0.3, "forward, as the lids are in front")
	require.Less(t, r.Moved.Gap.MM, 0.25)

	// 0.8 mm upward: it stands 0.8 cos(a) - 0.5 out of the upper lid at an angle a from straight up, most at the reach of 80
	// degrees; the lower lid gapes.
	const up = 0.8
	r = measured(t, zone(geom.Vec{Y: -up}, 12.5, 35, 100, 64), g, o)
	require.InDelta(t, up*math.Sin(geom.Radians(80))-0.5, r.Rest.Clip.MM, 0.03)
	require.InDelta(t, 12, r.Rest.Clip.Clock, 0.8)
	require.InDelta(t, 6, r.Rest.Gap.Clock, 0.8)
	require.Less(t, r.Move.Y, -0.5, "down again")
	require.Less(t, r.Moved.Clip.MM, 0.15)
}

// A globe with a cornea that stands 0.9 mm out comes out of a lid 0.3 mm over its white where it looks, and nowhere at rest.
func TestCorneaUnderALid(t *testing.T) {
	m := zone(geom.Vec{}, 12, 0, 180, 64)
	for i, p := range m.P {
		if a := geom.Degrees(math.Acos(p.Z / 12)); a < 28 {
			m.P[i] = p.Mul(1 + 0.9/12*(0.5+0.5*math.Cos(math.Pi*a/28)))
		}
	}
	g := Globe{Radius: 12, Ahead: geom.Vec{Z: 1}, Nose: geom.Vec{X: 1}, Shell: m}
	r := measured(t, zone(geom.Vec{}, 12.3, 30, 100, 64), g, Options{Most: 30, Steps: 1, Cell: 2})
	require.Less(t, r.Rest.Clip.MM, 0.02)
	require.InDelta(t, 0.6, r.Turns.Clip.MM, 0.06, "the apex, 12.9 mm out, behind a lid of 12.3")
	require.NotZero(t, r.Turns.Clip.Gaze)
	require.InDelta(t, 0.3, r.Rest.Gap.MM, 0.05)
}

// Lids with two faces: what reaches into them is told from what comes out. Closed lids leave nothing open.
func TestThickAndClosed(t *testing.T) {
	lid := zone(geom.Vec{}, 11.8, 30, 100, 64)
	lid.Append(zone(geom.Vec{}, 12.6, 30, 100, 64))
	g := Globe{Radius: 12, Ahead: geom.Vec{Z: 1}, Nose: geom.Vec{X: -1}, Shell: zone(geom.Vec{}, 12, 0, 180, 64)}
	o := Options{Most: 30, Steps: 1, Cell: 2}
	r := measured(t, lid, g, o)
	require.Zero(t, r.Rest.Clip.MM)
	require.InDelta(t, 0.2, r.Rest.Rub.MM, 0.02)
	require.Greater(t, r.Open, 0.3)
	r = measured(t, zone(geom.Vec{}, 12.1, 0, 100, 64), g, o)
	require.Zero(t, r.Open)
	_, err := Measure(nil, Globe{}, o)
	require.Error(t, err)
}
