package raster_test

import (
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
