package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/geom"
)

// White lids about a white eye in a white furnace can't be seen: skin with its relief and two lobes of shine, inner corner and hair plainly, under coats and
// tears; and skin by random walks, over the lower lid and the cheek (TestWhiteCorners looks at both ends of the opening).
// The colours are put on after preparing, as no colour key reaches 1.
func TestWhiteLidsFurnace(t *testing.T) {
	const eye = "{name: eye, shape: eye, lids: {facet_size: 0.4, lashes: {density: 0.3}}, map_size: 64, iris: {colour: 1, scattering: false, pupil_closed: true}, sclera: {colour: 1, scattering: false}}"
	for _, c := range []struct {
		name    string
		scatter bool
		spp     int
		set     string
		objects int
		within  float64
	}{{"walks", true, 96, "camera={kind: orthographic, width: 14, target: [0, -15, 10], orbit: {azimuth: 10}}", 5, 0.01}, {"plain", false, 48, "camera={kind: orthographic, width: 50, target: [0, 0, 0], orbit: {azimuth: 10}}", 5, 0.005}} {
		t.Run(c.name, func(t *testing.T) {
			p := prepare(t, fmt.Sprintf(furnace, c.spp, 50.0, eye), "advanced.guided=false", c.set)
			require.Equal(t, c.objects, white(p, c.scatter))
			r := finish(t, p)
			pic := r.Film.Develop()
			t.Logf("%d walks, %d leaks, %.1f s", r.Stats.Walks, r.Stats.WalkLeaks, r.Stats.Seconds)
			for ch := range 3 {
				m, se := mean(&pic, ch, nil)
				t.Logf("channel %d: %.5f +- %.5f", ch, m, se)
				assert.InDelta(t, 1, m, c.within)
				assert.LessOrEqual(t, se, c.within/2)
			}
		})
	}
}

// What falls on lids and is not absorbed comes out: under an even sky no pixel of coloured lids is brighter than the sky or
// black, and the samples are all finite.
func TestLidsKeepTheirEnergy(t *testing.T) {
	const eye = "{name: eye, shape: eye, lids: {facet_size: 0.3}, map_size: 64}"
	r := inFurnace(t, 16, 40, eye, "camera.orbit={azimuth: 0}")
	pic := r.Film.Develop()
	for i := range pic.Mean {
		for ch := range 3 {
			assert.LessOrEqual(t, pic.Mean[i][ch], 1+4*pic.Error[i][ch]+0.02)
			assert.Greater(t, pic.Mean[i][ch], 0.0)
		}
	}
}

// The switch shows any scene bare or in lids, and cards that stand in for lids go away with them.
func TestLidsSwitch(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 1}
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects:
  - {name: eye, shape: eye, map_size: 64%s}
  - {name: card, shape: box, when: bare, transform: {translate: [0, 15, 11]}}
