package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/frozen"
	prep "catchlight/render/prepare"
	"catchlight/scene/colour"
	"catchlight/scene/texture"
)

// white makes all flesh of a scene white under its coat and relief, which no colour key does, and all hair without pigment; it returns how many
// objects there are.
func white(p *Prepared, scatter bool) (n int) {
	for i := range p.Scene.Objects {
		if m := &p.Scene.Objects[i].Material; m.Kind == frozen.Soft {
			shine := m.Flesh.Gloss
			*m = prep.Soft(texture.Constant(colour.Grey(1)), colour.Grey(0.5), m.Index, math.Sqrt(m.Alpha), scatter && !m.Flesh.Solid)
			m.Flesh.Alpha, m.Flesh.Gloss = colour.Grey(1), shine
			n++
		}
		if h := p.Scene.Objects[i].Hair; h != nil {
			clear(h.Set().Eu)
			clear(h.Set().Ph)
			n++
		}
	}
	return
}

// White flesh that reaches into an eye or into other flesh can't be seen in a white furnace: what leaves one body inside the
// other goes on there.
func TestWhiteOverlapFurnace(t *testing.T) {
	const eye = "{name: eye, shape: eye, map_size: 64, iris: {colour: 1, scattering: false, pupil_closed: true}, sclera: {colour: 1, scattering: false}}"
	const ball = "{name: %s, shape: sphere, radius: 6, transform: {translate: [%g, 0, 10]}, material: {kind: tissue}}"
	for _, c := range []struct {
		name, objects string
		scatter       bool
	}{
		{"eye and flesh", eye + ", " + fmt.Sprintf(ball, "a", 8.), true},
		{"flesh and flesh", fmt.Sprintf(ball, "a", 8.) + ", " + fmt.Sprintf(ball, "b", 2.), true},
		{"eye and two of flesh", eye + ", " + fmt.Sprintf(ball, "a", 9.) + ", " + fmt.Sprintf(ball, "b", 5.), true},
		{"eye and plain flesh", eye + ", " + fmt.Sprintf(ball, "a", 8.), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := prepare(t, fmt.Sprintf(furnace, 32, 20.0, c.objects), "camera.orbit={azimuth: 10}", "camera.target=[4, 0, 10]", "advanced.guided=false")
			require.NotZero(t, white(p, c.scatter))
			r := finish(t, p)
			pic := r.Film.Develop()
			for ch := range 3 {
				m, se := mean(&pic, ch, nil)
				t.Logf("channel %d: %.5f +- %.5f, %d from within", ch, m, se, r.Stats.Within)
				assert.LessOrEqual(t, se, 0.002)
				assert.InDelta(t, 1, m, 0.006)
			}
			assert.Zero(t, r.Stats.WalkLeaks)
			assert.Zero(t, r.Stats.CutPaths)
		})
	}
}

// A box of tissue made of two that overlap is the box: neither where one ends inside the other, nor where their sides lie in
// one plane, is light lost or gained.
func TestTissueInTwo(t *testing.T) {
	const yaml = `
picture: {width: 24, height: 24, samples: 1024, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 16, target: [0, 0, 0], orbit: {azimuth: 15, elevation: 20}}
lights: [{name: lamp, kind: disc, radius: 20, orbit: {azimuth: 60, elevation: 30, distance: 60}, radiance: [20, 20, 20]}, {name: sky, kind: constant, radiance: [0.1, 0.2, 0.3]}]
objects: [%s]
`
	const box = "{name: %s, shape: box, size: [%g, 5, 7], transform: {translate: [%g, 0, 0]}, material: {kind: tissue, colour: [0.8, 0.5, 0.35], scatter_radius: 1.2, index: 1.4, roughness: 0.4}}"
	whole := trace(t, fmt.Sprintf(yaml, fmt.Sprintf(box, "whole", 12., 0.))).Film.Develop()
	two := fmt.Sprintf(box, "left", 7., -2.5) + ", " + fmt.Sprintf(box, "right", 7., 2.5)
	r := trace(t, fmt.Sprintf(yaml, two), "picture.seed=2")
	pic := r.Film.Develop()
	for ch := range 3 {
		m0, se0 := mean(&whole, ch, nil)
		m1, se1 := mean(&pic, ch, nil)
		t.Logf("channel %d: %.5f +- %.5f whole, %.5f +- %.5f in two", ch, m0, se0, m1, se1)
		assert.LessOrEqual(t, se0, 0.002*m0)
		assert.InDelta(t, m0, m1, 3.3*math.Hypot(se0, se1))
	}
	assert.Zero(t, r.Stats.WalkLeaks)
}

