// Package imgcmp says how far two pictures are apart: in linear light, and whether noise explains it (Compare); and to the eye
// (FLIP, HDRFLIP, SSIM, Colours).
//
// Pictures are slices of pixels, row by row from the top left. A standard error goes with each pixel where there is
// one; errors of different pixels are taken as independent, which holds for pictures whose random numbers are keyed
// by the pixel. One number never tells everything about a picture of an eye: masks give the same numbers for each
// region.
package imgcmp

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"catchlight/scene/colour"
)

// Image is a picture with its standard errors. Error is nil for a picture without noise; in it NaN means unknown.
type Image struct {
	Width, Height int
	Pix           []colour.RGB
	Error         []colour.RGB
}

// Mask picks pixels; nil picks all.
type Mask []bool

// Report compares a picture with a reference, over the pixels of a mask.
type Report struct {
	Pixels    int // compared
	NonFinite int // left out because one of the two is not finite there

	RMSE   float64 // root of the mean squared difference, over pixels and channels
	RelMSE float64 // mean of (a - b)^2/(b^2 + 0.01), over pixels and channels
	Worst  float64 // largest absolute difference
	AtX    int     // where that is
	AtY    int

	Bias      colour.RGB // mean difference, picture less reference
	BiasError colour.RGB // its standard error; 0 where both pictures are without noise
	Sigmas    float64    // largest bias of a channel in standard errors; +Inf for any bias without noise, NaN with unknown errors

	Judged   int     // values (pixels times channels) whose standard error is known
	Outliers float64 // share of these that differ by more than the given number of standard errors
}

// Compare returns the report on a against the reference b. threshold is the number of standard errors, of both
// pictures together, above which a value is an outlier.
func Compare(a, b Image, mask Mask, threshold float64) (Report, error) {
	if err := check(a, b, mask); err != nil {
		return Report{}, err
	}
	var r Report
	var sum, square [3]float64
	var variance [3]float64
	var rel float64
	outside := 0
	for i := range a.Pix {
		if mask != nil && !mask[i] {
			continue
		}
		if !a.Pix[i].Finite() || !b.Pix[i].Finite() {
			r.NonFinite++
			continue
		}
		r.Pixels++
		for c := range sum {
			d := a.Pix[i][c] - b.Pix[i][c]
			sum[c] += d
			square[c] += d * d
			rel += d * d / (b.Pix[i][c]*b.Pix[i][c] + 0.01)
			if math.Abs(d) > r.Worst {
				r.Worst, r.AtX, r.AtY = math.Abs(d), i%a.Width, i/a.Width
			}
			v := a.variance(i, c) + b.variance(i, c)
			variance[c] += v
			if math.IsNaN(v) {
				continue
			}
			r.Judged++
			if math.Abs(d) > threshold*math.Sqrt(v) {
				outside++
			}
		}
	}
	if r.Pixels == 0 {
		return r, fmt.Errorf("imgcmp: no pixel to compare (%d are not finite)", r.NonFinite)
	}
	n := float64(r.Pixels)
	r.RMSE = math.Sqrt((square[0] + square[1] + square[2]) / (3 * n))
	r.RelMSE = rel / (3 * n)
	if r.Judged > 0 {
		r.Outliers = float64(outside) / float64(r.Judged)
	}
	for c := range sum {
		r.Bias[c], r.BiasError[c] = sum[c]/n, math.Sqrt(variance[c])/n
		if r.Bias[c] != 0 {
			r.Sigmas = max(r.Sigmas, math.Abs(r.Bias[c])/r.BiasError[c])
		}
	}
	return r, nil
}

func (m Image) variance(i, c int) float64 {
	if m.Error == nil {
		return 0
	}
	return m.Error[i][c] * m.Error[i][c]
}