`
	for _, c := range []struct {
		eye  string
		set  []string
		want int // objects: two shells, then a card or skin, corner, tears and three kinds of hair
	}{
		{"", nil, 3}, {"", []string{"lids=on"}, 8}, {"", []string{"lids=off"}, 3},
		{", lids: {facet_size: 1}", nil, 8}, {", lids: {facet_size: 1}", []string{"lids=off"}, 3},
		{", lids: {on: false}", nil, 3}, {", lids: {on: false}", []string{"lids=on"}, 8},
		{", lids: {scale: 1.4}", []string{"objects.eye.globe.radius=17", "objects.eye.limbus={radius: 8.3, width: 1.6}", "objects.eye.cornea.radius=11"}, 8},
		{", lids: {tear_line: 0, lashes: {density: 0}, brow: {density: 0}, down: {density: 0}}", nil, 4},
	} {
		p := prepare(t, fmt.Sprintf(yaml, c.eye), c.set...)
		assert.Len(t, p.Scene.Objects, c.want, "%s %v", c.eye, c.set)
	}
}

// axes returns where the eyes' optical axes and centres are in the world.
func axes(p *Prepared) (at, axis []geom.Vec) {
	for i := range p.Scene.Eyes {
		b := &p.Scene.Objects[p.Scene.Eyes[i].Outer]
		at = append(at, b.ToWorld.Point(geom.Vec{}))
		axis = append(axis, b.ToWorld.Vector(geom.Vec{Z: 1}).Unit())
	}
	return
}

// A pair stands 63 mm apart; each line of sight meets the target and lies 5 degrees nasal of the optical axis; far away that
// makes the axes 10 degrees apart, outward. Closed forms. The eyes differ in more than their side.
func TestPairAndGaze(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 1}
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects: [{name: eye, shape: eye, pair: 63, map_size: 64}]
`
	at, axis := axes(prepare(t, yaml))
	require.Len(t, axis, 2)
	assert.InDelta(t, 63, at[1].X-at[0].X, 1e-9)
	for i, sign := range []float64{-1, 1} {
		assert.InDelta(t, sign*math.Sin(geom.Radians(5)), axis[i].X, 1e-12)
		assert.InDelta(t, 0, axis[i].Y, 1e-12)
	}
	for _, target := range []geom.Vec{{Z: 400}, {X: 120, Y: 80, Z: 600}, {X: -300, Y: -200, Z: 500}} {
		p := prepare(t, yaml, fmt.Sprintf("objects.eye.gaze.target=[%g, %g, %g]", target.X, target.Y, target.Z))
		at, axis := axes(p)
		for i, sign := range []float64{1, -1} {
			sight := target.Sub(at[i]).Unit()
			assert.InDelta(t, 5, geom.Degrees(math.Acos(sight.Dot(axis[i]))), 1e-6)
			// Nasal: the axis turned 5 degrees about the eye's own vertical toward the nose is the line of sight.
			b := &p.Scene.Objects[p.Scene.Eyes[i].Outer]
			s, c := math.Sincos(geom.Radians(5))
			assert.InDelta(t, 0, b.ToWorld.Vector(geom.Vec{X: sign * s, Z: c}).Sub(sight).Len(), 1e-9)
			// No roll: the turn from straight ahead to the sight is about an axis that lies across both (Listing).
			up := b.ToWorld.Vector(geom.RotateY(geom.Radians(5 * sign)).Vector(geom.Vec{Y: 1}))
			n := geom.Vec{Z: 1}.Cross(sight)
			assert.InDelta(t, n.Y, n.Dot(up), 1e-9)
		}
	}
	// The same point told by its distance.
	_, aimed := axes(prepare(t, yaml, "objects.eye.gaze.target=[0, 0, 400]"))
	_, axis = axes(prepare(t, yaml, "objects.eye.gaze={distance: 400}"))
	_, larger := axes(prepare(t, yaml, "objects.eye.gaze={distance: 800}", "objects.eye.transform.scale=2"))
	for i := range aimed {
		assert.InDelta(t, 0, axis[i].Sub(aimed[i]).Len(), 1e-12)
		assert.InDelta(t, 0, larger[i].Sub(aimed[i]).Len(), 1e-12)
	}
	_, err := scene.Parse("check.yaml", []byte(yaml), "objects.eye.gaze={distance: 30}")
	assert.ErrorContains(t, err, "30 mm is outside 0 and [50, 1e+06]")
	_, err = scene.Parse("check.yaml", []byte(yaml), "objects.eye.gaze={distance: 300, target: [0, 0, 400]}")
	assert.ErrorContains(t, err, "a target has its own")
	// The left eye is no copy: mirrored, the iris would be the same.
	p := prepare(t, yaml)
	a, b := p.Scene.Eyes[0].Tissue.Colour, p.Scene.Eyes[1].Tissue.Colour
	far := 0.0
	for i := range 64 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 64)
		q, m := geom.Vec{X: 4 * c, Y: 4 * s, Z: 9}, geom.Vec{X: -4 * c, Y: 4 * s, Z: 9}
		far += math.Abs(a.At(q)[1] - b.At(m)[1])
	}
	assert.Greater(t, far/64, 0.005)
}

// One eye with a gaze looks where it is told; without one its optical axis stays along +Z.
func TestGaze(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 1}
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects: [{name: eye, shape: eye, transform: {translate: [3, 4, 5], rotate: [0, 30, 0]}, map_size: 64}]
`
	_, axis := axes(prepare(t, yaml))
	assert.InDelta(t, 0, axis[0].Sub(geom.Vec{X: math.Sin(math.Pi / 6), Z: math.Cos(math.Pi / 6)}).Len(), 1e-12)
	at, axis := axes(prepare(t, yaml, "objects.eye.gaze={target: [40, 10, 300], kappa: 0}"))
	assert.InDelta(t, 0, axis[0].Sub(geom.Vec{X: 40, Y: 10, Z: 300}.Sub(at[0]).Unit()).Len(), 1e-12)
	_, axis = axes(prepare(t, yaml, "objects.eye.gaze={azimuth: -30, elevation: 20, kappa: 0}"))
	assert.InDelta(t, 0, axis[0].Sub(geom.Vec{Y: math.Sin(geom.Radians(20)), X: math.Cos(geom.Radians(20)) * math.Sin(0), Z: math.Cos(geom.Radians(20))}).Len(), 1e-12)

	_, err := scene.Parse("check.yaml", []byte(yaml), "objects.eye.lids={height: 16, cover: 6}")
	require.ErrorContains(t, err, "objects.eye.lids.height: a height of 16 and a cover of 6 mm put the margins")
}

// Flesh that lies within an eye's outer shell changes nothing: a ball of it between the shells, 0.02 mm beneath the outer one.
func TestEyeGoesBeforeFlesh(t *testing.T) {
	const eye = "{name: eye, shape: eye, map_size: 64, cornea: {wobble: 0}, sclera: {wobble: 0}}"
	const ball = ", {name: ball, shape: sphere, radius: 11.98, material: {kind: tissue, colour: 0.3}}"
	a, b := inFurnace(t, 24, 30, eye).Film.Develop(), inFurnace(t, 24, 30, eye+ball, "picture.seed=2").Film.Develop()
	for ch := range 3 {
		m0, se0 := mean(&a, ch, nil)
		m1, se1 := mean(&b, ch, nil)
		t.Logf("channel %d: %.5f +- %.5f alone, %.5f +- %.5f with the ball", ch, m0, se0, m1, se1)
		assert.InDelta(t, m0, m1, 3.3*math.Hypot(se0, se1))
		assert.LessOrEqual(t, se0, 0.003)
	}
}
