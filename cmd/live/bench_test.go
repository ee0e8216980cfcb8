package live

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/render"
	"catchlight/scene"
	"catchlight/scene/imageio"
)

// kind is a kind of change; set makes its n-th override, which no earlier one was.
type kind struct {
	name string
	set  func(n int) []string
	drag bool
}

func numbered(key string, base, step float64) func(n int) []string {
	return func(n int) []string { return []string{fmt.Sprintf("%s=%g", key, base+step*float64(n))} }
}

// fresh is a map of one's own that is saved again and again.
func freshMap(b testing.TB, folder string, side int) func(n int) []string {
	file := filepath.Join(folder, fmt.Sprintf("white%d.png", side))
	pix := make([]uint8, 3*side*side)
	for i := range pix {
		pix[i] = uint8(150 + i/3%side*50/side + i*7919>>7%16)
	}
	require.NoError(b, imageio.WritePNG(file, side, side, 3, pix, nil))
	return func(n int) []string {
		at := time.Unix(int64(1e9+n), 0)
		require.NoError(b, os.Chtimes(file, at, at))
		return []string{"objects.eye.sclera.colour.file=" + file}
	}
}

// BenchmarkShow measures from Show to the first changed frame, for each kind of change, on a warm engine: the median in ms, of the clock and of
// all processors, and the size of that frame. Beside it the first frame that is as the scene asks for, where the first is rough.
//
// Long: one table of the kinds of change.
func BenchmarkShow(b *testing.B) {
	folder := b.TempDir()
	bare := []kind{
		{"camera", numbered("camera.orbit.azimuth", 20, 0.5), true}, {"light's place", numbered("lights.window.orbit.azimuth", -30, 0.5), true},
		{"light's EV", numbered("lights.window.ev", 0, 0.03), true}, {"exposure", numbered("view.exposure", -1.2, 0.02), true},
		{"gaze", numbered("objects.eye.gaze.azimuth", 0, 0.3), true}, {"pupil", numbered("objects.eye.iris.pupil", 3, 0.03), true},
		{"colour: iris tint", func(n int) []string {
			return []string{fmt.Sprintf("objects.eye.iris.tint=[1, %g, 1]", 1-0.005*float64(n))}
		}, true},
		{"colour: veins", numbered("objects.eye.sclera.veins", 1, 0.02), true}, {"colour: white's tint", func(n int) []string {
			return []string{fmt.Sprintf("objects.eye.sclera.tint=[1, %g, 1]", 1-0.005*float64(n))}
		}, true},
		{"scatter radius", func(n int) []string {
			return []string{fmt.Sprintf("objects.eye.sclera.scatter_radius=[%g, 0.26, 0.19]", 0.32+0.004*float64(n))}
		}, true},
		{"roughness", numbered("objects.eye.cornea.roughness", 0.05, 0.002), true}, {"2K map saved", freshMap(b, folder, 2048), true},
	}
	lidded := []kind{{"lids: gaze", numbered("objects.eye.gaze.azimuth", 0, 0.5), false}, {"lids: camera", numbered("camera.orbit.azimuth", 20, 0.5), true}}
	own := slices.DeleteFunc(slices.Clone(bare), func(k kind) bool {
		return slices.Contains([]string{"colour: iris tint", "colour: veins", "light's place", "light's EV"}, k.name)
	})
	own = append(own, kind{"light's EV", numbered("lights.room.ev", 0, 0.03), true})
	big := freshMap(b, folder, 4096)(0)[0]
	big = big[len("objects.eye.sclera.colour.file="):]
	for _, s := range []struct {
		file  string
		sets  []string
		width int
		kinds []kind
	}{
		{"ferry_keeper", nil, 384, bare}, {"ferry_keeper_lidded", nil, 384, lidded},
		{"heron_import", []string{"objects.eye.iris.colour.file=" + big, "objects.eye.sclera.colour.file=" + big}, 768, own},
	} {
		load := func(sets ...string) *scene.Description {
			d, err := scene.Load("../../scenes/"+s.file+".yaml", append(slices.Clone(s.sets), sets...)...)
			require.NoError(b, err)
			return d
		}
		var e *Engine
		run := uint64(0)
		for _, k := range s.kinds {
			b.Run(s.file+"/"+k.name, func(b *testing.B) {
				if e == nil {
					e = New(Options{})
					run++
					e.Show(run, load(), View{Width: s.width}, nil)
					for f := frame(b, e); f.Smaller || f.Width < s.width || f.Samples < 2; f = frame(b, e) {
					}
				}
				var clock, all, right []float64
				width := 0
				n := 0
				show := func() {
					run++
					n++
					e.Show(run, load(k.set(n)...), View{Width: s.width, Drag: k.drag}, nil)
				}
				show() // the first one changes the kind of change
				for f := frame(b, e); f.Run < run; f = frame(b, e) {
				}
				for b.Loop() {
					time.Sleep(100 * time.Millisecond)
					start, cpu := time.Now(), cpuSeconds()
					show()
					f := frame(b, e)
					for ; f.Run < run; f = frame(b, e) {
					}
					clock, all = append(clock, 1000*time.Since(start).Seconds()), append(all, 1000*(cpuSeconds()-cpu))
					width = f.Width
					if !k.drag {
						for ; f.Smaller; f = frame(b, e) {
						}
						right = append(right, 1000*time.Since(start).Seconds())
					}
				}
				b.ReportMetric(middle(clock), "ms/median")
				b.ReportMetric(middle(all), "cpu-ms/median")
				b.ReportMetric(float64(width), "px")
				if right != nil {
					b.ReportMetric(middle(right), "ms-right/median")
				}
			})
		}
		if e != nil {
			e.Close()
		}
	}
}

