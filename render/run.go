package render

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/pathtrace"
	"catchlight/render/sampler"
	"catchlight/scene/parallel"
)

// Run is a render under way, a round at a time. It owns the film and the tracers, so nothing is traced twice. Its methods are
// not for several goroutines at once.
type Run struct {
	p       *Prepared
	o       Options
	f       *film.Film
	team    []worker
	rounds  []int  // samples per pixel after each round
	done    []int  // [tile]: samples begun, counted over all replicates
	stopped []bool // [tile]: its error is small enough

	ready atomic.Int64 // samples that are done, over all tiles
	spent time.Duration
	cpu   float64 // seconds of all processors

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

// Begin takes up the film where it was left (Options.Keep), or starts one, and traces nothing yet.
func (p *Prepared) Begin(o Options) (*Run, error) {
	r := &Run{p: p, o: o, start: time.Now()}
	if err := r.open(); err != nil {
		return nil, err
	}
	d := p.Description
	r.team = make([]worker, o.workers())
	for i := range r.team {
		r.team[i] = worker{pathtrace.New(p.Scene, uint64(d.Picture.Seed)), r.f.Sample(), sampler.New(uint64(d.Picture.Seed))}
	}
	for _, n := range r.done {
		r.ready.Add(int64(min(n, d.Picture.Samples)))
	}
	r.rounds = rounds(d.Picture.Samples, mostRound)
	if c := p.filmConfig(o); c.Bytes() > o.resident() && d.Picture.Error == 0 {
		r.rounds = rounds(d.Picture.Samples, mostSpilled)
	}
	return r, nil
}

// A round adds at most mostRound samples to each pixel; mostSpilled where the film is not in memory as a whole and each
// round reads and writes all of it. No bit depends on the rounds.
const (
	mostRound   = 16
	mostSpilled = 256
)

// rounds returns the samples per pixel after each round: one at first, so that there soon is a whole picture, then
// as many as there are already, at most some more at a time. Every number after which a tile may stop is there.
func rounds(spp, most int) []int {
	var out []int
	for n := 0; n < spp; {
		step := min(max(n, 1), most)
		if most > mostRound && n > 0 {
			step = most
		}
		n = min(n+step, spp)
		out = append(out, n)
	}
	return out
}

// Film returns the film, at rest between steps.
func (r *Run) Film() *film.Film { return r.f }

// Samples returns how many samples every pixel has.
func (r *Run) Samples() int {
	if d := r.p.Description; d.Picture.Error > 0 && r.Finished() {
		return slices.Max(r.done)
	}
	return slices.Min(r.done)
}

// Finished reports whether every pixel has what was asked for.
func (r *Run) Finished() bool {
	for t, n := range r.done {
		if n < r.p.Description.Picture.Samples && !r.stopped[t] {
			return false
		}
	}
	return true
}

// Step traces one round: after it every pixel has a sample, or twice as many as before, at most 16 more (see Options.FilmBytes).
// When ctx ends it stops after the tiles under way and returns the context's error; the next Step goes on with the tiles
// that are left.
func (r *Run) Step(ctx context.Context) error {
	least := math.MaxInt
	for t, n := range r.done {
		if !r.stopped[t] {
			least = min(least, n)
		}
	}
	i := slices.IndexFunc(r.rounds, func(n int) bool { return n > least })
	if i < 0 {
		return nil
	}
	return r.trace(ctx, r.rounds[i], nil)
}

// In brings the tiles that meet x0 <= x < x1, y0 <= y < y1 to that many samples, and leaves the others as they are. It stops as Step does.
func (r *Run) In(ctx context.Context, samples, x0, y0, x1, y1 int) error {
	tiles := []int{}
	for t := range r.done {
		if u0, v0, u1, v1 := r.f.Tile(t); u0 < x1 && u1 > x0 && v0 < y1 && v1 > y0 {
			tiles = append(tiles, t)
		}
	}
	return r.trace(ctx, min(samples, r.p.Description.Picture.Samples), tiles)
}

// To is Step until every pixel has that many samples, but no more than the scene asks for.
func (r *Run) To(ctx context.Context, samples int) error {
	for _, n := range r.rounds {
		if err := r.trace(ctx, min(n, samples), nil); err != nil {
			return err
		}
		if n >= samples {
			break
		}
	}
	return nil
}

// trace brings tiles that go on, nil for all, to that many samples.
func (r *Run) trace(ctx context.Context, samples int, tiles []int) error {
	began, cpu := time.Now(), cpuSeconds()
	defer func() { r.spent, r.cpu = r.spent+time.Since(began), r.cpu+cpuSeconds()-cpu }()
	if r.saved.Load() == 0 {
		r.saved.Store(int64(time.Since(r.start)))
	}
	var seat atomic.Int64
	var cut atomic.Bool
	own := func() *worker { return &r.team[seat.Add(1)-1] }
	count := len(tiles)
	if tiles == nil {
		count = r.f.Tiles()
	}
	parallel.With(count, len(r.team), own, func(b *worker, tile int) {
		if tiles != nil {
			tile = tiles[tile]
		}
		if cut.Load() || ctx.Err() != nil {
			cut.Store(true)
			return
		}
		r.round(b, tile, samples)
		if r.f.Err() != nil {
			cut.Store(true)
		}
	})
	if err := r.f.Err(); err != nil {
		return err
	}
	if cut.Load() {
		return ctx.Err()
	}
	return nil
}

// due says whether it is time to save.
func (r *Run) due() bool {
	return r.o.Keep != nil && r.o.Keep.due(r.start.Add(time.Duration(r.saved.Load())))
}

// round brings a tile to that many samples, unless its error is small enough, and saves the film when it is time.
func (r *Run) round(b *worker, tile, to int) {
	d, o := r.p.Description, r.o
	from, spp := r.done[tile], d.Picture.Samples
	if from >= to || r.stopped[tile] {
		return
	}
	if d.Picture.Error > 0 && barrier(from) && ownError(r.f, r.p.View, tile) <= d.Picture.Error {
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

// filmConfig is the shape of the film.
func (p *Prepared) filmConfig(o Options) film.Config {
	d := p.Description
	c := film.Config{Width: d.Picture.Width, Height: d.Picture.Height, SPP: max(d.Picture.Samples, film.Replicates), Layers: layers(d), Passes: p.filmPasses(), OneNet: true,
		Splat:    p.splat(),
		Resident: o.FilmBytes, Scratch: o.Scratch}
	if o.Keep != nil {
		c.Record = o.Keep.Record
	}
	if o.Apart {
		_, more := p.lightLayers()
		c.Layers, c.SPP = append(c.Layers, more...), min(c.SPP, liveReplicates)
	}
	return c
}

// splat is the filter by which pixels share samples, nil where they don't.
func (p *Prepared) splat() *film.Filter {
	if p.Description.Picture.Sharing == "none" {
		return nil
	}
	f := p.Filter
	return &f
}

// open takes up the film where it was left, or starts one.
func (r *Run) open() error {
	d, o := r.p.Description, r.o
	if o.Shard.Count > 1 && d.Picture.Error > 0 {
		return errors.New("picture.error: a part of the samples can't tell the whole's error; split such a render by frames or cells")
	}
	var err error
	if o.Keep != nil {
		if r.f, err = o.Keep.load(d.Picture.Width, d.Picture.Height, o.FilmBytes); err != nil {
			return err
		}
	}
	if r.f == nil {
		if r.f, err = film.New(r.p.filmConfig(o)); err != nil {
			return err
		}
	} else if n := r.f.Damaged(); n > 0 {
		o.note(fmt.Sprintf("%s: %d of its blocks were cut off while they were written; what they add is traced again", o.Keep.Path, n))
	}
	f := r.f
	r.done, r.stopped = make([]int, f.Tiles()), make([]bool, f.Tiles())
	for t := range r.done {
		if !f.Has(t) {
			continue
		}
		h := f.Hold(t)
		n := h.Started(0)
		for y := h.Y0; y < h.Y1; y++ {
			for x := h.X0; x < h.X1; x++ {
				if m := h.Started(h.At(x, y)); m != n {
					h.Release()
					return fmt.Errorf("%s: pixel %d,%d has %d samples and its tile %d; this render can't have left it so", o.Keep.Path, x, y, m, n)
				}
			}
		}
		h.Release()
		for i := 0; n > 0; i++ {
			if k, _ := f.Place(i); o.Shard.has(t, int(k), f.Tiles()) {
				n--
			}
			r.done[t] = i + 1
		}
	}
	return f.Err()
}

// tile adds samples from..to-1 of every pixel of a tile, as far as their replicates are this run's.
func (r *Run) tile(b *worker, tile, from, to int) {
	var taken [film.Replicates]bool
	any := false
	for k := range taken {
		taken[k] = r.o.Shard.has(tile, k, r.f.Tiles())
		any = any || taken[k]
	}
	if !any {
		return
	}
	if r.f.Shared() {
		r.splat(b, tile, from, to, &taken)
		return
	}
	w, _ := r.f.Size()
	x0, y0, x1, y1 := r.f.Tile(tile)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			pixel := y*w + x
			for i := from; i < to; i++ {
				replicate, index, sum := r.place(i)
				if !taken[sum] {
					continue
				}
				b.pick.Start(uint64(pixel), replicate, index)
				dx, dy := r.p.Filter.Sample(b.pick.D2(0, sampler.Pixel, 0))
				b.s.Begin(pixel, sum)
				b.t.Sample(uint64(pixel), replicate, index, float64(x)+0.5+dx, float64(y)+0.5+dy, &b.s)
				b.s.End()
			}
		}
	}
	b.s.Release()
}

// place says which sample of which replicate the i-th of a pixel is, and to which of the film's sums it goes: that of its replicate, but
// where lights are kept apart the samples of any film go into fewer sums.
func (r *Run) place(i int) (replicate, index, sum uint32) {
	replicate, index = r.f.Place(i)
	if !r.o.Apart {
		return replicate, index, replicate
	}
	k := uint32(min(film.Replicates, r.p.Description.Picture.Samples))
	replicate, index = uint32(i)%k, uint32(i)/k
	return replicate, index, replicate % liveReplicates
}

// everyPixel names all pixels at once, where they have the same places for their samples.
const everyPixel = 1 << 63

// splat is tile where pixels share samples: of one of each replicate at a time, so that in each replicate all pixels have an index before the next
// one begins, however the samples are split into rounds.
func (r *Run) splat(b *worker, tile, from, to int, taken *[film.Replicates]bool) {
	w, h := r.f.Size()
	x0, y0, x1, y1 := r.f.Sources(tile)
	reach := r.p.Filter.Reach()
	var spreads [film.Replicates]*film.Spread
	sums := film.Replicates
	if r.o.Apart {
		sums = liveReplicates
	}
	for i := from; i < to; {
		end := i
		for ; end < to && (end == i || end%sums > 0); end++ {
			if k, index, sum := r.place(end); taken[sum] {
				b.pick.Start(everyPixel, k, index)
				spreads[sum] = r.p.Filter.Spread(b.pick.D2(0, sampler.Pixel, 0))
				b.s.Turn(tile, sum, spreads[sum])
			}
		}
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				pixel := y*w + x
				if x < 0 || x >= w || y < 0 || y >= h { // beyond the picture
					pixel = w*h + (y+reach)*(w+2*reach) + x + reach
				}
				for j := i; j < end; j++ {
					k, index, sum := r.place(j)
					if !taken[sum] {
						continue
					}
					s := spreads[sum]
					b.s.BeginAt(x, y, sum, s)
					b.t.Sample(uint64(pixel), k, index, float64(x)+0.5+s.DX, float64(y)+0.5+s.DY, &b.s)
					b.s.End()
				}
			}
		}
		i = end
	}
	b.s.Release()
}

