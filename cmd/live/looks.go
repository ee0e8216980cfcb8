package live

import (
	"context"
	"errors"
	"fmt"

	"catchlight/render"
	"catchlight/render/diagram"
	"catchlight/render/view"
	"catchlight/scene"
)

// Sizes of the raster look and of maps shown alone, longer side in pixels: while something is dragged, and at first.
const (
	rasterFirst = 128
	aloneFirst  = 128
)

// drawing is the raster look on its way, beside the tracer.
type drawing struct {
	of   string // what it is of
	stop context.CancelFunc
	done chan struct{}
	err  error // once it is done
	sent bool  // a picture of it, once it is done
}

// raster starts to draw the raster look of a state of the scene, where it is wanted and not there yet: small at first, and that alone while
// something is dragged.
func (w *worker) raster(ctx context.Context, r *request, of string) error {
	sizes := []int{min(rasterFirst, r.v.wanted()), r.v.wanted()}
	if r.v.Drag || sizes[0] == sizes[1] {
		sizes = sizes[:1]
	}
	what := fmt.Sprint(of, sizes, w.state.rough())
	if err := w.drew(); err != nil {
		return err
	}
	if !r.v.Raster {
		return nil
	}
	if w.drawing != nil { // one at a time; await starts the next
		if w.drawing.of != what {
			w.drawing.stop()
		}
		return nil
	}
	if w.drawn == what {
		w.e.queue.push(Frame{Run: r.run, Look: Still})
		return nil
	}
	ctx, stop := context.WithCancel(ctx)
	job := &drawing{of: what, stop: stop, done: make(chan struct{})}
	w.drawing = job
	s, o := w.state, w.e.o
	go func() {
		defer close(job.done)
		defer stop()
		for _, size := range sizes {
			f, err := drawn(ctx, r, s, size, o)
			if err == nil {
				err = w.deliver(ctx, r, f)
				job.sent = job.sent || err == nil
			}
			if err != nil {
				job.err = err
				return
			}
		}
	}()
	return nil
}

// drew takes notice of a raster look that is done or given up, and returns what went wrong.
func (w *worker) drew() error {
	if w.drawing == nil {
		return nil
	}
	select {
	case <-w.drawing.done:
	default:
		return nil
	}
	job := w.drawing
	if w.drawing = nil; job.err == nil {
		w.drawn = job.of
	} else if job.sent {
		w.drawn = "" // what was drawn before is not what is shown
	}
	if errors.Is(job.err, context.Canceled) {
		return nil
	}
	return job.err
}

// drawn is the raster look of a state in the lights of a request.
func drawn(ctx context.Context, r *request, s *state, size int, o render.Options) (Frame, error) {
	q := *s.p.Description
	q.Lights, q.LightSetup, q.View, q.Raster = baked(r.d, r.gains).Lights, r.d.LightSetup, r.d.View, r.d.Raster
	o.Rough = s.held
	p, err := render.Prepare(ctx, &q, o)
	if err != nil {
		return Frame{}, err
	}
	if p, err = p.Sized(size); err != nil {
		return Frame{}, err
	}
	res, err := p.Raster(ctx, o)
	if err != nil {
		return Frame{}, err
	}
	pic, err := res.Shown()
	return Frame{Run: r.run, Look: Raster, Samples: 1, Width: res.Width, Height: res.Height, Box: [4]int{0, 0, res.Width, res.Height},
		RGBA: pic.Pix, Smaller: s.rough(), Enough: size == r.v.wanted()}, err
}

// deliver hands a frame on from beside the worker, unless something newer was asked for meanwhile.
func (w *worker) deliver(ctx context.Context, r *request, f Frame) error {
	w.e.mu.Lock()
	defer w.e.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	w.send(r, f)
	return nil
}

// alone draws a map or the zones by themselves, first small.
func (w *worker) alone(ctx context.Context, r *request, now *scene.Description) error {
	if w.state == nil || w.state.files != filesOf(now) || !alike(unlit(w.state.d), unlit(now)) {
		if err := w.prepare(ctx, now); err != nil {
			return err
		}
	}
	most := r.v.wanted()
	for _, size := range []int{min(aloneFirst, most), most} {
		p, err := w.state.p.Sized(size)
		if err != nil {
			return err
		}
		m, err := diagram.Draw(ctx, p.Scene, p.Description, diagram.Kind(r.v.Alone), w.e.o.Count())
		if err != nil {
			return err
		}
		f := Frame{Run: r.run, Look: Alone, Samples: 1, Width: m.W, Height: m.H, Box: [4]int{0, 0, m.W, m.H}, Smaller: w.state.rough(), Words: m.Words}
		for i, a := range m.Alpha {
			if a > 0 {
				m.Pix[i] = m.Pix[i].Scale(1 / a)
			}
		}
		rgb := make([]byte, 3*len(m.Pix))
		view.Bytes(rgb, m.Pix, uint64(r.d.Picture.Seed))
		f.RGBA = make([]byte, 4*len(m.Pix))
		for i, a := range m.Alpha {
			copy(f.RGBA[4*i:], rgb[3*i:3*i+3])
			f.RGBA[4*i+3] = byte(255*a + 0.5)
		}
		f.Enough = size == most
		w.send(r, f)
		if size == most {
			return nil
		}
	}
	return nil
}
