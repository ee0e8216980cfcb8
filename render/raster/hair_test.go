package raster_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/material/hair"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
	"catchlight/scene/strand"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Hair from afar blends into what its cover says: a picture of a quarter of the size is the large one box-filtered within 3 %, though
// its hairs are a sixth of a pixel wide, and no pixel of a row of hairs is a bead.
// Source: a pixel is the mean radiance over its square, whatever the size of the squares.
func TestHairByCoverage(t *testing.T) {
	const yaml = `
picture: {width: 96, height: 96}
camera: {kind: orthographic, width: 12, target: [0, 0, 0], orbit: {azimuth: 0, distance: 100}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects:
  - {name: card, shape: rectangle, size: [60, 60, 1], transform: {translate: [0, 0, -3]}, material: {colour: 0.6}}
`
	r := rand.New(rand.NewPCG(4, 4))
	set := &strand.Set{}
	for i := range 24 {
		x := -5.5 + 11*float64(i)/23
		var p []geom.Vec
		for k := range 5 {
			p = append(p, geom.Vec{X: x + 0.05*float64(k*k)*r.NormFloat64()/4, Y: -7 + 3.5*float64(k)})
		}
		set.Add(p, []float32{0.04, 0.04, 0.04, 0.04, 0.04}, 30, 0)
	}
	c, err := accel.NewCurves(set, accel.Options{})
	require.NoError(t, err)
	var mean [2][]float64
	for i, size := range []string{"{width: 96, height: 96}", "{width: 24, height: 24}"} {
		p := prepare(t, yaml, "picture="+size)
		p.Scene.Objects = append(p.Scene.Objects, frozen.Object{
			Name: "row", Shape: frozen.Strands, Hair: c, End: 24, Eye: -1, ToWorld: geom.Identity(), ToLocal: geom.Identity(), Scale: 1,
			Mask: 7, Bounds: c.Bounds(), Material: frozen.Material{Kind: frozen.Hair, Fibre: hair.Usual()},
		})
		for _, v := range draw(t, bake(t, p), p).Mean {
			mean[i] = append(mean[i], v[1])
		}
	}
	apart, sum, least := 0.0, 0.0, 1.0
	for y := range 24 {
		for x := range 24 {
			m := 0.0
			for j := range 16 {
				m += mean[0][(4*y+j/4)*96+4*x+j%4] / 16
			}
			s := mean[1][y*24+x]
			apart, sum, least = apart+math.Abs(s-m), sum+m, min(least, s)
		}
	}
	t.Logf("mean difference %.2f %%, mean %.3f, least %.3f", 100*apart/sum, sum/576, least)
	assert.LessOrEqual(t, apart/sum, 0.03)
	assert.Greater(t, least, 0.35, "no bead") // a hair covers 0.16 of a pixel along, two cross at most
	assert.InDelta(t, 0.6*(1-24*0.08/12)+0.04*24*0.08/12, sum/576, 0.015)
}

// Of a lamp's image in an eye dense hair before it leaves 0.6 or more; beside it hair covers what it covers.
func TestGlintUnderHair(t *testing.T) {
	yaml := `
picture: {width: 48, height: 48}
camera: {kind: orthographic, width: 16, target: [0, 0, 10], orbit: {azimuth: 0, distance: 100}}
lights:
  - {name: sky, kind: constant, radiance: 0.05}
  - {name: lamp, kind: disc, radius: 60, orbit: {azimuth: 8, elevation: 12, distance: 400}, radiance: 60, camera_visible: false}
objects:
  - {name: eye, shape: eye, ` + fmt.Sprintf(plainEye, 3.6, 2.0, 0.0) + `}
`
	set := &strand.Set{}
	for i := range 60 {
		x := -7 + 14*float64(i)/59
		set.Add([]geom.Vec{{X: x, Y: -7, Z: 16}, {X: x, Y: 7, Z: 16}}, []float32{0.12, 0.12}, 30, 0)
	}
	c, err := accel.NewCurves(set, accel.Options{})
	require.NoError(t, err)
	var l [2][]float64
	for i := range l {
		p := prepare(t, yaml, "raster={caustic: none, occlusion: none, shadow: none, scattering: none, iris: straight, texture_size: 128, prefilter_size: 32}")
		if i == 1 {
			p.Scene.Objects = append(p.Scene.Objects, frozen.Object{
				Name: "row", Shape: frozen.Strands, Hair: c, End: 60, Eye: -1, ToWorld: geom.Identity(), ToLocal: geom.Identity(), Scale: 1,
				Mask: frozen.CameraRays, Bounds: c.Bounds(), Material: frozen.Material{Kind: frozen.Hair, Fibre: hair.Usual()},
			})
		}
		for _, v := range draw(t, bake(t, p), p).Mean {
			l[i] = append(l[i], v[1])
		}
	}
	at := 0
	for i, v := range l[0] {
		if v > l[0][at] {
			at = i
		}
	}
	beside := 24*48 + 10
	t.Logf("glint %.3f, under hair %.3f; beside %.4f and %.4f", l[0][at], l[1][at], l[0][beside], l[1][beside])
	assert.Greater(t, l[0][at], 0.6, "there is a glint")
	assert.GreaterOrEqual(t, l[1][at], 0.6*l[0][at])
	assert.NotEqual(t, l[0][beside], l[1][beside])
}
