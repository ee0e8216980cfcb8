package diagram_test

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render"
	"catchlight/render/diagram"
	"catchlight/scene"
	"catchlight/scene/colour"
)

func prepared(t *testing.T, set ...string) *render.Prepared {
	t.Helper()
	d, err := scene.Parse("diagram.yaml", []byte(`picture: {width: 64, height: 64}
camera: {kind: orthographic, width: 30, orbit: {distance: 200}}
lights: [{name: sky, kind: constant, radiance: 0.5}]
objects: [{name: eye, shape: eye, map_size: 128, globe: {facet_error: 0.01}, cornea: {wobble: 0}}]
`))
	require.NoError(t, err)
	d, err = d.With(set...)
	require.NoError(t, err)
	p, err := render.Prepare(context.Background(), d, render.Options{Workers: 1})
	require.NoError(t, err)
	return p
}

func draw(t *testing.T, p *render.Prepared, k diagram.Kind) *diagram.Drawing {
	t.Helper()
	g, err := diagram.Draw(context.Background(), p.Scene, p.Description, k, 2)
	require.NoError(t, err)
	return g
}

// A globe of 12 mm seen along the axis covers pi 12^2 of 30 x 30 mm, and its normals are those of a sphere: at a point x to the
// right of the middle red is half of x/R plus a half.
func TestNormalsOfAGlobe(t *testing.T) {
	p := prepared(t)
	g := draw(t, p, diagram.Normal)
	area := 0.0
	for _, a := range g.Alpha {
		area += a
	}
	require.InDelta(t, math.Pi*144/900, area/float64(64*64), 0.004)
	for _, x := range []int{10, 12, 14} { // the outer shell, left of the middle, on the white
		i := 32*64 + x
		mm := (float64(x) + 0.5 - 32) / 64 * 30
		c := g.Pix[i]
		require.InDelta(t, 0.5+0.5*mm/12, colour.EncodeSRGB(c[0]), 0.03, "pixel %d", x)
	}
}

// Parts: the middle is pupil, then iris to the limbus, then white.
func TestParts(t *testing.T) {
	g := draw(t, prepared(t), diagram.Zones)
	at := func(mm float64) colour.RGB { return g.Pix[32*64+int(32+mm/30*64)] }
	require.Less(t, at(0.2).Luminance(), 0.03, "pupil")
	iris := at(4)
	require.Greater(t, iris[2], 2*iris[0], "iris is teal")
	white := at(9)
	require.Greater(t, white[0], 0.4, "white is ivory")
	require.InDelta(t, white[0], white[2], 0.15)
	require.Contains(t, g.Words, "at 5.85 mm from the axis")
}

// Workers change nothing, and an unknown kind is refused.
func TestDrawIsTheSame(t *testing.T) {
	p := prepared(t)
	a, err := diagram.Draw(context.Background(), p.Scene, p.Description, diagram.Wire, 1)
	require.NoError(t, err)
	require.Equal(t, a, draw(t, p, diagram.Wire))
	outer, inner := diagram.Facets(p.Scene, 64, 64)
	require.Greater(t, outer, 0.0)
	require.Greater(t, inner, 0.0)
	more, _ := diagram.Facets(prepared(t, "camera.width=15").Scene, 64, 64)
	require.InEpsilon(t, 2.0, more/outer, 0.3, "twice as near, twice as long")
	_, err = diagram.Draw(context.Background(), p.Scene, p.Description, "bones", 1)
	require.ErrorContains(t, err, `diagram "bones"`)
}
