package live

import (
	"context"
	"fmt"

	"catchlight/render"
	"catchlight/render/diagram"
	"catchlight/render/view"
	"catchlight/scene"
)

// Sizes of the raster look and of maps shown alone, longer side in pixels: while something is dragged, and at first.
const (
	rasterDrag = 128
	aloneFirst = 128
)

// raster draws the raster look once of each state of the scene, where it is wanted.
func (w *worker) raster(ctx context.Context, r *request, of string) error {
	size := r.v.wanted()
	if r.v.Drag {
		size = min(size, rasterDrag)
	}
	what := fmt.Sprint(of, " ", size)
	if !r.v.Raster || w.drawn == what {
		return nil
	}
	d := w.pic.s.p.Description
	q := *d // of the state, in the lights of the request
	q.Lights, q.LightSetup, q.View, q.Raster = baked(r.d, r.gains).Lights, r.d.LightSetup, r.d.View, r.d.Raster
	p, err := render.Prepare(ctx, &q, w.e.o)
	if err != nil {
		return err
	}
	if p, err = p.Sized(size); err != nil {
		return err
	}
	res, err := p.Raster(ctx, w.e.o)
	if err != nil {
		return err
	}
	pic, err := res.Shown()
	if err != nil {
		return err
	}
	w.drawn = what
	f := Frame{Run: r.run, Look: Raster, Samples: 1, Width: res.Width, Height: res.Height, Box: [4]int{0, 0, res.Width, res.Height},
		RGBA: pic.Pix, Smaller: w.pic.s.rough(), Enough: true}
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
