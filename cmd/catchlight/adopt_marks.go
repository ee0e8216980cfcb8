package main

import (
	"math"

	"catchlight/render"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
)

// A line over a picture: its colour, and how many pixels of it are drawn and left out in turn. Each line has a shape of its
// own, so that none needs colour.
type stroke struct {
	colour [3]float64
	on     float64
	off    float64
}

var (
	limbusStroke = stroke{[3]float64{1, 0.75, 0.2}, 1, 0}
	pupilStroke  = stroke{[3]float64{0.45, 0.85, 1}, 6, 4}
	axisStroke   = stroke{[3]float64{1, 0.4, 0.6}, 2, 4}
)

// drawMarks draws limbus, pupil and axis of the scene's first eye over the picture from and writes it as to.
func drawMarks(p *render.Prepared, from, to string) error {
	m, err := p.Marks(0)
	if err != nil {
		return err
	}
	pic, err := imageio.Read(from)
	if err != nil {
		return err
	}
	c := pic.RGB()
	rgb := make([]float64, 3*pic.W*pic.H)
	for i := range pic.W * pic.H {
		for k := range 3 {
			rgb[3*i+k] = float64(c[k][i])
		}
	}
	draw := func(line []geom.Vec, closed bool, s stroke) {
		if closed && len(line) > 0 {
			line = append(line, line[0])
		}
		run := 0.0
		for i := 1; i < len(line); i++ {
			x0, y0, _, ok0 := p.Scene.Camera.Project(line[i-1])
			x1, y1, _, ok1 := p.Scene.Camera.Project(line[i])
			if !ok0 || !ok1 {
				continue
			}
			l := math.Hypot(x1-x0, y1-y0)
			n := max(1, int(math.Ceil(2*l)))
			if n > 1<<16 {
				continue
			}
			for k := range n {
				t := (float64(k) + 0.5) / float64(n)
				if d := run + l*t; s.off > 0 && math.Mod(d, s.on+s.off) > s.on {
					continue
				}
				dot(rgb, pic.W, pic.H, x0+(x1-x0)*t, y0+(y1-y0)*t, s.colour)
			}
			run += l
		}
	}
	draw(m.Limbus, true, limbusStroke)
	draw(m.Pupil, true, pupilStroke)
	draw(m.Axis[:], false, axisStroke)
	pix := make([]uint8, len(rgb))
	for i, v := range rgb {
		pix[i] = uint8(255*max(0, min(1, v)) + 0.5)
	}
	return imageio.WritePNG(to, pic.W, pic.H, 3, pix, nil)
}

// dot lays one pixel of a line at (x, y) over a picture.
func dot(rgb []float64, w, h int, x, y float64, colour [3]float64) {
	if !(x >= 0 && y >= 0 && x < float64(w) && y < float64(h)) {
		return
	}
	i := 3 * (int(y)*w + int(x))
	copy(rgb[i:i+3], colour[:])
}
