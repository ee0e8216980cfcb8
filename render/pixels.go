package render

import (
	"image"
	"slices"

	"catchlight/render/view"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// Linear returns the raw light of the picture, before exposure, as linear files hold it; W/(m^2 sr), or W/m^2 on a plate.
func (r *Result) Linear() *imageio.Linear {
	rgb, _ := r.light() // what can't be read is black; Film.Err tells
	return imageio.NewLinear(r.Width, r.Height, rgb)
}

// Denoised returns the picture with its grain taken out, and whether the scene asked for it (picture.denoise).
func (r *Result) Denoised() (m *imageio.Linear, ok bool) {
	if r.clean == nil {
		return nil, false
	}
	return imageio.NewLinear(r.Width, r.Height, slices.Clone(r.clean.light)), true
}

// Shown returns the picture as seen: exposure, tone mapping, background, sRGB, denoised where the scene says so. Its pixels
// are those of a .png; alpha is below 255 only where view.background is transparent.
func (r *Result) Shown() (*image.NRGBA, error) {
	p, channels, err := r.levels()
	if err != nil {
		return nil, err
	}
	m := image.NewNRGBA(image.Rect(0, 0, r.Width, r.Height))
	for i := range r.Width * r.Height {
		copy(m.Pix[4*i:], p[channels*i:channels*(i+1)])
		if channels == 3 {
			m.Pix[4*i+3] = 255
		}
	}
	return m, nil
}

// levels is the picture as seen, in bytes, with alpha where the background is transparent; the number says how many a pixel has.
func (r *Result) levels() ([]byte, int, error) {
	channels := 3
	if r.d.View.Background == "transparent" {
		channels = 4
	}
	out := make([]byte, channels*r.Width*r.Height)
	err := r.shownBands(func(first int, pix []colour.RGB, alpha []float64) {
		if channels == 3 {
			view.BytesFrom(out[3*first:3*(first+len(pix))], pix, uint64(r.d.Picture.Seed), first)
			return
		}
		rgb := make([]byte, 3*len(pix))
		view.BytesFrom(rgb, pix, uint64(r.d.Picture.Seed), first)
		for i, a := range alpha {
			q := out[4*(first+i):]
			copy(q[:3], rgb[3*i:3*i+3])
			q[3] = byte(255*min(1, max(0, a)) + 0.5)
		}
	})
	return out, channels, err
}
