package live

import (
	"math"
	"sync"
	"time"

	"catchlight/render"
	prep "catchlight/render/prepare"
	"catchlight/render/view"
	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

// develop makes a frame of what a picture's run has traced within a box, with gains on its lights.
func (w *worker) develop(r *request, pic *picture, gains map[string]colour.RGB, box [4]int) (Frame, error) {
	width, height := pic.run.Film().Size()
	f := Frame{Run: r.run, Look: Traced, Width: width, Height: height, Box: box, Smaller: pic.s.smaller || pic.s.held}
	vw, err := prep.View(&r.d.View)
	if err != nil {
		return f, err
	}
	glare := glares(r)
	bw := box[2] - box[0]
	f.RGBA = make([]byte, 4*bw*(box[3]-box[1]))
	var mean []colour.RGB
	var alpha []float64
	if glare {
		mean, alpha = w.low.scaled(width, height)
	}
	var mu sync.Mutex
	square, known := 0.0, 0
	seen := looked(r, box, width, height)
	const rows = 16
	first := box[1] / rows
	parallel.Each((box[3]+rows-1)/rows-first, w.e.o.Count(), func(band int) {
		y0, y1 := max(box[1], (first+band)*rows), min(box[3], (first+band+1)*rows)
		part, e := pic.run.Weigh(gains, y0, y1)
		s, n := spread(vw, part.Mean, part.Error, width, [4]int{seen[0], seen[1] - y0, seen[2], seen[3] - y0})
		mu.Lock()
		square, known = square+s, known+n
		if e != nil {
			err = e
		}
		mu.Unlock()
		if glare {
			for y := y0; y < y1; y++ { // what lies outside the box has no samples yet
				copy(mean[y*width+box[0]:y*width+box[2]], part.Mean[(y-y0)*width+box[0]:])
				copy(alpha[y*width+box[0]:y*width+box[2]], part.Alpha[(y-y0)*width+box[0]:])
			}
			return
		}
		put(&f, r, render.DisplayPart(&r.d.View, vw, width, height, y0*width, part.Mean, part.Alpha), part.Alpha, y0, y1)
	})
	if err != nil {
		return f, err
	}
	if glare {
		pix, err := render.Presented(r.d, width, mean, alpha)
		if err != nil {
			return f, err
		}
		put(&f, r, pix[box[1]*width:], alpha[box[1]*width:], box[1], box[3])
	}
	if f.Error = levels(math.Sqrt(square / float64(known))); known == 0 {
		f.Error = guessed * grainOf(&f)
	}
	f.Rough = max(width, height) < w.want || 100*known < 99*(seen[2]-seen[0])*(seen[3]-seen[1])
	return f, nil
}

// guessed is by how much the grain of single samples is taken to be larger than it seems beside neighbours, which share a net of samples: by
// the seeming one alone, marsh scenes of the tests showed worse pictures in place of better ones.
const guessed = 1.5

// looked is the part of a box that is looked at, the error of which counts: all of it where the view has no crop in it.
func looked(r *request, box [4]int, width, height int) [4]int {
	c := r.v.Crop
	part := [4]int{
		max(box[0], int(c[0]*float64(width))), max(box[1], int(c[1]*float64(height))),
		min(box[2], int(math.Ceil(c[2]*float64(width)))), min(box[3], int(math.Ceil(c[3]*float64(height)))),
	}
	if part[0] >= part[2] || part[1] >= part[3] {
		return box
	}
	return part
}

// low is the light of a small picture, for the glare that a part of a larger one gets from the rest.
type low struct {
	of    string // what it is a picture of
	w, h  int
	mean  []colour.RGB
	alpha []float64
}

// scaled is the light at another size, of the nearest pixels; black where there is none.
func (l *low) scaled(w, h int) (mean []colour.RGB, alpha []float64) {
	mean, alpha = make([]colour.RGB, w*h), make([]float64, w*h)
	if l.w == 0 {
		return mean, alpha
	}
	for y := range h {
		for x := range w {
			i := y*l.h/h*l.w + x*l.w/w
			mean[y*w+x], alpha[y*w+x] = l.mean[i], l.alpha[i]
		}
	}
	return mean, alpha
}

// keepLow keeps the light of a draft.
func (w *worker) keepLow(of string, gains map[string]colour.RGB) error {
	width, height := w.pic.run.Film().Size()
	p, err := w.pic.run.Weigh(gains, 0, height)
	w.low = low{of, width, height, p.Mean, p.Alpha}
	return err
}

// glares reports whether each point of the picture hangs on all the others.
func glares(r *request) bool { return r.d.View.Glare != nil && r.d.View.Glare.Share > 0 }

// spread sums the squared error of the display signal over pixels of a box whose error is known, and counts these. mean and err are
// whole rows; what of the box lies outside them is left out.
func spread(vw *view.View, mean, err []colour.RGB, width int, box [4]int) (square float64, known int) {
	for y := max(0, box[1]); y < min(box[3], len(mean)/width); y++ {
		for i := y*width + box[0]; i < y*width+box[2]; i++ {
			e := vw.Spread(mean[i], err[i])
			if q := (e[0]*e[0] + e[1]*e[1] + e[2]*e[2]) / 3; q == q {
				square, known = square+q, known+1
			}
		}
	}
	return square, known
}

// put writes rows y0 <= y < y1 of linear display light into a frame.
func put(f *Frame, r *request, pix []colour.RGB, alpha []float64, y0, y1 int) {
	rgb := make([]byte, 3*f.Width)
	bw := f.Box[2] - f.Box[0]
	clear := r.d.View.Background == "transparent"
	for y := y0; y < y1; y++ {
		row := (y - y0) * f.Width
		view.BytesFrom(rgb, pix[row:row+f.Width], uint64(r.d.Picture.Seed), y*f.Width)
		for x := f.Box[0]; x < f.Box[2]; x++ {
			q := f.RGBA[4*((y-f.Box[1])*bw+x-f.Box[0]):]
			copy(q[:3], rgb[3*x:3*x+3])
			if q[3] = 255; clear {
				q[3] = byte(255*min(1, max(0, alpha[row+x])) + 0.5)
			}
		}
	}
}

// push hands a frame on, unless the canvas shows the same better already.
func (w *worker) push(r *request, f Frame, of string, surer bool) {
	same := w.canvas.of == of && of != ""
	if same && (w.canvas.clean && !f.Clean || !surer && (w.fewer(&f) || !w.canvas.better(&f, f.Error))) {
		if f.Marks != nil {
			w.marked = nil // they come with the next one
		}
		return
	}
	w.canvas.lay(&f, of)
	w.canvas.mean = w.pic.run.MeanSamples()
	w.send(r, f)
}

// fewer reports whether a frame with the scene's own maps has fewer samples than the canvas with smaller ones: then what differs may be
// its grain as well as the maps.
func (w *worker) fewer(f *Frame) bool {
	n := float64(f.Samples)
	if f.whole() {
		n = w.pic.run.MeanSamples()
	}
	return w.canvas.rough && !f.Smaller && n < w.canvas.mean
}

// send hands a frame on.
func (w *worker) send(r *request, f Frame) {
	f.Seconds = time.Since(r.at).Seconds()
	if f.Rough {
		f.Error = 0
	}
	if w.e.heard != nil {
		w.e.heard(f)
	}
	w.e.queue.push(f)
}
