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
	const rows = 16
	first := box[1] / rows
	parallel.Each((box[3]+rows-1)/rows-first, w.e.o.Count(), func(band int) {
		y0, y1 := max(box[1], (first+band)*rows), min(box[3], (first+band+1)*rows)
		part, e := pic.run.Weigh(gains, y0, y1)
		s, n := spread(vw, part.Mean, part.Error)
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
		f.Error = grainOf(&f)
	}
	return f, nil
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

// spread sums the squared error of the display signal over pixels whose error is known, and counts these.
func spread(vw *view.View, mean, err []colour.RGB) (square float64, known int) {
	for i := range mean {
		e := vw.Spread(mean[i], err[i])
		if q := (e[0]*e[0] + e[1]*e[1] + e[2]*e[2]) / 3; q == q {
			square, known = square+q, known+1
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
	if same && (w.canvas.clean && !f.Clean || !surer && !w.canvas.better(&f, f.Error)) {
		if f.Marks != nil {
			w.marked = nil // they come with the next one
		}
		return
	}
	w.canvas.lay(&f, of)
	w.canvas.mean = w.pic.run.MeanSamples()
	w.send(r, f)
}

// send hands a frame on.
func (w *worker) send(r *request, f Frame) {
	f.Seconds = time.Since(r.at).Seconds()
	if w.e.heard != nil {
		w.e.heard(f)
	}
	w.e.queue.push(f)
}