func middle(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[len(v)/2]
}

// BenchmarkAfterTwoSeconds compares what is shown of a new camera of the ferry keeper with a plain render of the same processor time: the ratio
// of their errors against a picture of 16 samples of another seed, whose own share is taken off. The picture has 256 px and the time is
// the share of two seconds of two processors that its pixels have of 384 px, so that drafts cost more here than there.
func BenchmarkAfterTwoSeconds(b *testing.B) {
	const width, budget = 256, 4.0 * 256 * 256 / (384 * 384)
	load := func(sets ...string) *scene.Description {
		d, err := scene.Load("../../scenes/ferry_keeper.yaml", append([]string{"picture.denoise=false", "view.glare=null", "objects.eye.map_size=512"}, sets...)...)
		require.NoError(b, err)
		return d
	}
	cache := render.NewCache()
	var ratios []float64
	run := uint64(1)
	for b.Loop() {
		run++
		d := load(fmt.Sprintf("camera.orbit.azimuth=%g", 20+float64(run)))
		e := New(Options{Cache: cache})
		e.Show(run, load(), View{Width: width, Drag: true}, nil)
		frame(b, e)
		run++
		start := cpuSeconds()
		e.Show(run, d, View{Width: width}, nil)
		var page canvas
		for cpuSeconds()-start < budget {
			if f := frame(b, e); f.Run == run && cpuSeconds()-start <= budget {
				page.lay(&f, "eye")
			}
		}
		e.Close()
		<-e.over
		p, err := render.Prepare(context.Background(), d, render.Options{Cache: cache})
		require.NoError(b, err)
		p, err = p.Sized(width)
		require.NoError(b, err)
		plain, err := p.Begin(render.Options{})
		require.NoError(b, err)
		for start = cpuSeconds(); cpuSeconds()-start < budget; {
			ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
			_ = plain.Step(ctx)
			cancel()
		}
		truth := *p
		dt := *p.Description
		dt.Picture.Seed, dt.Picture.Samples = 99, 16
		truth.Description = &dt
		res, err := truth.Render(context.Background(), render.Options{})
		require.NoError(b, err)
		pic, err := res.Shown()
		require.NoError(b, err)
		shown, err := plain.Result()
		require.NoError(b, err)
		was, err := shown.Shown()
		require.NoError(b, err)
		t := Frame{Width: width, Height: res.Height, Box: [4]int{0, 0, width, res.Height}, RGBA: pic.Pix}
		own := 255 * res.Achieved.RMS
		live := math.Sqrt(page.apart(&t) - own*own)
		page = canvas{rgba: was.Pix, size: [2]int{width, res.Height}}
		ratios = append(ratios, live/math.Sqrt(page.apart(&t)-own*own))
		b.Logf("%d samples plain; errors live %.2f, ratio %.3f", plain.Samples(), live, ratios[len(ratios)-1])
	}
	b.ReportMetric(middle(ratios), "error-ratio")
}
