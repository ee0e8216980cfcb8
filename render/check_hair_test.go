package render

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/material/hair"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	prep "catchlight/render/prepare"
	"catchlight/scene/geom"
	"catchlight/scene/strand"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tuftScene is a bright card, before which hairs stand, under a sky and a lamp.
const tuftScene = `
picture: {width: 64, height: 64, samples: 32, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 12, target: [0, 0, 0], orbit: {azimuth: 0, distance: 100}}
lights:
  - {name: sky, kind: constant, radiance: 0.5}
  - {name: lamp, kind: disc, radius: 40, orbit: {azimuth: 30, elevation: 40, distance: 200}, radiance: 8, camera_visible: false}
objects:
  - {name: card, shape: rectangle, size: [60, 60, 1], transform: {translate: [0, 0, -3]}, material: {colour: 0.6}}
`

// withHair puts n hairs of a half width at the root, mm, of which taper is lost at the tip, and of a pigment before a scene's camera, and returns the object's number.
func withHair(t *testing.T, p *Prepared, n int, half, taper, eu float32) int {
	t.Helper()
	r := rand.New(rand.NewPCG(4, 4))
	s := &strand.Set{}
	for range n {
		at := geom.Vec{X: 10 * (r.Float64() - 0.5), Y: -6, Z: r.Float64()}
		d := geom.Vec{X: 0.3 * r.NormFloat64(), Y: 1, Z: 0.5}
		var pts []geom.Vec
		var w []float32
		for k := range 7 {
			pts, w = append(pts, at), append(w, half*(1-taper*float32(k)/6))
			d = d.Add(geom.Vec{Z: -0.15, X: 0.05 * r.NormFloat64()}).Unit()
			at = at.Mad(1.4, d)
		}
		s.Add(pts, w, eu, 0)
	}
	c, err := accel.NewCurves(s, accel.Options{})
	require.NoError(t, err)
	p.Scene.Objects = append(p.Scene.Objects, frozen.Object{
		Name: "tuft", Shape: frozen.Strands, Hair: c, End: uint32(c.Hairs()), Eye: -1, ToWorld: geom.Identity(), ToLocal: geom.Identity(), Scale: 1,
		Mask: 7, Bounds: c.Bounds(), Material: frozen.Material{Kind: frozen.Hair, Fibre: hair.Usual()},
	})
	require.NoError(t, prep.Hold(p.Scene, 1))
	return len(p.Scene.Objects) - 1
}

// Hair without pigment can't be seen in a white furnace: every single path brings 1, as the lobes sum to 1 and none is lost.
func TestWhiteHairFurnace(t *testing.T) {
	const yaml = `
picture: {width: 24, height: 24, samples: 16, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 12, target: [0, 0, 0], orbit: {azimuth: 0, distance: 100}}
lights: [{name: sky, kind: constant, radiance: 1}]
view: {background: environment}
objects: [{name: far, shape: sphere, radius: 0.01, transform: {translate: [0, 0, -90]}}]
`
	p := prepare(t, yaml)
	withHair(t, p, 60, 0.2, 0.7, 0)
	pic := finish(t, p).Film.Develop()
	for i, c := range pic.Mean {
		if math.Abs(c[1]-1) > 1e-9 {
			t.Fatalf("pixel %d: %v", i, c)
		}
	}
}

// Light samples and chance have one mean, and held hair the mean of the true one.
func TestHairTwins(t *testing.T) {
	var first, err float64
	for i, set := range [][]string{
		{"picture.samples=128"}, {"picture.samples=256", "advanced.light_samples=false"},
		{"picture.samples=128", "advanced.hold_hair=false"},
	} {
		p := prepare(t, tuftScene, append(set, "picture.width=16", "picture.height=16")...)
		k := withHair(t, p, 25, 0.1, 0.7, 1)
		if i == 2 {
			p.Scene.Objects[k].Hair = p.Scene.Objects[k].Hair.Base()
		} else {
			require.True(t, p.Scene.Objects[k].Hair != p.Scene.Objects[k].Hair.Base(), "held")
		}
		pic := finish(t, p).Film.Develop()
		m, se := mean(&pic, 1, nil)
		t.Logf("%v: %.5f +- %.5f", set, m, se)
		if i == 0 {
			first, err = m, se
			continue
		}
		// Held hair reaches over the edges of the picture.
		assert.InDelta(t, first, m, 3*math.Hypot(se, err)+0.01*first, "%v", set)
	}
}

// From afar hair blends: a picture of a quarter of the size is the large one box-filtered, within 3 %.
// Source: a pixel is the mean radiance over its square, whatever the size of the squares.
func TestHairFromAfar(t *testing.T) {
	const w, k = 64, 4
	p := prepare(t, tuftScene)
	withHair(t, p, 24, 0.1, 0.2, 4)
	large := finish(t, p).Film.Develop()
	q := prepare(t, tuftScene, "picture.width=16", "picture.height=16", "picture.samples=384")
	i := withHair(t, q, 24, 0.1, 0.2, 4)
	require.True(t, q.Scene.Objects[i].Hair != q.Scene.Objects[i].Hair.Base(), "held")
	small := finish(t, q).Film.Develop()
	var apart, sum float64
	for y := range w / k {
		for x := range w / k {
			m := 0.0
			for j := range k * k {
				m += large.Mean[(y*k+j/k)*w+x*k+j%k][1] / (k * k)
			}
			apart += math.Abs(m - small.Mean[y*w/k+x][1])
			sum += m
		}
	}
	t.Logf("mean difference %.2f %%", 100*apart/sum)
	assert.LessOrEqual(t, apart/sum, 0.03)
}

// Hair's bits do not depend on the workers, though rays pass held hair by chance.
func TestHairBits(t *testing.T) {
	p := prepare(t, tuftScene, "picture.samples=4", "picture.width=24", "picture.height=24")
	withHair(t, p, 80, 0.05, 0.7, 4)
	a, err := p.Render(context.Background(), Options{Workers: 1})
	require.NoError(t, err)
	b, err := p.Render(context.Background(), Options{Workers: 3})
	require.NoError(t, err)
	assert.True(t, sameBits(t, a.Film, b.Film))
}
