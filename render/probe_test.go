package render

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

func prepareText(t *testing.T, text string, sets ...string) *Prepared {
	t.Helper()
	file := filepath.Join(t.TempDir(), "scene.yaml")
	pix := make([]uint8, 3*100*100)
	for y := range 100 {
		for x := range 100 {
			pix[3*(100*y+x)], pix[3*(100*y+x)+1] = uint8(x), uint8(y)
		}
	}
	require.NoError(t, imageio.WritePNG(filepath.Join(filepath.Dir(file), "map.png"), 100, 100, 3, pix, nil))
	require.NoError(t, os.WriteFile(file, []byte(text), 0o666))
	d, err := scene.Load(file, sets...)
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{})
	require.NoError(t, err)
	return p
}

// A rectangle of 20 mm faces an orthographic camera of 0.5 mm a pixel; its map has 100 x 100 texels whose red is their
// column and green their row: place, texel, value and density follow by hand.
func TestProbeRectangle(t *testing.T) {
	p := prepareText(t, `
picture: {width: 80, height: 80}
camera: {kind: orthographic, width: 40, target: [0, 0, 0], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: card, shape: rectangle, size: [20, 20, 1], material: {colour: {file: map.png}}}]
`)
	q, err := p.Probe(30, 45)
	require.NoError(t, err)
	require.Len(t, q.Places, 1)
	s := q.Places[0]
	require.InDelta(t, -4.75, s.World.X, 1e-9)
	require.InDelta(t, -2.75, s.World.Y, 1e-9)
	require.Len(t, s.Maps, 1)
	m := s.Maps[0]
	require.Equal(t, []int{26, 63}, []int{m.X, m.Y})
	require.InDelta(t, 26.0/255, m.Value[0], 1e-6)
	require.InDelta(t, 63.0/255, m.Value[1], 1e-6)
	require.InDelta(t, 2.5, m.PerPixel, 1e-9)
	require.Contains(t, q.String(), "texel 26,63 of 100 x 100")
	none, err := p.Probe(0, 0)
	require.NoError(t, err)
	require.Empty(t, none.Places)
	_, err = p.Probe(80, 0)
	require.ErrorContains(t, err, "80,0 is outside the picture of 80 x 80")
}

// Near the axis a schematic cornea (radius 7.8 mm, index 1.336, iris 3.6 mm behind it) magnifies the iris 1.131 times:
// the paraxial refraction of one surface, n'/l' = n/l + (n'-n)/r with l = 3.6, m = n l'/(n' l).
func TestProbeLooksThroughTheCornea(t *testing.T) {
	p := prepareText(t, `
picture: {width: 100, height: 100}
camera: {kind: orthographic, width: 10, target: [0, 0, 8], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 64, cornea: {asphericity: 0, wobble: 0}, sclera: {wobble: 0}, iris: {relief: 0, pupil: 2, pupil_closed: true, pupil_offset: [0, 0], depth: 3.6}}]
`)
	q, err := p.Probe(60, 50)
	require.NoError(t, err)
	require.Len(t, q.Places, 2)
	require.Equal(t, "eye.outer", q.Places[0].Object)
	in := q.Places[1]
	require.Equal(t, "eye.inner", in.Object)
	require.InDelta(t, 1, in.Zone, 1e-9)
	seen := math.Hypot(q.Places[0].World.X, q.Places[0].World.Y)
	l := q.Places[0].Local.Z - in.Local.Z + seen*seen/(2*7.8) // depth behind the apex
	m := 1 / (1 - l*(1.336-1)/(1.336*7.8))
	require.InEpsilon(t, m, seen/math.Hypot(in.Local.X, in.Local.Y), 0.006)
}