// All white, an eye in lids can't be seen: at both ends of the opening too, where the flesh of the corners lies within the globe
// and within the skin.
func TestWhiteCorners(t *testing.T) {
	const eye = "{name: eye, shape: eye, lids: {facet_size: 0.4, lashes: {density: 0.3}}, map_size: 64, iris: {colour: 1, scattering: false, pupil_closed: true}, sclera: {colour: 1, scattering: false}}"
	for _, c := range []struct{ name, camera string }{
		{"inner", "camera={kind: orthographic, width: 6, target: [12, -1.5, 7], orbit: {azimuth: 8}}"},
		{"outer", "camera={kind: orthographic, width: 6, target: [-11, 0, 4], orbit: {azimuth: -20}}"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := prepare(t, fmt.Sprintf(furnace, 64, 50.0, eye), c.camera, "advanced.guided=false")
			require.Equal(t, 5, white(p, true))
			r := finish(t, p)
			pic := r.Film.Develop()
			t.Logf("%d walks, %d from within, %d lost, %d cut, %.1f s", r.Stats.Walks, r.Stats.Within, r.Stats.WalkLeaks, r.Stats.CutPaths, r.Stats.Seconds)
			for ch := range 3 {
				m, se := mean(&pic, ch, nil)
				t.Logf("channel %d: %.5f +- %.5f", ch, m, se)
				assert.InDelta(t, 1, m, 0.015)
				assert.LessOrEqual(t, se, 0.005)
			}
			assert.Zero(t, r.Stats.WalkLeaks)
		})
	}
}

// A good eye in lids has nothing to confess; where skin has holes, so that walks get out of it, the report says how much of the
// light ended there, and warns.
func TestLostLightIsTold(t *testing.T) {
	const eye = "{name: eye, shape: eye, lids: {facet_size: 0.6, tear_line: 0, lashes: {density: 0}, brow: {density: 0}, down: {density: 0}}, map_size: 64, iris: {colour: 1, scattering: false, pupil_closed: true}, sclera: {colour: 1, scattering: false}}"
	p := prepare(t, fmt.Sprintf(furnace, 24, 30.0, eye), "camera.orbit={azimuth: 10}", "advanced.guided=false")
	require.Equal(t, 2, white(p, true))
	r := finish(t, p)
	assert.Zero(t, r.Stats.Lost)
	assert.Empty(t, r.Warnings)
	pix := make([]float32, 64*64)
	for i := range pix {
		if i/8%2 == 0 {
			pix[i] = 1
		}
	}
	for i := range p.Scene.Objects {
		if b := &p.Scene.Objects[i]; b.Name == "eye.skin" {
			b.OpacityMask = &frozen.OpacityMask{Map: texture.FromImage(texture.NewImage(64, 64, 1, pix), texture.Repeat), Threshold: 0.5}
		}
	}
	r = finish(t, p)
	pic := r.Film.Develop()
	m, se := mean(&pic, 1, nil)
	t.Logf("mean %.4f +- %.4f, lost %.4f in %d walks", m, se, r.Stats.Lost, r.Stats.WalkLeaks)
	assert.Greater(t, r.Stats.Lost, 0.005)
	assert.Less(t, r.Stats.Lost, 1-m+3*se)
	require.Len(t, r.Warnings, 1)
	assert.Contains(t, r.Warnings[0], fmt.Sprintf("%.2g %% of the light is missing", 100*r.Stats.Lost))
}
