package compare

import (
	"image"
	"image/color"
	"image/draw"
	"math"
)

// Mark draws dots over a copy of a picture: about each place a black ring round a yellow middle, so that they show on any
// ground.
func Mark(m *image.NRGBA, places [][2]float64) *image.NRGBA {
	out := image.NewNRGBA(m.Bounds())
	draw.Draw(out, out.Bounds(), m, image.Point{}, draw.Src)
	for _, dot := range []struct {
		r float64
		c color.NRGBA
	}{{1.6, color.NRGBA{0, 0, 0, 255}}, {0.8, kinds[len(kinds)-1]}} {
		for _, p := range places {
			for y := int(math.Floor(p[1] - 2)); float64(y) <= p[1]+2; y++ {
				for x := int(math.Floor(p[0] - 2)); float64(x) <= p[0]+2; x++ {
					if math.Hypot(float64(x)+0.5-p[0], float64(y)+0.5-p[1]) <= dot.r && (image.Point{x, y}).In(out.Bounds()) {
						out.SetNRGBA(x, y, dot.c)
					}
				}
			}
		}
	}
	return out
}

// Shown turns linear display light into 8 bits, without dither.
func Shown(s *Side, width int) { s.Seen = smaller(s.Display, width, 1) }
