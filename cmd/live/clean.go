package live

import (
	"math"
	"time"

	"catchlight/render/film"
	"catchlight/scene/colour"
)

// mostJump is the largest change of the picture's mean level, as a share, with which the denoised picture may take the raw one's place. Grain
// makes the tone curve's mean darker, so with few samples the denoised picture is brighter: 1.1 % at 8, 0.6 % at 16 and 0.4 % at 32
// samples of the ferry keeper at 64 px.
const mostJump = 0.005

// cleaning is what taking out the grain costs.
type cleaning struct {
	perPixel float64       // seconds; 0: not known yet
	traced   time.Duration // since the last one
}

// leastClean is how many samples a pixel the first denoised picture has.
const leastClean = film.Replicates

// clean shows the picture without its grain, where the scene asks for it, once it would not jump in brightness. It never takes longer than what was
// traced since the last time, but at the end.
func (w *worker) clean(r *request, gains map[string]colour.RGB, of string, raw *Frame) error {
	run, c := w.pic.run, &w.cleaning
	// The filter knows the light as it was traced.
	if !r.d.Picture.Denoise || len(gains) > 0 || r.v.Drag || run.Samples() < min(leastClean, w.pic.s.p.Description.Picture.Samples) {
		return nil
	}
	pixels := float64(raw.Width * raw.Height)
	if !run.Finished() && c.perPixel*pixels > c.traced.Seconds() {
		return nil
	}
	began := time.Now()
	res, err := run.Result()
	if err != nil {
		return err
	}
	c.perPixel, c.traced = time.Since(began).Seconds()/pixels, 0
	pic, err := res.ShownIn(&r.d.View)
	if err != nil {
		return err
	}
	f := *raw
	f.RGBA, f.Clean, f.Marks = pic.Pix, true, nil
	if !w.canvas.clean && math.Abs(meanLevel(f.RGBA)/meanLevel(raw.RGBA)-1) > mostJump {
		return nil
	}
	w.push(r, f, of, true)
	return nil
}

// meanLevel is the mean of a picture's red, green and blue.
func meanLevel(rgba []byte) float64 {
	sum := 0.0
	for i := 0; i < len(rgba); i += 4 {
		sum += float64(rgba[i]) + float64(rgba[i+1]) + float64(rgba[i+2])
	}
	return sum / float64(len(rgba)/4*3)
}
