package render

import (
	"image"

	"catchlight/render/diagram"
	"catchlight/render/view"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// WriteShown16 writes the picture as seen as a PNG of 16 bits, with alpha where the background is transparent.
func (r *Result) WriteShown16(path string) error {
	channels := 3
	if r.d.View.Background == "transparent" {
		channels = 4
	}
	words := make([]uint16, 0, channels*r.Width*r.Height)
	err := r.shownBands(func(_ int, pix []colour.RGB, alpha []float64) {
		if channels == 3 {
			alpha = nil
		}
		w, _ := words16(pix, alpha)
		words = append(words, w...)
	})
	if err != nil {
		return err
	}
	return imageio.WritePNG16(path, r.Width, r.Height, channels, words, r.record())
}

// words16 codes display light in 16 bits; alpha, where there is any, is the fourth channel of each pixel.
func words16(pix []colour.RGB, alpha []float64) ([]uint16, int) {
	rgb := make([]uint16, 3*len(pix))
	view.Words(rgb, pix)
	if alpha == nil {
		return rgb, 3
	}
	out := make([]uint16, 4*len(pix))
	for i, a := range alpha {
		copy(out[4*i:], rgb[3*i:3*i+3])
		out[4*i+3] = uint16(65535*min(1, max(0, a)) + 0.5)
	}
	return out, 4
}

// Backed lays a drawing of the scene over the background of its view. Its tones are display light: no exposure and no tone curve
// change them.
func (p *Prepared) Backed(g *diagram.Drawing) (*image.NRGBA64, error) {
	v := &p.Description.View
	pix := make([]colour.RGB, len(g.Pix))
	clear := v.Background == "transparent"
	for i, c := range g.Pix {
		a := g.Alpha[i]
		if clear {
			if a > 0 {
				pix[i] = c.Scale(1 / a)
			}
			continue
		}
		back := v.BackgroundColour
		if v.Background == "gradient" {
			back = back.Scale(view.Gradient(float64(i%g.W)+0.5, float64(i/g.W)+0.5, float64(g.W), float64(g.H), v.BackgroundEdge))
		}
		pix[i] = c.Add(back.Scale(1 - a))
	}
	alpha := g.Alpha
	if !clear {
		alpha = nil
	}
	words, channels := words16(pix, alpha)
	m := image.NewNRGBA64(image.Rect(0, 0, g.W, g.H))
	for i := range pix {
		for c := range 4 {
			w := uint16(65535)
			if c < channels {
				w = words[channels*i+c]
			}
			m.Pix[8*i+2*c], m.Pix[8*i+2*c+1] = byte(w>>8), byte(w)
		}
	}
	return m, nil
}