// check reports pictures whose shapes do not agree.
func check(a, b Image, mask Mask) error {
	var errs []error
	for _, m := range []Image{a, b} {
		if m.Width < 1 || m.Height < 1 || len(m.Pix) != m.Width*m.Height {
			errs = append(errs, fmt.Errorf("imgcmp: %d values for %d x %d pixels", len(m.Pix), m.Width, m.Height))
		} else if m.Error != nil && len(m.Error) != len(m.Pix) {
			errs = append(errs, fmt.Errorf("imgcmp: %d errors for %d pixels", len(m.Error), len(m.Pix)))
		}
	}
	if a.Width != b.Width || a.Height != b.Height {
		errs = append(errs, fmt.Errorf("imgcmp: %d x %d pixels against %d x %d", a.Width, a.Height, b.Width, b.Height))
	}
	if mask != nil && len(mask) != len(a.Pix) {
		errs = append(errs, fmt.Errorf("imgcmp: a mask of %d for %d pixels", len(mask), len(a.Pix)))
	}
	return errors.Join(errs...)
}

// Limits is what a comparison must keep to. A field that is 0 is not looked at.
type Limits struct {
	RelMSE   float64
	RMSE     float64
	Sigmas   float64 // of the bias
	Outliers float64 // share
}

// Check returns an error that names every limit exceeded, and any pixel that is not finite. A number that is NaN
// exceeds its limit.
func (r Report) Check(l Limits) error {
	var errs []error
	if r.NonFinite > 0 {
		errs = append(errs, fmt.Errorf("imgcmp: %d pixels are not finite", r.NonFinite))
	}
	for _, c := range []struct {
		name       string
		got, limit float64
	}{
		{"relative mean squared error", r.RelMSE, l.RelMSE},
		{"root mean squared error", r.RMSE, l.RMSE},
		{"bias in standard errors", r.Sigmas, l.Sigmas},
		{"share of outliers", r.Outliers, l.Outliers},
	} {
		if c.limit != 0 && !(c.got <= c.limit) {
			errs = append(errs, fmt.Errorf("imgcmp: %s %.4g exceeds %.4g", c.name, c.got, c.limit))
		}
	}
	return errors.Join(errs...)
}

// Expected returns the share of values beyond threshold standard errors that noise alone leaves, when errors
// were estimated with freedom >= 1 degrees of freedom (Student's t). It is what Report.Outliers should be near to
// where only one of the pictures has noise; with noise in both, freedom is that of each and the share is an upper bound.
func Expected(threshold float64, freedom int) float64 {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(freedom)}
	return 2 * t.Survival(math.Abs(threshold))
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
		err[c] = math.Sqrt(err[c]) / float64(n)
	}
	return mean, err, n
}

// Change returns the difference a - b in standard errors of both together, for a map of what really changed: 0
// where they agree, infinite where they differ without noise, NaN where an error is unknown.
func Change(a, b Image) ([]colour.RGB, error) {
	if err := check(a, b, nil); err != nil {
		return nil, err
	}
	out := make([]colour.RGB, len(a.Pix))
	for i := range out {
		for c := range out[i] {
			d, v := a.Pix[i][c]-b.Pix[i][c], a.variance(i, c)+b.variance(i, c)
			if d != 0 || math.IsNaN(v) {
				out[i][c] = d / math.Sqrt(v)
			}
		}
	}
	return out, nil
}

// Rectangle returns the mask of the pixels x0 <= x < x1, y0 <= y < y1 of a picture.
func Rectangle(width, height, x0, y0, x1, y1 int) Mask {
	m := make(Mask, width*height)
	for y := max(y0, 0); y < min(y1, height); y++ {
		for x := max(x0, 0); x < min(x1, width); x++ {
			m[y*width+x] = true
		}
	}
	return m
}

// Ring returns the mask of the pixels whose centres lie from r0 up to, not including, r1 pixels away from a film
// position (x, y): r0 = 0 is a disc (a pupil), otherwise a ring (an iris, a limbus).
func Ring(width, height int, x, y, r0, r1 float64) Mask {
	m := make(Mask, width*height)
	for i := range m {
		r := math.Hypot(float64(i%width)+0.5-x, float64(i/width)+0.5-y)
		m[i] = r >= r0 && r < r1
	}
	return m
}
