package live

import (
	"context"
	"errors"
	"time"

	"catchlight/scene"
	"catchlight/scene/colour"
)

// trace goes through the sizes of the plan, and at the last of them through the samples. now is the description with its gains.
func (w *worker) trace(ctx context.Context, r *request, now *scene.Description, gains map[string]colour.RGB) error {
	of := text(now)
	w.want = r.v.wanted()
	if w.pic != nil && w.pic.run.Samples() > 0 {
		if err := w.again(r, gains, of); err != nil {
			return err
		}
	}
	sizes := w.sizes(r, of)
	for i, size := range sizes {
		if w.pic == nil || w.pic.size != size {
			if err := w.begin(size); err != nil {
				return err
			}
		}
		spp := w.pic.s.p.Description.Picture.Samples
		if i < len(sizes)-1 {
			spp = 1
		}
		if err := w.refine(ctx, r, gains, of, spp); err != nil {
			return err
		}
	}
	return w.await(ctx, r, of)
}

// sizes are those of the pictures that are still to be made.
func (w *worker) sizes(r *request, of string) []int {
	most := r.v.wanted()
	if w.pic != nil && (r.v.Drag || w.pic.size >= most && w.pic.size <= 2*most) {
		return []int{w.pic.size} // a picture under way goes on
	}
	sizes := w.pace.sizes(&r.v, aspect(w.state))
	if w.canvas.of == of && !r.v.Drag {
		return sizes[len(sizes)-1:]
	}
	return sizes
}

// aspect is the film's area over that of a square on its longer side.
func aspect(s *state) float64 {
	p := &s.p.Description.Picture
	return float64(min(p.Width, p.Height)) / float64(max(p.Width, p.Height))
}

// begin starts a picture of the state at a size.
func (w *worker) begin(size int) error {
	p, err := w.state.p.Sized(size)
	if err != nil {
		return err
	}
	o := w.e.o
	o.Apart = true
	run, err := p.Begin(o)
	if err != nil {
		return err
	}
	w.pic = &picture{w.state, size, run}
	return nil
}

// again shows what is traced already in a new way.
func (w *worker) again(r *request, gains map[string]colour.RGB, of string) error {
	f, err := w.develop(r, w.pic, gains, w.wholeBox())
	if err != nil {
		return err
	}
	w.finish(&f)
	same := w.canvas.of == of && w.canvas.size == [2]int{f.Width, f.Height} && w.canvas.samples <= f.Samples
	w.push(r, f, of, same)
	return nil
}

func (w *worker) wholeBox() [4]int {
	width, height := w.pic.run.Film().Size()
	return [4]int{0, 0, width, height}
}

// enough is the error of a draft in levels.
const enough = 2.0

// finish says how far a frame of the whole picture is.
func (w *worker) finish(f *Frame) {
	f.Samples = w.pic.run.Samples()
	f.Enough = w.pic.size >= w.want && w.pic.run.Finished() || !f.Rough && f.Error <= enough
}

// cropBox is the part of the picture to refine first, on whole tiles; ok is false where that is all of it.
func (w *worker) cropBox(r *request, of string) (box [4]int, ok bool) {
	all := w.wholeBox()
	c := r.v.Crop
	if !(c[2] > c[0] && c[3] > c[1]) || r.v.Drag || glares(r) && w.low.of != of {
		return all, false
	}
	const tile = 16
	for k, side := range []int{all[2], all[3], all[2], all[3]} {
		v := c[k] * float64(side) / tile
		n := int(v)
		if k >= 2 && float64(n) < v {
			n++
		}
		box[k] = min(max(n*tile, 0), side)
	}
	return box, box != all && box[2] > box[0] && box[3] > box[1]
}

// cropSamples is how many samples a pixel the part to refine first gets before the rest.
const cropSamples = 16