// Result is the picture as it is now. It reads the film when it is asked for pixels, so it changes with the next Step. With
// picture.denoise it takes the grain out.
func (r *Run) Result() (*Result, error) {
	p, f, d := r.p, r.f, r.p.Description
	w, h := f.Size()
	res := &Result{Width: w, Height: h, SPP: r.Samples(), Film: f, Finished: r.Finished(), d: d, p: p, view: p.View}
	s := &res.Stats
	s.Width, s.Height, s.SPP, s.Seed, s.Workers, s.Kernel = w, h, res.SPP, d.Picture.Seed, len(r.team), accel.Kernel()
	s.Seconds, s.CPUSeconds = r.spent.Seconds(), r.cpu
	s.add(r.team)
	p.lost(r.team, s)
	s.HierarchyBytes, s.Triangles, s.Stages = p.Bytes, p.Triangles, p.Stages
	s.BytesPerTriangle = float64(p.Bytes) / math.Max(1, float64(p.Triangles))
	s.Outliers, s.Dropped = f.Outliers()
	res.Achieved = achieved(f, d, p.View)
	s.Error = res.Achieved
	s.PeakBytes = peakMemory()
	res.Warnings = append(res.Warnings, p.Warnings...)
	res.warn(res.Finished, d.Picture.Samples)
	s.Warnings = res.Warnings
	err := f.Err()
	if d.Picture.Denoise && err == nil {
		r.o.phase("denoising")
		if res.clean, s.Denoised, err = p.clean(f, r.o); err != nil {
			res.Finished = false
		}
	}
	return res, err
}
