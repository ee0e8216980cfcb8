package render

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"strconv"
	"strings"

	"catchlight/render/film"
	"catchlight/render/pathtrace"
	"catchlight/render/view"
	"catchlight/scene"
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

	d     *scene.Description
	p     *Prepared     // nil where the result did not come from Render
	view  *view.View    // nil where the result did not come from Render
	clean *cleanPicture // nil without picture.denoise
}

// Render traces the scene. The picture's bits depend on the scene, the seed and the samples per pixel (and, with
// picture.error, on the tiles' own errors), not on the workers, the order of tiles, or how often it was stopped and went
// on. When ctx ends it stops after the tiles under way, but not before every pixel has a sample, and returns what there
// is together with the context's error. A film that is too large for memory stays in its file until its Close.
func (p *Prepared) Render(ctx context.Context, o Options) (*Result, error) {
	r, err := p.Begin(o)
	if err != nil {
		return nil, err
	}
	o.phase("rendering")
	for !r.Finished() {
		c := ctx
		if r.Samples() == 0 {
			c = context.WithoutCancel(ctx)
		}
		if err := r.Step(c); err != nil && ctx.Err() == nil {
			return nil, err
		}
		if ctx.Err() != nil {
			break
		}
	}
	var stop, failed error
	if !r.Finished() {
		stop = ctx.Err()
	}
	if o.Keep != nil && (o.Keep.Final || !r.Finished()) {
		failed = o.Keep.save(r.f)
	}
	failed = errors.Join(failed, r.f.Detach())
	res, err := r.Result()
	return res, errors.Join(failed, err, stop)
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
