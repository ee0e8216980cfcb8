package prepare

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/pupil"
)

const quickScene = `
picture: {width: 8, height: 8, samples: 1}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 128, globe: {facet_error: 0.018}, iris: {pupil: 3}}]
`

func quickly(t *testing.T, o Options, sets ...string) *Prepared {
	t.Helper()
	d, err := scene.Parse("reed.yaml", []byte(quickScene), sets...)
	require.NoError(t, err)
	p, err := Scene(context.Background(), d, o)
	require.NoError(t, err)
	return p
}

// Another pupil comes as a warp of one that is there: as wide as asked for, with the colours of the true one about where they belong; it says
// that it is rough, costs no stage of the true one, and never stands in for it. Where the cache holds the true one, that is taken.
func TestQuickPupil(t *testing.T) {
	c := NewCache()
	require.False(t, quickly(t, Options{Cache: c, Rough: true}).Rough, "nothing is near yet")
	rough := quickly(t, Options{Cache: c, Rough: true}, "objects.eye.iris.pupil=4.2")
	require.True(t, rough.Rough)
	for _, s := range rough.Stages {
		if s.From == "made" {
			require.Contains(t, []string{"quick shells eye", "quick tissue eye", "hole eye", "tear film eye", "light on flesh"}, s.Name)
		}
	}
	truth := quickly(t, Options{Cache: c}, "objects.eye.iris.pupil=4.2")
	require.False(t, truth.Rough)
	alone := quickly(t, Options{}, "objects.eye.iris.pupil=4.2")
	look := func(p *Prepared) pupil.Pupil {
		e := &p.Scene.Eyes[0]
		return pupil.Find(p.Scene.Objects[e.Inner].Mesh, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, e.LimbusRadius)
	}
	a, b := look(rough), look(truth)
	require.InEpsilon(t, 4.2, 2*a.Radius, 0.03)
	require.InDelta(t, b.Offset[0], a.Offset[0], 0.05)
	require.Equal(t, alone.Scene.Objects[alone.Scene.Eyes[0].Inner].Mesh.P, truth.Scene.Objects[truth.Scene.Eyes[0].Inner].Mesh.P)

	// In the mean over the iris the colours are those of the true one; without the warp, of the narrower pupil's dark ruff and pit, they are not.
	mean := func(p *Prepared, from, to float64) (sum colour.RGB) {
		for i := range 64 {
			sin, cos := math.Sincos(float64(i) * math.Pi / 32)
			for k := range 8 {
				r := from + (to-from)*(float64(k)+0.5)/8
				v := geom.Vec{X: a.Offset[0] + r*cos, Y: a.Offset[1] + r*sin, Z: b.Plane}
				sum = sum.Add(p.Scene.Eyes[0].Tissue.Colour.At(v).Scale(1.0 / 512))
			}
		}
		return sum
	}
	for _, ring := range [][2]float64{{2.3, 3}, {3, 4.5}, {7, 8}} {
		q, w := mean(rough, ring[0], ring[1]), mean(truth, ring[0], ring[1])
		require.InEpsilon(t, w.Luminance(), q.Luminance(), 0.2, "%v mm", ring)
	}
	require.False(t, quickly(t, Options{Cache: c, Rough: true}, "objects.eye.iris.pupil=4.2").Rough, "the true one is there")
	require.False(t, quickly(t, Options{Cache: c, Rough: true}, "objects.eye.iris.pupil=4.2", "objects.eye.iris.relief=0.1").Rough, "another iris is not near")
}

// Lids stay as they were while the eye turns, where rough ones will do: the skin's own mesh; and the true ones follow. A pupil's size
// is no business of theirs.
func TestHeldLids(t *testing.T) {
	c := NewCache()
	lids := "objects.eye.lids={facet_size: 1, lashes: {density: 0}, brow: {density: 0}, down: {density: 0}}"
	skin := func(p *Prepared) any {
		for i := range p.Scene.Objects {
			if p.Scene.Objects[i].Name == "eye.skin" {
				return p.Scene.Objects[i].Mesh
			}
		}
		return nil
	}
	first := quickly(t, Options{Cache: c, Rough: true}, lids)
	require.False(t, first.Rough)
	held := quickly(t, Options{Cache: c, Rough: true}, lids, "objects.eye.gaze={azimuth: 10, elevation: 12}")
	require.True(t, held.Rough)
	require.Same(t, skin(first), skin(held))
	right := quickly(t, Options{Cache: c}, lids, "objects.eye.gaze={azimuth: 10, elevation: 12}")
	require.False(t, right.Rough)
	require.NotSame(t, skin(first), skin(right))
	require.Same(t, skin(right), skin(quickly(t, Options{Cache: c, Rough: true}, lids, "objects.eye.gaze={azimuth: 10, elevation: 12}")))
	require.Same(t, skin(first), skin(quickly(t, Options{Cache: c}, lids, "objects.eye.iris.pupil=3.5")), "another pupil, the same lids")
}
