package live

import (
	"context"
	"time"

	"catchlight/render"
	"catchlight/scene"
)

// state is a prepared scene.
type state struct {
	d       *scene.Description // as asked for
	p       *render.Prepared
	smaller bool // than the maps that the scene asks for
}

// worker is what the engine's goroutine has for itself.
type worker struct {
	e    *Engine
	pace pace
	pass int
	now  *state
}

// show makes the pictures of a request until its context ends.
func (w *worker) show(ctx context.Context, r *request) error {
	w.pass = 0
	s, err := w.prepare(ctx, r)
	if err != nil {
		return err
	}
	w.now = s
	w.e.shown.Store(s)
	return w.trace(ctx, r, s)
}

// prepare makes the scene of a request, with live settings.
func (w *worker) prepare(ctx context.Context, r *request) (*state, error) {
	d := *r.d
	d.Picture.Error, d.Picture.Passes = 0, scene.Passes{}
	p, err := render.Prepare(ctx, &d, w.e.o)
	if err != nil {
		return nil, err
	}
	return &state{d: r.d, p: p}, nil
}

// trace goes through the sizes of the plan, and at the last of them through the samples.
func (w *worker) trace(ctx context.Context, r *request, s *state) error {
	pic := &s.p.Description.Picture
	aspect := float64(pic.Width) * float64(pic.Height) / float64(max(pic.Width, pic.Height)*max(pic.Width, pic.Height))
	sizes := w.pace.sizes(&r.v, aspect)
	for i, size := range sizes {
		p, err := s.p.Sized(size)
		if err != nil {
			return err
		}
		o := w.e.o
		o.Apart = true
		run, err := p.Begin(o)
		if err != nil {
			return err
		}
		spp := p.Description.Picture.Samples
		if i < len(sizes)-1 {
			spp = 1
		}
		if err := w.refine(ctx, r, s, p, run, spp); err != nil {
			return err
		}
	}
	return nil
}

// refine shows a run at 1, 2, 4 and more samples.
func (w *worker) refine(ctx context.Context, r *request, s *state, p *render.Prepared, run *render.Run, spp int) error {
	for n := next(0, spp); ; n = next(n, spp) {
		began, before := time.Now(), run.Samples()
		if err := run.To(ctx, n); err != nil {
			return err
		}
		width, height := run.Film().Size()
		w.pace.took(time.Since(began).Seconds()/float64(n-before), width*height)
		f, err := w.develop(r, s, p, run)
		if err != nil {
			return err
		}
		w.e.queue.push(f)
		if n == spp {
			return nil
		}
	}
}
