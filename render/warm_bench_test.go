package render

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
)

// BenchmarkWarm loads and prepares a scene again after one change, with a cache, as watch does; each change is one that the cache
// has not seen.
func BenchmarkWarm(b *testing.B) {
	for _, file := range []string{"ferry_keeper", "ferry_keeper_lidded"} {
		cache := NewCache()
		prepare := func(sets ...string) {
			d, err := scene.Load("../scenes/"+file+".yaml", append([]string{"objects.eye.map_size=1024"}, sets...)...)
			require.NoError(b, err)
			_, err = Prepare(context.Background(), d, Options{Cache: cache})
			require.NoError(b, err)
		}
		prepare()
		i := 0
		for _, c := range []struct{ name, key string }{
			{"camera", "camera.focal_length=%g"}, {"light", "lights.window.ev=%g"}, {"roughness", "objects.eye.cornea.roughness=%g"},
			{"colour", "objects.eye.iris.pigment=%g"}, {"tint", "objects.eye.sclera.tint=[%g,0.9,0.9]"}, {"redness", "objects.eye.sclera.redness=%g"}, {"pupil", "objects.eye.iris.pupil=%g"},
		} {
			b.Run(file+"/"+c.name, func(b *testing.B) {
				start := cpuSeconds()
				for b.Loop() {
					i++
					v := map[string]float64{"camera": 900, "light": 1, "roughness": 0.1, "colour": 0.9, "tint": 0.8, "redness": 0.3, "pupil": 3}[c.name]
					prepare(fmt.Sprintf(c.key, v*(1+float64(i)/1e4)))
				}
				b.ReportMetric(1000*(cpuSeconds()-start)/float64(b.N), "cpu-ms/op")
			})
		}
	}
}

// BenchmarkSecondStart prepares a scene with an empty cache over a folder that an earlier start filled.
func BenchmarkSecondStart(b *testing.B) {
	for _, file := range []string{"ferry_keeper", "ferry_keeper_lidded"} {
		for _, size := range []int{1024, 2048} {
			b.Run(fmt.Sprintf("%s/map_size %d", file, size), func(b *testing.B) {
				folder := b.TempDir()
				prepare := func() {
					d, err := scene.Load("../scenes/"+file+".yaml", fmt.Sprintf("objects.eye.map_size=%d", size))
					require.NoError(b, err)
					c := NewCache()
					c.Disk, err = OpenDisk(folder, DiskBytes)
					require.NoError(b, err)
					_, err = Prepare(context.Background(), d, Options{Cache: c})
					require.NoError(b, err)
				}
				prepare()
				start := cpuSeconds()
				for b.Loop() {
					prepare()
				}
				b.ReportMetric(1000*(cpuSeconds()-start)/float64(b.N), "cpu-ms/op")
			})
		}
	}
}
