package render

import (
	"image"

	"catchlight/render/film"
	"catchlight/render/view"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// Linear returns the raw light of the picture, before exposure, as linear files hold it; W/(m^2 sr), or W/m^2 on a plate.
func (r *Result) Linear() *imageio.Linear {
	pic := r.Film.Develop()
	return imageio.NewLinear(r.Width, r.Height, interleave(pic.Mean))
}

// Denoised returns the picture with its grain taken out, and whether the scene asked for it (picture.denoise).
func (r *Result) Denoised() (m *imageio.Linear, ok bool) {
	if r.clean == nil {
		return nil, false
	}
	return imageio.NewLinear(r.Width, r.Height, interleave(r.clean.mean)), true
}

// Shown returns the picture as seen: exposure, tone mapping, background, sRGB, denoised where the scene says so. Its pixels
// are those of a .png; alpha is below 255 only where view.background is transparent.
func (r *Result) Shown() (*image.NRGBA, error) {
	pic := r.Film.Develop()
	pix, err := r.display(&pic)
	if err != nil {
		return nil, err
	}
	p, channels := r.levels(&pic, pix)
	m := image.NewNRGBA(image.Rect(0, 0, r.Width, r.Height))
	for i := range r.Width * r.Height {
		copy(m.Pix[4*i:], p[channels*i:channels*(i+1)])
		if channels == 3 {
			m.Pix[4*i+3] = 255
		}
	}
	return m, nil
}

// levels rounds display light to bytes, with alpha where the background is transparent; the number says how many a pixel has.
func (r *Result) levels(pic *film.Picture, pix []colour.RGB) ([]byte, int) {
	n := r.Width * r.Height
	rgb := make([]byte, 3*n)
	view.Bytes(rgb, pix, uint64(r.d.Picture.Seed))
	if r.d.View.Background != "transparent" {
		return rgb, 3
	}
	rgba := make([]byte, 4*n)
	for i, a := range r.alpha(pic) {
		copy(rgba[4*i:], rgb[3*i:3*i+3])
		rgba[4*i+3] = byte(255*min(1, max(0, a)) + 0.5)
	}
	return rgba, 4
}