// refine shows a picture at 1, 2, 4 and more samples: first the part that is looked at, then all.
func (w *worker) refine(ctx context.Context, r *request, gains map[string]colour.RGB, of string, spp int) error {
	if box, ok := w.cropBox(r, of); ok && spp > 1 {
		most := min(spp, cropSamples)
		for n := w.pic.run.Samples(); n < most; {
			from := n
			n = next(n, most)
			if err := w.step(ctx, r, from, n, box); err != nil {
				return err
			}
			f, err := w.develop(r, w.pic, gains, box)
			if err != nil {
				return err
			}
			f.Samples, f.Enough = n, !f.Rough && f.Error <= enough
			w.push(r, f, of, false)
		}
	}
	for n := w.pic.run.Samples(); n < spp; {
		from := n
		n = next(n, spp)
		err := w.step(ctx, r, from, n, w.wholeBox())
		for errors.Is(err, errLook) {
			if err = w.picture(ctx, r, gains, of); err == nil {
				err = w.step(ctx, r, from, n, w.wholeBox())
			}
		}
		if err == nil {
			err = w.picture(ctx, r, gains, of)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// picture shows the whole picture as it is now, and what goes with it.
func (w *worker) picture(ctx context.Context, r *request, gains map[string]colour.RGB, of string) error {
	began := time.Now()
	f, err := w.develop(r, w.pic, gains, w.wholeBox())
	if err != nil {
		return err
	}
	w.finish(&f)
	w.mark(&f)
	w.push(r, f, of, w.surer(&f))
	w.first = false
	w.looked, w.lookTook = time.Now(), time.Since(began)
	if !r.v.Drag && w.pic.size < r.v.wanted() {
		if glares(r) {
			if err := w.keepLow(of, gains); err != nil {
				return err
			}
		}
		if !w.state.smaller {
			w.refineState() // lids are soon there; large maps wait for the picture
		}
		return nil
	}
	if err := w.clean(r, gains, of, &f); err != nil {
		return err
	}
	if err := w.raster(ctx, r, of); err != nil {
		return err
	}
	if !r.v.Drag {
		w.refineState()
	}
	return nil
}

// mark adds where handles lie to the first frame of a state of the scene; where an eye's outlines are not known yet, to the second.
func (w *worker) mark(f *Frame) {
	if w.marked == w.state || w.first && !w.e.rings.known(w.state.p) {
		return
	}
	w.marked = w.state
	f.Marks = w.e.rings.marks(w.state.p)
}

// surer reports whether a frame is nearer to the truth than the canvas if it is of the same: more samples of the same picture or as many of a
// finer one, or all samples of the maps that the scene asks for. A finer picture has less grain at every scale that the coarser one has.
func (w *worker) surer(f *Frame) bool {
	mean := w.pic.run.MeanSamples()
	switch {
	case w.pic.run.Finished() && w.pic.size >= w.want && !f.Smaller:
		return true
	case w.canvas.rough != f.Smaller:
		return false
	case f.Width == w.canvas.size[0]:
		return mean > w.canvas.mean
	}
	return f.Width > w.canvas.size[0] && mean >= w.canvas.mean
}

// mostStep is how many samples a pixel are added between looks at what else is to be done: a tile of four takes about 10 ms.
const mostStep = 4

// errLook says that it is time to show what there is.
var errLook = errors.New("time to look")

// lookEvery is how often a picture under way is shown between its passes, once every pixel has a sample; showing it takes a tenth of the time at
// most.
const lookEvery = 250 * time.Millisecond

// step brings a box, which has from samples a pixel or more, to n of them.
func (w *worker) step(ctx context.Context, r *request, from, n int, box [4]int) error {
	for run := w.pic.run; from < n; {
		to := min(from+mostStep, n)
		began := time.Now()
		until, cancel := ctx, context.CancelFunc(func() {})
		if run.Samples() > 0 && !r.v.Drag && box == w.wholeBox() {
			until, cancel = context.WithDeadline(ctx, w.looked.Add(max(lookEvery, 10*w.lookTook)))
		}
		err := run.In(until, to, box[0], box[1], box[2], box[3])
		cancel()
		if err != nil {
			w.cleaning.traced += time.Since(began)
			if ctx.Err() == nil && errors.Is(err, context.DeadlineExceeded) {
				return errLook
			}
			return err
		}
		w.cleaning.traced += time.Since(began)
		w.pace.took(time.Since(began).Seconds()/float64(to-from), (box[2]-box[0])*(box[3]-box[1]))
		if from = to; r.v.Drag {
			continue
		}
		if err := w.finer(); err != nil {
			return err
		}
	}
	return nil
}

// await waits for the raster look, and for a finer state where one is to follow.
func (w *worker) await(ctx context.Context, r *request, of string) error {
	if !r.v.Drag {
		w.refineState()
	}
	for w.drawing != nil || w.fine != nil && !r.v.Drag {
		var drawn, finer chan struct{}
		if w.drawing != nil {
			drawn = w.drawing.done
		}
		if w.fine != nil && !r.v.Drag {
			finer = w.fine.done
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-drawn:
			if err := w.raster(ctx, r, of); err != nil {
				return err
			}
		case <-finer:
			if err := w.finer(); err != nil {
				return err
			}
		}
	}
	return nil
}

// finer is errFiner once the finer state is there, or what is wrong with it.
func (w *worker) finer() error {
	done, err := w.finished()
	if done {
		return errFiner
	}
	return err
}
