package raster_test

import (
	"context"
	"testing"

	"catchlight/render"
	prep "catchlight/render/prepare"
	"catchlight/render/raster"
	"catchlight/scene"

	"github.com/stretchr/testify/require"
)

// ferryKeeper is the shipped scene at 1024 pixels with every part on.
func ferryKeeper(b *testing.B) *render.Prepared {
	d, err := scene.Load("../../scenes/ferry_keeper.yaml", "picture.width=1024", "picture.height=1024", "raster.glare=0.2", "raster.glints=both",
		"raster.cards=[{name: card, direction: {azimuth: 25, elevation: 20}}]")
	require.NoError(b, err)
	p, err := render.Prepare(context.Background(), d, render.Options{Cache: built})
	require.NoError(b, err)
	return p
}

// BenchmarkFrame draws an eye of 1024 x 1024 pixels with everything on; maps, prefilter and occlusion are baked before.
func BenchmarkFrame(b *testing.B) {
	p := ferryKeeper(b)
	k, err := raster.Bake(context.Background(), new(prep.Maker), p.Scene, p.Description.Raster, 2)
	require.NoError(b, err)
	start := cpuSeconds()
	for b.Loop() {
		draw(b, k, p)
	}
	b.ReportMetric((cpuSeconds()-start)/float64(b.N), "cpu-s/op")
}

// BenchmarkBake makes all that a frame reads.
func BenchmarkBake(b *testing.B) {
	p := ferryKeeper(b)
	for b.Loop() {
		_, err := raster.Bake(context.Background(), new(prep.Maker), p.Scene, p.Description.Raster, 2)
		require.NoError(b, err)
	}
}
