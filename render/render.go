package render

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"slices"
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
	"catchlight/scene/parallel"
)

// Stats says what a render did and what it cost.
type Stats struct {
	pathtrace.Stats
	Width            int     `json:"width"`
	Height           int     `json:"height"`
	SPP              int     `json:"samples"`
	Seed             int     `json:"seed"`
	Workers          int     `json:"workers"`
	Kernel           string  `json:"kernel"`
	Seconds          float64 `json:"render_seconds"`
	BakeSeconds      float64 `json:"bake_seconds,omitempty"` // raster look: maps, prefilter and tables, before the frame
	SamplesPerSecond float64 `json:"samples_per_second"`
	HierarchyBytes   int64   `json:"hierarchy_bytes"`
	Triangles        int64   `json:"triangles"`
	BytesPerTriangle float64 `json:"hierarchy_bytes_per_triangle"`
	Rays             int64   `json:"rays_cast"`    // into hierarchies, of all kinds
	CPUSeconds       float64 `json:"cpu_seconds"`  // processor time of the process while it traced; 0 where the system does not tell
	KernelShare      float64 `json:"kernel_share"` // of that time (else of the workers'), an estimate from one ray in 1021
	PeakBytes        int64   `json:"peak_bytes"`
	Dropped          uint64  `json:"dropped_non_finite_samples"`
	// Error is what the picture achieved; Outliers tells how much of it rests on rare bright samples, all of which stay.
	Error    Achieved      `json:"error"`
	Outliers film.Outliers `json:"outliers"`
	// Ledger is the mean luminance over the picture, W/(m^2 sr), by the class of path that brought it.
	Ledger map[string]float64 `json:"ledger"`
	// Bent is the mean luminance over the picture of what came straight from a light through a cornea, summed over the
	// lights that the solver connects. NotFound is the share of it that the solver does not find. Of wide lights that share
	// comes by chance: nothing is lost, but it is as noisy as without the solver. A small light chance may never meet, so
	// there the picture is darker by the share, which a lattice of rays thrown forward from the light tells (Missed).
	// NotFoundMost is what it is at most by that lattice, about 95 times of 100.
	Bent         float64  `json:"light_through_cornea"`
	NotFound     float64  `json:"energy_not_found"`
	NotFoundMost float64  `json:"energy_not_found_at_most"`
	Missed       []Missed `json:"small_lights_through_cornea,omitempty"`
	// Lost is the share of what the camera's rays carry (of its luminance) that ended at a shell met from the wrong side: as much
	// light as that is missing under an even sky.
	Lost     float64   `json:"lost_share"`
	Denoised *Denoised `json:"denoised,omitempty"`
	Stages   []Stage   `json:"stages,omitempty"` // of preparation, in order: made, or taken from memory or disk, and in what time
	Warnings []string  `json:"warnings,omitempty"`
}

// mostLost is how large Stats.Lost may be without a word: a hundredth of what an 8-bit picture can show.
const mostLost = 4e-5

// Result is a picture, whole or partial.
type Result struct {
	Width, Height int
	SPP           int // samples that every pixel has; with picture.error, once it is finished, the most that one has
	Film          *film.Film
	Stats         Stats
	Warnings      []string
	Achieved      Achieved
	Look          string // "raster"; empty for traced
	Finished      bool   // every pixel has what was asked for

	d      *scene.Description
	view   *view.View    // nil where the result did not come from Render
	errors []float64     // of the display signal, each pixel's pooled over its window
	clean  *cleanPicture // nil without picture.denoise
}

// rounds returns the samples per pixel after each round: one at first, so that there soon is a whole picture, then
// as many as there are already, at most 16 more at a time. Every number after which a tile may stop is there.
func rounds(spp int) []int {
	var out []int
	for n := 0; n < spp; {
		step := min(max(n, 1), 16)
		n = min(n+step, spp)
		out = append(out, n)
	}
	return out
}

// run is one Render under way.
type run struct {
	p       *Prepared
	o       Options
	f       *film.Film
	taken   [film.Replicates]bool // replicates that this run renders
	done    []int                 // [tile]: samples begun, counted over all replicates
	stopped []bool                // [tile]: its error is small enough
	whole   bool                  // every pixel has a sample
	ready   atomic.Int64          // samples that are done, over all tiles

	progress sync.Mutex
	rest     sync.RWMutex // workers hold it for reading while they write to the film
	start    time.Time
	saved    atomic.Int64 // ns from the start to the last save
}

// worker is what one worker has for itself.
type worker struct {
	t    *pathtrace.Tracer
	s    film.Sample
	pick sampler.Sampler
}

