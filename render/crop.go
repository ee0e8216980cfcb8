package render

import (
	"errors"
	"fmt"
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/geom"
)

// Window is a part of a picture, in shares of its width and height from the top left.
type Window struct{ X0, Y0, X1, Y1 float64 }

// Crop returns a copy of the description whose film, size pixels on its longer side, shows only the window of the
// picture: the same view through the same lens, finer or coarser.
func Crop(d *scene.Description, w Window, size int) (*scene.Description, error) {
	sx, sy := w.X1-w.X0, w.Y1-w.Y0
	if !(sx > 0 && sy > 0 && w.X0 >= -1 && w.Y0 >= -1 && w.X1 <= 2 && w.Y1 <= 2) {
		return nil, fmt.Errorf("a window from (%g, %g) to (%g, %g) shows no part of a picture", w.X0, w.Y0, w.X1, w.Y1)
	}
	q := *d
	fw, fh := float64(d.Picture.Width), float64(d.Picture.Height)
	k := float64(size) / max(sx*fw, sy*fh)
	q.Picture.Width, q.Picture.Height = max(1, int(math.Round(sx*fw*k))), max(1, int(math.Round(sy*fh*k)))
	c := &q.Camera
	switch c.Kind {
	case "perspective":
		if c.FOV > 0 {
			c.FocalLength, c.FOV = c.SensorWidth/(2*math.Tan(geom.Radians(c.FOV)/2)), 0
		}
		c.FocalLength /= sx
		c.FNumber /= sx // the same width of lens
	case "orthographic":
		c.Width *= sx
	default:
		return nil, errors.New("an irradiance plate has no window")
	}
	// The picture's own height in units of its width, and the window's as it is now with whole pixels.
	h, wh := fh/fw, sx*float64(q.Picture.Height)/float64(q.Picture.Width)
	c.Shift[0] = (c.Shift[0] + 0.5 - (w.X0+w.X1)/2) / sx
	c.Shift[1] = (c.Shift[1] + (w.Y0+w.Y1)/2 - 0.5) * h / wh
	return &q, nil
}

// IrisWindow returns the square window about the iris of the scene's first eye, with a margin of a fifth.
func (p *Prepared) IrisWindow() (Window, error) {
	if len(p.Scene.Eyes) == 0 {
		return Window{}, errors.New("the scene has no eye")
	}
	fw, fh := float64(p.Description.Picture.Width), float64(p.Description.Picture.Height)
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, q := range p.limbus(0, 32) {
		x, y, _, ok := p.Scene.Camera.Project(q)
		if !ok {
			return Window{}, errors.New("the iris is not in front of the camera")
		}
		lo[0], lo[1], hi[0], hi[1] = min(lo[0], x), min(lo[1], y), max(hi[0], x), max(hi[1], y)
	}
	if lo[0] > hi[0] {
		return Window{}, errors.New("the iris can't be found on the outer shell")
	}
	half := 0.6 * max(hi[0]-lo[0], hi[1]-lo[1])
	cx, cy := (lo[0]+hi[0])/2, (lo[1]+hi[1])/2
	return Window{(cx - half) / fw, (cy - half) / fh, (cx + half) / fw, (cy + half) / fh}, nil
}

// limbus returns points in the world all round the limbus of an eye, at most n of them: on the outer shell, LimbusRadius away
// from the axis.
func (p *Prepared) limbus(eye, n int) []geom.Vec {
	e := &p.Scene.Eyes[eye]
	b, sc := &p.Scene.Objects[e.Outer], accel.NewScratch()
	var out []geom.Vec
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		var h frozen.Hit
		r := geom.Ray{O: b.ToWorld.Point(geom.Vec{X: e.LimbusRadius * cos, Y: e.LimbusRadius * sin, Z: 1000}), D: b.ToWorld.Vector(geom.Vec{Z: -1}).Unit()}
		if b.Closest(sc, r, 0, math.Inf(1), &h) {
			out = append(out, r.At(h.T))
		}
	}
	return out
}
