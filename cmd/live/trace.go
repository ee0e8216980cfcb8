package live

import (
	"context"
	"time"

	"catchlight/scene"
	"catchlight/scene/colour"
)

// trace goes through the sizes of the plan, and at the last of them through the samples. now is the description with its gains.
func (w *worker) trace(ctx context.Context, r *request, now *scene.Description, gains map[string]colour.RGB) error {
	of := text(now)
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
	return w.await(ctx, r)
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
	f.Enough = w.pic.run.Finished() || f.Samples > 1 && f.Error <= enough
}

// cropBox is the part of the picture to refine first, on whole tiles; ok is false where that is all of it.
func (w *worker) cropBox(r *request) (box [4]int, ok bool) {
	all := w.wholeBox()
	c := r.v.Crop
	if !(c[2] > c[0] && c[3] > c[1]) || r.v.Drag || glares(r) {
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
	if box, ok := w.cropBox(r); ok && spp > 1 {
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
			f.Samples, f.Enough = n, n > 1 && f.Error <= enough
			w.push(r, f, of, false)
		}
	}
	for n := w.pic.run.Samples(); n < spp; {
		from := n
		n = next(n, spp)
		if err := w.step(ctx, r, from, n, w.wholeBox()); err != nil {
			return err
		}
		f, err := w.develop(r, w.pic, gains, w.wholeBox())
		if err != nil {
			return err
		}
		w.finish(&f)
		w.mark(&f)
		w.push(r, f, of, w.surer(&f))
		if r.v.Drag || w.pic.size >= r.v.wanted() {
			if err := w.clean(r, gains, of, &f); err != nil {
				return err
			}
			if err := w.raster(ctx, r, of); err != nil {
				return err
			}
		}
		if !r.v.Drag && (!w.state.smaller || w.pic.size >= r.v.wanted()) {
			w.refineState() // lids are soon there; large maps wait for the picture
		}
	}
	return nil
}

// mark adds where handles lie to the first frame of a state of the scene; where an eye's outlines are not known yet, to the second.
func (w *worker) mark(f *Frame) {
	if w.marked == w.state || w.pass == 0 && !w.e.rings.known(w.state.p) {
		return
	}
	w.marked = w.state
	f.Marks = w.e.rings.marks(w.state.p)
}

// surer reports whether a frame must be nearer to the truth than the canvas if it is of the same: more samples of the same picture, or
// all samples of the maps that the scene asks for.
func (w *worker) surer(f *Frame) bool {
	if w.canvas.rough && !f.Smaller {
		return w.pic.run.Finished()
	}
	return w.canvas.rough == f.Smaller && w.canvas.size == [2]int{f.Width, f.Height} && f.Samples > w.canvas.samples
}

// mostStep is how many samples a pixel are added between looks at what else is to be done: a tile of four takes about 10 ms.
const mostStep = 4

// step brings a box, which has from samples a pixel or more, to n of them.
func (w *worker) step(ctx context.Context, r *request, from, n int, box [4]int) error {
	for run := w.pic.run; from < n; {
		to := min(from+mostStep, n)
		began := time.Now()
		if err := run.In(ctx, to, box[0], box[1], box[2], box[3]); err != nil {
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

// await waits for a finer state, where one is to follow.
func (w *worker) await(ctx context.Context, r *request) error {
	if r.v.Drag {
		return nil
	}
	w.refineState()
	if w.fine == nil {
		return nil
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-w.fine.done:
	}
	return w.finer()
}

// finer is errFiner once the finer state is there, or what is wrong with it.
func (w *worker) finer() error {
	done, err := w.finished()
	if done {
		return errFiner
	}
	return err
}