// Render traces the scene. The picture's bits depend on the scene, the seed and the samples per pixel (and, with
// picture.error, on the tiles' own errors), not on the workers, the order of tiles, or how often it was stopped and went
// on. When ctx ends it stops after the tiles under way, but not before every pixel has a sample, and returns what there
// is together with the context's error.
func (p *Prepared) Render(ctx context.Context, o Options) (*Result, error) {
	start, cpu := time.Now(), cpuSeconds()
	d := p.Description
	w, h, spp := d.Picture.Width, d.Picture.Height, d.Picture.Samples
	r := &run{p: p, o: o, start: start}
	if err := r.open(); err != nil {
		return nil, err
	}
	f := r.f
	o.phase("rendering")
	workers := o.workers()
	team := make([]worker, workers)
	for i := range team {
		team[i] = worker{pathtrace.New(p.Scene, uint64(d.Picture.Seed)), f.Sample(), sampler.New(uint64(d.Picture.Seed))}
	}
	r.whole = slices.Min(r.done) > 0
	finished := r.trace(ctx, team)
	stop := ctx.Err()
	if finished {
		stop = nil
	}
	var failed error
	if o.Keep != nil && (o.Keep.Final || !finished) {
		failed = o.Keep.save(f)
	}
	res := &Result{Width: w, Height: h, Film: f, Finished: finished, d: d, view: p.View}
	for _, n := range r.done {
		if res.SPP == 0 || n < res.SPP {
			res.SPP = n
		}
	}
	if r.stopped != nil && d.Picture.Error > 0 && finished {
		res.SPP = slices.Max(r.done)
	}
	s := &res.Stats
	s.Width, s.Height, s.SPP, s.Seed, s.Workers, s.Kernel = w, h, res.SPP, d.Picture.Seed, workers, accel.Kernel()
	s.Seconds, s.CPUSeconds = time.Since(start).Seconds(), cpuSeconds()-cpu
	s.add(team)
	p.lost(team, s)
	s.HierarchyBytes, s.Triangles, s.Stages = p.Bytes, p.Triangles, p.Stages
	s.BytesPerTriangle = float64(p.Bytes) / math.Max(1, float64(p.Triangles))
	s.PeakBytes = peakMemory()
	for i := range w * h {
		s.Dropped += uint64(f.Dropped(i))
	}
	s.Outliers = f.Outliers()
	res.Achieved, res.errors = achieved(f, d, p.View)
	s.Error = res.Achieved
	res.Warnings = append(res.Warnings, p.Warnings...)
	res.warn(finished, spp)
	s.Warnings = res.Warnings
	if d.Picture.Denoise {
		o.phase("denoising")
		var err error
		if res.clean, res.Stats.Denoised, err = p.clean(f, o); err != nil {
			failed, res.Finished = errors.Join(failed, err), false
		}
	}
	return res, errors.Join(failed, stop)
}

// trace renders in rounds until every tile has its samples or ctx ends; finished says which.
func (r *run) trace(ctx context.Context, team []worker) (finished bool) {
	d := r.p.Description
	for _, n := range r.done {
		r.ready.Add(int64(min(n, d.Picture.Samples)))
	}
	r.saved.Store(int64(time.Since(r.start)))
	rs := rounds(d.Picture.Samples)
	for k, to := range rs {
		var seat atomic.Int64
		var cut atomic.Bool
		own := func() *worker { return &team[seat.Add(1)-1] }
		parallel.With(r.f.Tiles(), len(team), own, func(b *worker, tile int) {
			if r.whole && ctx.Err() != nil {
				cut.Store(true)
				return
			}
			r.round(b, tile, to)
		})
		r.whole = true
		finished = k == len(rs)-1 && !cut.Load()
		if ctx.Err() != nil {
			break
		}
	}
	return finished
}

// due says whether it is time to save.
func (r *run) due() bool {
	return r.o.Keep != nil && r.o.Keep.due(r.start.Add(time.Duration(r.saved.Load())))
}

// round brings a tile to that many samples, unless its error is small enough, and saves the film when it is time.
func (r *run) round(b *worker, tile, to int) {
	d, o := r.p.Description, r.o
	from, spp := r.done[tile], d.Picture.Samples
	if from >= to || r.stopped[tile] {
		return
	}
	if d.Picture.Error > 0 && barrier(from) && displayError(r.f, r.p.View, tile, nil) <= d.Picture.Error {
		r.stopped[tile] = true
		r.ready.Add(int64(spp - from))
		return
	}
	r.rest.RLock()
	r.tile(b, tile, from, to)
	r.done[tile] = to
	r.rest.RUnlock()
	n := r.ready.Add(int64(to - from))
	if o.Progress != nil {
		r.progress.Lock()
		o.Progress.Advance(n, int64(r.f.Tiles())*int64(spp))
		r.progress.Unlock()
	}
	if r.due() {
		r.rest.Lock()
		if r.due() {
			if err := o.Keep.save(r.f); err != nil {
				r.progress.Lock()
				o.note(fmt.Sprintf("%v; the render goes on, and tries again in %v", err, o.Keep.Every))
				r.progress.Unlock()
			}
			r.saved.Store(int64(time.Since(r.start)))
		}
		r.rest.Unlock()
	}
}

