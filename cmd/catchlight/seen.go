package main

import (
	"catchlight/render"
	"catchlight/render/job"
	"catchlight/render/view"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
	"encoding/json"
	"image"
	"os"
)

// seen reads a finished picture back and shows it as its scene's view says. Pages are always made from the files, so that
// it makes no difference when a picture was rendered.
func seen(j *job.Job, s *shot) (*image.NRGBA, []colour.RGB, error) {
	pic, err := imageio.Read(j.Path(s.name + ".exr"))
	if err != nil {
		return nil, nil, err
	}
	n := pic.W * pic.H
	mean, alpha := linearOf(pic)
	lit, err := render.Presented(s.d, pic.W, mean, alpha)
	if err != nil {
		return nil, nil, err
	}
	bytes, channels := levels(lit, alpha, s.d.View.Background == "transparent", uint64(s.d.Picture.Seed))
	m := image.NewNRGBA(image.Rect(0, 0, pic.W, pic.H))
	for i := range n {
		copy(m.Pix[4*i:], bytes[channels*i:channels*(i+1)])
		if channels == 3 {
			m.Pix[4*i+3] = 255
		}
	}
	return m, lit, nil
}

// linearOf returns the light and the coverage of a picture read back, without grain where it has that too.
func linearOf(pic *imageio.Picture) (mean []colour.RGB, alpha []float64) {
	n := pic.W * pic.H
	mean, alpha = make([]colour.RGB, n), make([]float64, n)
	rgb, a := pic.RGB(), pic.Channel("A")
	for c, n := range []string{"R", "G", "B"} {
		if q := pic.Channel(render.CleanLayer + "." + n); q != nil {
			rgb[c] = q
		}
	}
	if q := pic.Channel(render.CleanLayer + ".A"); q != nil {
		a = q
	}
	for i := range mean {
		mean[i] = colour.RGB{float64(rgb[0][i]), float64(rgb[1][i]), float64(rgb[2][i])}
		alpha[i] = 1
		if a != nil {
			alpha[i] = float64(a[i])
		}
	}
	return mean, alpha
}

// levels rounds display light to bytes, with alpha where the background is transparent; the number says how many a pixel has.
func levels(lit []colour.RGB, alpha []float64, clear bool, seed uint64) ([]byte, int) {
	rgb := make([]byte, 3*len(lit))
	view.Bytes(rgb, lit, seed)
	if !clear {
		return rgb, 3
	}
	out := make([]byte, 4*len(lit))
	for i, a := range alpha {
		copy(out[4*i:], rgb[3*i:3*i+3])
		out[4*i+3] = byte(255*min(1, max(0, a)) + 0.5)
	}
	return out, 4
}

// cell reads what stands in the JSON beside a finished picture.
func cell(j *job.Job, s *shot) (r cellReport, err error) {
	data, err := os.ReadFile(j.Path(s.name + ".json"))
	if err == nil {
		err = json.Unmarshal(data, &r)
	}
	return r, err
}
