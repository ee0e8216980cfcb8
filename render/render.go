package render

import (
	"context"
	"math"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/pathtrace"
	"catchlight/render/sampler"
	"catchlight/render/view"
	"catchlight/scene"
)

// Stats says what a render did and what it cost.
type Stats struct {
	pathtrace.Stats
	Width            int     `json:"width"`
	Height           int     `json:"height"`
	SPP              int     `json:"spp"`
	Seed             int     `json:"seed"`
	Workers          int     `json:"workers"`
	Kernel           string  `json:"kernel"`
	Seconds          float64 `json:"render_seconds"`
	SamplesPerSecond float64 `json:"samples_per_second"`
	HierarchyBytes   int64   `json:"hierarchy_bytes"`
	PeakBytes        int64   `json:"peak_bytes"`
	Dropped          uint64  `json:"dropped_non_finite_samples"`
	// Ledger is the mean luminance over the picture, W/(m^2 sr), by the class of path that brought it.
	Ledger   map[string]float64 `json:"ledger"`
	Warnings []string           `json:"warnings,omitempty"`
}

// Result is a picture, whole or partial.
type Result struct {
	Width, Height int
	SPP           int // samples that every pixel has
	Film          *film.Film
	Stats         Stats
	Warnings      []string

	d    *scene.Description
	view *view.View // nil where the result did not come from Render
}

// rounds returns the samples per pixel after each round: one at first, so that there soon is a whole picture, then
// as many as there are already, at most 16 more at a time.
func rounds(spp int) []int {
	var out []int
	for n := 0; n < spp; {
		n += min(max(n, 1), 16)
		n = min(n, spp)
		out = append(out, n)
	}
	return out
}

// Render traces the scene. The picture's bits depend on the scene, the seed and the samples per pixel, not on the
// workers or the order of tiles. When ctx ends it stops after the tiles under way, but not before every pixel has a
// sample, and returns what there is together with the context's error.
func (p *Prepared) Render(ctx context.Context, o Options) (*Result, error) {
	start := time.Now()
	d := p.Description
	w, h, spp := d.Film.Width, d.Film.Height, d.Film.SPP
	f, err := film.New(film.Config{Width: w, Height: h, SPP: spp})
	if err != nil {
		return nil, err
	}
	o.phase("rendering")
	workers := o.workers()
	type bench struct {
		t    *pathtrace.Tracer
		s    film.Sample
		pick sampler.Sampler
	}
	benches := make([]bench, workers)
	for i := range benches {
		benches[i] = bench{pathtrace.New(p.Scene, uint64(d.Film.Seed)), f.Sample(), sampler.New(uint64(d.Film.Seed))}
	}
	total := int64(f.Tiles()) * int64(spp)
	var done atomic.Int64
	var progress sync.Mutex
	res := &Result{Width: w, Height: h, Film: f, d: d, view: p.view}
	from := 0
	var stop error
	for _, to := range rounds(spp) {
		var next atomic.Int64
		var cut atomic.Bool
		var wg sync.WaitGroup
		for i := range benches {
			wg.Add(1)
			go func(b *bench) {
				defer wg.Done()
				for {
					if from > 0 && ctx.Err() != nil {
						cut.Store(true)
						return
					}
					tile := int(next.Add(1)) - 1
					if tile >= f.Tiles() {
						return
					}
					p.tile(b.t, &b.s, &b.pick, f, tile, from, to)
					n := done.Add(int64(to - from))
					if o.Progress != nil {
						progress.Lock()
						o.Progress.Advance(n, total)
						progress.Unlock()
					}
				}
			}(&benches[i])
		}
		wg.Wait()
		if !cut.Load() {
			res.SPP = to
		}
		from = to
		if stop = ctx.Err(); stop != nil {
			break
		}
	}
	if res.SPP == spp {
		stop = nil
	}
	for i := range benches {
		res.Stats.Stats = res.Stats.Stats.Plus(benches[i].t.Stats)
	}
	s := &res.Stats
	s.Ledger = map[string]float64{}
	for c, name := range pathtrace.ClassNames {
		sum := 0.0
		for i := range benches {
			sum += benches[i].t.Ledger[c]
		}
		s.Ledger[name] = sum / math.Max(1, float64(s.Samples))
	}
	s.Width, s.Height, s.SPP, s.Seed, s.Workers, s.Kernel = w, h, res.SPP, d.Film.Seed, workers, accel.Kernel()
	s.Seconds = time.Since(start).Seconds()
	s.SamplesPerSecond = float64(s.Samples) / math.Max(s.Seconds, 1e-9)
	s.HierarchyBytes = p.Bytes
	s.PeakBytes = peakMemory()
	s.Dropped = f.Develop().Dropped
	res.Warnings = append(res.Warnings, p.Warnings...)
	if s.WalkLeaks > 0 {
		res.Warnings = append(res.Warnings, strconv.FormatInt(s.WalkLeaks, 10)+" rays or walks met a shell from the wrong side")
	}
	if s.CutPaths > 0 {
		res.Warnings = append(res.Warnings, strconv.FormatInt(s.CutPaths, 10)+" paths were cut at trace.max_depth")
	}
	if s.Dropped > 0 {
		res.Warnings = append(res.Warnings, strconv.FormatUint(s.Dropped, 10)+" samples were not finite and are left out")
	}
	s.Warnings = res.Warnings
	return res, stop
}

// tile adds samples from..to-1 of every pixel of a tile.
func (p *Prepared) tile(t *pathtrace.Tracer, s *film.Sample, pick *sampler.Sampler, f *film.Film, tile, from, to int) {
	w, _ := f.Size()
	x0, y0, x1, y1 := f.Tile(tile)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			pixel := y*w + x
			for i := from; i < to; i++ {
				replicate, index := f.Place(i)
				pick.Start(uint64(pixel), replicate, index)
				dx, dy := p.Filter.Sample(pick.D2(0, sampler.Pixel, 0))
				s.Begin(pixel, replicate)
				t.Sample(uint64(pixel), replicate, index, float64(x)+0.5+dx, float64(y)+0.5+dy, s)
				s.End()
			}
		}
	}
}

// peakMemory returns the process's largest resident size in bytes where the system tells, else what the Go runtime
// has taken from it.
func peakMemory() int64 {
	if data, err := os.ReadFile("/proc/self/status"); err == nil {
		for _, line := range strings.Split(string(data), "\n") {
			if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
				if kb, err := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(rest), " kB"), 10, 64); err == nil {
					return kb << 10
				}
			}
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.Sys)
}