// add sums up what the team counted; Seconds and Workers are set.
func (s *Stats) add(team []worker) {
	for i := range team {
		s.Stats = s.Stats.Plus(team[i].t.Stats)
	}
	s.Ledger = map[string]float64{}
	for c, name := range pathtrace.ClassNames {
		sum := 0.0
		for i := range team {
			sum += team[i].t.Ledger[c]
		}
		s.Ledger[name] = sum / math.Max(1, float64(s.Samples))
	}
	for i := range team {
		s.Lost += team[i].t.Lost / math.Max(1, float64(s.Samples))
	}
	s.SamplesPerSecond = float64(s.Samples) / math.Max(s.Seconds, 1e-9)
	var within float64
	for i := range team {
		rays, seconds := team[i].t.Spent()
		s.Rays, within = s.Rays+rays, within+seconds
	}
	s.KernelShare = s.shareOf(within)
}

// shareOf returns what part of the processor's work so many seconds are. Where that is not known the workers' time stands in, in
// which a worker that waits for a core seems to work.
func (s *Stats) shareOf(seconds float64) float64 {
	return seconds / max(1e-9, cmp.Or(s.CPUSeconds, s.Seconds*float64(s.Workers)))
}

// warn adds what the counts give reason to say.
func (r *Result) warn(finished bool, spp int) {
	s := &r.Stats
	if s.Lost > mostLost {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%d rays or walks met a shell from the wrong side and ended: %.2g %% of the light is missing", s.WalkLeaks, 100*s.Lost))
	}
	if s.CutPaths > 0 {
		r.Warnings = append(r.Warnings, strconv.FormatInt(s.CutPaths, 10)+" paths were cut at advanced.max_depth")
	}
	if s.Dropped > 0 {
		r.Warnings = append(r.Warnings, strconv.FormatUint(s.Dropped, 10)+" samples were not finite and are left out")
	}
	if a := r.Achieved; finished && a.ShareOver > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%.2f %% of the pixels are still above the target error at %d samples; raise picture.samples", 100*a.ShareOver, spp))
	}
}

// open takes up the film where it was left, or starts one.
func (r *run) open() error {
	d, o := r.p.Description, r.o
	for i := range r.taken {
		r.taken[i] = o.Shard.has(i)
	}
	if o.Shard.Count > 1 && d.Picture.Error > 0 {
		return errors.New("picture.error: a part of the samples can't tell the whole's error; split such a render by frames or cells")
	}
	var err error
	if o.Keep != nil {
		if r.f, err = o.Keep.load(d.Picture.Width, d.Picture.Height); err != nil {
			return err
		}
	}
	if r.f == nil {
		c := film.Config{Width: d.Picture.Width, Height: d.Picture.Height, SPP: max(d.Picture.Samples, film.Replicates), Layers: layers(d), OneNet: true}
		if o.Keep != nil {
			c.Record = o.Keep.Record
		}
		if r.f, err = film.New(c); err != nil {
			return err
		}
	}
	f := r.f
	r.done, r.stopped = make([]int, f.Tiles()), make([]bool, f.Tiles())
	for t := range r.done {
		x0, y0, x1, y1 := f.Tile(t)
		n := f.Started(y0*d.Picture.Width + x0)
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				if m := f.Started(y*d.Picture.Width + x); m != n {
					return fmt.Errorf("%s: pixel %d,%d has %d samples and its tile %d; this render can't have left it so", o.Keep.Path, x, y, m, n)
				}
			}
		}
		for i := 0; n > 0; i++ {
			if k, _ := f.Place(i); r.taken[k] {
				n--
			}
			r.done[t] = i + 1
		}
	}
	return nil
}

// tile adds samples from..to-1 of every pixel of a tile, as far as their replicates are this run's.
func (r *run) tile(b *worker, tile, from, to int) {
	w, _ := r.f.Size()
	x0, y0, x1, y1 := r.f.Tile(tile)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			pixel := y*w + x
			for i := from; i < to; i++ {
				replicate, index := r.f.Place(i)
				if !r.taken[replicate] {
					continue
				}
				b.pick.Start(uint64(pixel), replicate, index)
				dx, dy := r.p.Filter.Sample(b.pick.D2(0, sampler.Pixel, 0))
				b.s.Begin(pixel, replicate)
				b.t.Sample(uint64(pixel), replicate, index, float64(x)+0.5+dx, float64(y)+0.5+dy, &b.s)
				b.s.End()
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
