package imgcmp

import (
	"fmt"
	"math"

	"catchlight/scene/colour"
)

// Constants of structural similarity for signals in [0, 1]: a Gaussian window of 11 x 11 pixels with sigma 1.5, and what
// keeps the quotients steady, (0.01)^2 and (0.03)^2.
const (
	ssimReach = 5
	ssimSigma = 1.5
	ssimC1    = 0.01 * 0.01
	ssimC2    = 0.03 * 0.03
)

// SSIM returns the structural similarity of two pictures around each pixel, at most 1, which means alike. a and b are linear
// display light in [0, 1], rows of width pixels; what is compared is the sRGB signal of their luminance. Where the window
// doesn't fit, within 5 pixels of the edge, it is NaN, as its authors leave these pixels out.
//
// Source: Wang, Bovik, Sheikh and Simoncelli, Image Quality Assessment: From Error Visibility to Structural Similarity, IEEE
// Trans. Image Process. 13(4), 2004.
func SSIM(a, b []colour.RGB, width int) ([]float64, error) {
	if width < 1 || len(a) == 0 || len(a)%max(width, 1) != 0 || len(b) != len(a) {
		return nil, fmt.Errorf("imgcmp: %d and %d pixels in rows of %d", len(a), len(b), width)
	}
	k := &flipper{w: width, h: len(a) / width}
	kernel := make([]float64, 2*ssimReach+1)
	for i := range kernel {
		x := float64(i - ssimReach)
		kernel[i] = math.Exp(-x * x / (2 * ssimSigma * ssimSigma))
	}
	lobes(kernel)
	x, y := signal(a), signal(b)
	spare := make([]float64, len(a))
	mean := func(at func(i int) float64) []float64 {
		in, out := make([]float64, len(a)), make([]float64, len(a))
		for i := range in {
			in[i] = at(i)
		}
		k.along(spare, in, kernel)
		k.down(out, spare, kernel)
		return out
	}
	mx, my := mean(func(i int) float64 { return x[i] }), mean(func(i int) float64 { return y[i] })
	xx, yy := mean(func(i int) float64 { return x[i] * x[i] }), mean(func(i int) float64 { return y[i] * y[i] })
	xy := mean(func(i int) float64 { return x[i] * y[i] })
	out := make([]float64, len(a))
	for i := range out {
		if u, v := i%k.w, i/k.w; u < ssimReach || v < ssimReach || u >= k.w-ssimReach || v >= k.h-ssimReach {
			out[i] = math.NaN()
			continue
		}
		m := mx[i] * my[i]
		vx, vy, c := xx[i]-mx[i]*mx[i], yy[i]-my[i]*my[i], xy[i]-m
		out[i] = (2*m + ssimC1) * (2*c + ssimC2) / ((mx[i]*mx[i] + my[i]*my[i] + ssimC1) * (vx + vy + ssimC2))
	}
	return out, nil
}

// signal is the sRGB signal of the luminance of display light.
func signal(pix []colour.RGB) []float64 {
	out := make([]float64, len(pix))
	for i, p := range pix {
		out[i] = colour.EncodeSRGB(min(max(p.Luminance(), 0), 1))
	}
	return out
}
