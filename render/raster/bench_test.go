package raster_test

import (
	"context"
	"fmt"
	"testing"

	"catchlight/render"
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
	k, err := raster.Bake(context.Background(), p.Scene, p.Description.Raster, 1024, 1024, 2)
	require.NoError(b, err)
	start := cpuSeconds()
	for b.Loop() {
		_, err := k.Draw(context.Background())
		require.NoError(b, err)
	}
	b.ReportMetric((cpuSeconds()-start)/float64(b.N), "cpu-s/op")
}

// BenchmarkBake makes all that a frame reads.
func BenchmarkBake(b *testing.B) {
	p := ferryKeeper(b)
	for b.Loop() {
		_, err := raster.Bake(context.Background(), p.Scene, p.Description.Raster, 1024, 1024, 2)
		require.NoError(b, err)
	}
}

// BenchmarkTurn draws frames of a turning eye of 384 pixels, with the store that a turntable holds and without one.
func BenchmarkTurn(b *testing.B) {
	for _, name := range []string{"alone", "kept"} {
		b.Run(name, func(b *testing.B) {
			d, err := scene.Load("../../scenes/ferry_keeper.yaml", "picture.width=384", "picture.height=384")
			require.NoError(b, err)
			o := render.Options{}
			if name == "kept" {
				o.Baked = new(render.Baked)
			}
			frame := func(i int) {
				e, err := d.With(fmt.Sprintf("objects.eye.transform.rotate=[0, %d, 0]", 7*i%360))
				require.NoError(b, err)
				p, err := render.Prepare(context.Background(), e, render.Options{Cache: built})
				require.NoError(b, err)
				_, err = p.Raster(context.Background(), o)
				require.NoError(b, err)
			}
			frame(0)
			start, i := cpuSeconds(), 0
			for b.Loop() {
				i++
				frame(i)
			}
			b.ReportMetric((cpuSeconds()-start)/float64(i), "cpu-s/op")
		})
	}
}
