package live

import (
	"math"
	"time"

	"catchlight/render"
	"catchlight/render/view"
	"catchlight/scene"
	"catchlight/scene/colour"
)

// develop makes a frame of what a run has traced.
func (w *worker) develop(r *request, s *state, p *render.Prepared, run *render.Run) (Frame, error) {
	width, height := run.Film().Size()
	pic := run.Film().Develop()
	rgba, err := bytesOf(r.d, width, pic.Mean, pic.Alpha)
	if err != nil {
		return Frame{}, err
	}
	w.pass++
	square, n := 0.0, 0
	for i := range pic.Mean {
		e := p.View.Spread(pic.Mean[i], pic.Error[i])
		if q := (e[0]*e[0] + e[1]*e[1] + e[2]*e[2]) / 3; q == q {
			square, n = square+q, n+1
		}
	}
	f := Frame{
		Run: r.run, Look: Traced, Pass: w.pass, Samples: run.Samples(), Width: width, Height: height, Box: [4]int{0, 0, width, height}, RGBA: rgba,
		Error: levels(math.Sqrt(square / float64(n))), Enough: run.Finished(), Smaller: s.smaller, Seconds: time.Since(r.at).Seconds(),
	}
	return f, run.Film().Err()
}

// bytesOf shows light and coverage as a description's view says.
func bytesOf(d *scene.Description, width int, mean []colour.RGB, alpha []float64) ([]byte, error) {
	pix, err := render.Presented(d, width, mean, alpha)
	if err != nil {
		return nil, err
	}
	rgb, out := make([]byte, 3*len(pix)), make([]byte, 4*len(pix))
	view.Bytes(rgb, pix, uint64(d.Picture.Seed))
	for i := range pix {
		copy(out[4*i:4*i+3], rgb[3*i:3*i+3])
		out[4*i+3] = 255
		if d.View.Background == "transparent" {
			out[4*i+3] = byte(255*min(1, max(0, alpha[i])) + 0.5)
		}
	}
	return out, nil
}
