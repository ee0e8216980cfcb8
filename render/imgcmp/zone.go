package imgcmp

import (
	"math"

	"catchlight/scene/chart"
	"catchlight/scene/colour"
)

// Colours returns the CIEDE2000 colour difference of each pixel of two pictures of linear display light (white is 1).
//
// Source: see chart.Difference; L*a*b* by Bradford under D50.
func Colours(a, b []colour.RGB) []float64 {
	out := make([]float64, min(len(a), len(b)))
	for i := range out {
		out[i] = chart.Difference(chart.Lab(a[i]), chart.Lab(b[i]))
	}
	return out
}

// Lightness returns how much lighter each pixel of a is than that of b, in units of CIE L*.
func Lightness(a, b []colour.RGB) []float64 {
	out := make([]float64, min(len(a), len(b)))
	for i := range out {
		out[i] = chart.Lab(a[i])[0] - chart.Lab(b[i])[0]
	}
	return out
}

// Pool returns mean, median and 99th percentile of the values of a map over a mask that are not NaN, and how many there are.
// Without any all are NaN.
func Pool(values []float64, mask Mask) (mean, median, high float64, n int) {
	var v []float64
	for i, x := range values {
		if (mask == nil || mask[i]) && !math.IsNaN(x) {
			v = append(v, x)
			mean += x
		}
	}
	n = len(v)
	if n == 0 {
		return math.NaN(), math.NaN(), math.NaN(), 0
	}
	median = middle(v) // sorts
	return mean / float64(n), median, v[min(n-1, int(math.Ceil(0.99*float64(n)))-1)], n
}

// Ratio returns the mean light of a over that of b within a mask, by channel and of the luminance, and the standard error of
// the latter from the pixels' own errors (NaN where they are unknown). It is NaN where b holds no light.
func Ratio(a, b Image, mask Mask) (channels colour.RGB, luminance, err float64) {
	ma, ea, _ := Mean(a, mask)
	mb, eb, _ := Mean(b, mask)
	for c := range channels {
		channels[c] = quotient(ma[c], mb[c])
	}
	la, lb := ma.Luminance(), mb.Luminance()
	luminance = quotient(la, lb)
	// Errors of the channels of one pixel go together, so they add up in full: an upper bound.
	err = math.Abs(luminance) * math.Hypot(quotient(ea.Luminance(), la), quotient(eb.Luminance(), lb))
	return channels, luminance, err
}

func quotient(a, b float64) float64 {
	if !(b > 0) {
		return math.NaN()
	}
	return a / b
}
