package render

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// BenchmarkWarm loads and prepares a scene again after one change, with a cache, as watch does; each change is one that the cache
// has not seen. The map is a picture of 2048 px on the sclera, saved again.
func BenchmarkWarm(b *testing.B) {
	file := filepath.Join(b.TempDir(), "white.png")
	pix := make([]uint8, 3*2048*2048)
	for i := range pix {
		pix[i] = uint8(150 + i/3%2048/40 + i*7919>>7%16)
	}
	require.NoError(b, imageio.WritePNG(file, 2048, 2048, 3, pix, nil))
	for _, name := range []string{"ferry_keeper", "ferry_keeper_lidded"} {
		cache := NewCache()
		prepare := func(sets ...string) {
			d, err := scene.Load("../scenes/"+name+".yaml", append([]string{"objects.eye.map_size=1024"}, sets...)...)
			require.NoError(b, err)
			_, err = Prepare(context.Background(), d, Options{Cache: cache})
			require.NoError(b, err)
		}
		i := 0
		for _, c := range []struct {
			name, key string
			value     float64
		}{
			{"camera", "camera.focal_length=%g", 900}, {"light", "lights.window.ev=%g", 1}, {"roughness", "objects.eye.cornea.roughness=%g", 0.1},
			{"pigment", "objects.eye.iris.pigment=%g", 0.9}, {"redness", "objects.eye.sclera.redness=%g", 0.3}, {"map", "", 0}, {"pupil", "objects.eye.iris.pupil=%g", 3},
		} {
			b.Run(name+"/"+c.name, func(b *testing.B) {
				set := func() []string {
					i++
					if c.key == "" {
						at := time.Unix(int64(1e9+i), 0)
						require.NoError(b, os.Chtimes(file, at, at))
						return []string{"objects.eye.sclera.colour.file=" + file}
					}
					return []string{fmt.Sprintf(c.key, c.value*(1+float64(i)/1e4))}
				}
				prepare(set()...)
				var all []float64
				for b.Loop() {
					sets, start := set(), cpuSeconds()
					prepare(sets...)
					all = append(all, 1000*(cpuSeconds()-start))
				}
				slices.Sort(all)
				b.ReportMetric(all[len(all)/2], "cpu-ms/median")
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
