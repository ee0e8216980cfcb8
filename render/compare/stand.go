package compare

import (
	"fmt"
	"math"

	"catchlight/render/imgcmp"
	"catchlight/render/limbus"
	"catchlight/scene/colour"
)

// filmDiagonal is the diagonal of a picture on 35 mm film, 36 x 24 mm.
const filmDiagonal = 43.2666

// Lens returns overrides that give a scene's camera the focal length that the photo's file states, for a film of w x h pixels.
func (p *Photo) Lens(w, h int) []string {
	return []string{"camera.fov=null", fmt.Sprintf("camera.focal_length=%g", p.Focal),
		fmt.Sprintf("camera.sensor_width=%.6g", filmDiagonal*float64(w)/math.Hypot(float64(w), float64(h)))}
}

// Film returns the size that the photo is brought down to, at most most pixels on the longer side.
func (p *Photo) Film(most int) (w, h int) {
	k := min(1, float64(most)/float64(max(p.Width, p.Height)))
	return max(1, int(math.Round(k*float64(p.Width)))), max(1, int(math.Round(k*float64(p.Height))))
}

// Limbus returns points of the limbus in small, which is the photo at another size: those that were given in the photo's
// pixels, else those that are found.
func (p *Photo) Limbus(given [][]float64, small *Photo) ([]limbus.Point, error) {
	if len(given) == 0 {
		return small.findLimbus()
	}
	var out []limbus.Point
	sx, sy := float64(small.Width)/float64(p.Width), float64(small.Height)/float64(p.Height)
	for _, q := range given {
		if !(q[0] >= 0 && q[1] >= 0 && q[0] <= float64(p.Width) && q[1] <= float64(p.Height)) {
			return nil, fmt.Errorf("--limbus: %g,%g is outside the picture of %d x %d", q[0], q[1], p.Width, p.Height)
		}
		out = append(out, limbus.Point{X: q[0] * sx, Y: q[1] * sy})
	}
	return out, nil
}

// findLimbus searches for the limbus in what is seen of the photo.
func (p *Photo) findLimbus() ([]limbus.Point, error) {
	signal := make([]float64, len(p.Pix))
	for i, c := range p.Pix {
		signal[i] = c.Luminance()
	}
	most := 1.0
	if p.Scene { // a picture of any range: its white is taken at the 99th percentile
		_, _, most, _ = imgcmp.Pool(signal, nil)
	}
	for i, v := range signal {
		signal[i] = colour.EncodeSRGB(min(max(v/max(most, 1e-30), 0), 1))
	}
	return limbus.Find(signal, p.Width)
}

// OutlineMarks returns places all round an ellipse, for Mark.
func OutlineMarks(e *limbus.Ellipse) (marks [][2]float64) {
	const n = 240
	for i := range n {
		q := e.At(2 * math.Pi * float64(i) / n)
		marks = append(marks, [2]float64{q.X, q.Y})
	}
	return marks
}
