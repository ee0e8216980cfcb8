package raster_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"catchlight/render"
	"catchlight/scene"

	"github.com/stretchr/testify/require"
)

// BenchmarkChange draws an eye of 256 x 256 pixels after changes of one kind, with the cache that a session holds: the processor's
// milliseconds of preparing, baking and drawing, and the clock's of all.
func BenchmarkChange(b *testing.B) {
	ctx := context.Background()
	n := 0 // no value comes twice
	for _, name := range []string{"ferry_keeper", "ferry_keeper_lidded"} {
		d, err := scene.Load("../../scenes/"+name+".yaml", "picture.width=256", "picture.height=256")
		require.NoError(b, err)
		o := render.Options{Cache: render.NewCache()}
		for _, c := range []struct {
			name, set string
			from      float64
		}{
			{"camera", "camera.orbit.azimuth=%g", 1}, {"exposure", "view.exposure=%g", 1}, {"turn", "light_setup.rotation=%g", 1}, {"ev", "light_setup.ev=%g", 1},
			{"gaze", "objects.eye.transform.rotate=[0, %g, 0]", 1}, {"tint", "objects.eye.sclera.tint=[0.97, 0.99, %g]", 1}, {"pupil", "objects.eye.iris.pupil=%g", 3},
		} {
			b.Run(name+"/"+c.name, func(b *testing.B) {
				frame := func() (prepared, baked, drawn float64) {
					n++
					start := cpuSeconds()
					e, err := d.With(fmt.Sprintf(c.set, c.from+1e-3*float64(n)))
					require.NoError(b, err)
					p, err := render.Prepare(ctx, e, o)
					require.NoError(b, err)
					prepared = cpuSeconds() - start
					start = cpuSeconds()
					r, err := p.Raster(ctx, o)
					require.NoError(b, err)
					all := cpuSeconds() - start
					t := r.Stats
					baked = all * t.BakeSeconds / (t.Seconds + t.BakeSeconds)
					return prepared, baked, all - baked
				}
				frame()
				var sum [4]float64
				i := 0
				for b.Loop() {
					i++
					start := time.Now()
					p, q, r := frame()
					sum[0], sum[1], sum[2], sum[3] = sum[0]+p, sum[1]+q, sum[2]+r, sum[3]+time.Since(start).Seconds()
				}
				for k, unit := range []string{"prepare-cpu-ms", "bake-cpu-ms", "draw-cpu-ms", "wall-ms"} {
					b.ReportMetric(1000*sum[k]/float64(i), unit)
				}
			})
		}
	}
}
