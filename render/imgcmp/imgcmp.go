// Package imgcmp says how far two pictures are apart: to the eye (FLIP, HDRFLIP, SSIM, Colours), and in light over parts of
// them (Mean, Ratio, Pool).
//
// Pictures are slices of pixels, row by row from the top left. A standard error goes with each pixel where there is
// one; errors of different pixels are taken as independent, which holds for pictures whose random numbers are keyed
// by the pixel. One number never tells everything about a picture of an eye: masks give the same numbers for each
// region.
package imgcmp

import (
	"math"

	"catchlight/scene/colour"
)

// Image is a picture with its standard errors. Error is nil for a picture without noise; in it NaN means unknown. Where errors of neighbours go
// together, a mean over pixels has the error of so many independent ones over Grain, the pixels of a grain; 0 is 1.
type Image struct {
	Width, Height int
	Pix           []colour.RGB
	Error         []colour.RGB
	Grain         float64
}

// Mask picks pixels; nil picks all.
type Mask []bool

func (m Image) variance(i, c int) float64 {
	if m.Error == nil {
		return 0
	}
	return m.Error[i][c] * m.Error[i][c]
}

// Mean returns the mean over the finite pixels of a mask, its standard error (NaN where a pixel's is unknown),
// and the number of pixels; without pixels all are 0.
func Mean(m Image, mask Mask) (mean, err colour.RGB, n int) {
	for i, p := range m.Pix {
		if mask != nil && !mask[i] || !p.Finite() {
			continue
		}
		n++
		for c := range p {
			mean[c] += p[c]
			err[c] += m.variance(i, c)
		}
	}
	if n == 0 {
		return colour.RGB{}, colour.RGB{}, 0
	}
	for c := range mean {
		mean[c] /= float64(n)
		err[c] = math.Sqrt(err[c]*max(1, m.Grain)) / float64(n)
	}
	return mean, err, n
}
