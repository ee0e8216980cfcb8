package denoise

import (
	"fmt"

	"catchlight/scene/colour"
)

const (
	reach   = 7    // pixels to either side whose colours count: 15 x 15
	patch   = 2    // pixels to either side of a patch: 5 x 5
	strict  = 0.5  // how far patches may differ, in standard deviations of noise (k of Rousselle et al.)
	ridge   = 2e-3 // of the summed weight, on features scaled to a variance of one: keeps fits with few neighbours tame
	unsure  = 4    // times the variance of its surroundings that a pixel may have and count in full
	around  = 3    // pixels to either side of those surroundings: 7 x 7
	hold    = 0.1  // added to that: a few neighbours alone give no slope
	least   = 1e-9 // added to variances, as a share of the picture's own mean square
	maxDims = 12   // features

	farthest   = 12   // mean excess of a patch's squared differences over noise from which on a neighbour counts nothing
	leastTrust = 1e-9 // what a stray sample counts at least
)

// Input is a picture in two independent halves, rows of W pixels from the top left.
type Input struct {
	W, H     int
	Half     [2][]colour.RGB // mean of either half of the samples
	Var      [2][]colour.RGB // variance of either mean by channel, told by that half's own samples
	Features [][]float32     // planes of W x H with little or no noise; at most 12 with the terms of Order
	Order    int             // of the polynomial in a pixel's place that a fit holds beside the features: 0, 1 or 2
	Alpha    [2][]float64    // mean coverage of either half, to be filtered with the colours' weights; nil for none
	Covered  []float32       // what Alpha is in the mean, with noise of its own: the filter is for the difference; nil takes 0
	Trust    float64         // of Covered: its samples a pixel over those of a half

	Top, Bottom int    // rows at either end that are read and not filtered, where this is a part of a picture
	Whole       *Whole // of that picture; nil takes this input for the whole
}

func (in *Input) check() error {
	n := in.W * in.H
	if in.W < 1 || in.H < 1 || len(in.Half[0]) != n || len(in.Half[1]) != n || len(in.Var[0]) != n || len(in.Var[1]) != n {
		return fmt.Errorf("denoise: %d x %d pixels, but halves of %d and %d and variances of %d and %d", in.W, in.H, len(in.Half[0]), len(in.Half[1]), len(in.Var[0]), len(in.Var[1]))
	}
	if in.Top < 0 || in.Bottom < 0 || in.Top+in.Bottom >= in.H {
		return fmt.Errorf("denoise: of %d rows %d above and %d below are not to be filtered", in.H, in.Top, in.Bottom)
	}
	for k, a := range in.Alpha {
		if len(a) != len(in.Alpha[0]) || len(a) != 0 && len(a) != n {
			return fmt.Errorf("denoise: %d x %d pixels, but half %d has a coverage of %d", in.W, in.H, k, len(a))
		}
	}
	if len(in.Covered) != 0 && len(in.Covered) != n {
		return fmt.Errorf("denoise: %d x %d pixels, but %d expected coverages", in.W, in.H, len(in.Covered))
	}
	if in.Order < 0 || in.Order > 2 {
		return fmt.Errorf("denoise: a polynomial of order %d is none of 0, 1, 2", in.Order)
	}
	if n := len(in.Features) + terms[in.Order]; n > maxDims {
		return fmt.Errorf("denoise: %d features and terms of place, at most %d", n, maxDims)
	}
	for i, f := range in.Features {
		if len(f) != n {
			return fmt.Errorf("denoise: feature %d has %d pixels, not %d", i, len(f), n)
		}
	}
	return nil
}

// covered returns the expected coverage at a pixel.
func (in *Input) covered(i int) float64 {
	if len(in.Covered) == 0 {
		return 0
	}
	return float64(in.Covered[i])
}

// Clean returns the picture without grain, and what the filter alone had taken off the picture's mean, which is back in it. The
// bits do not depend on the number of workers.
func Clean(in *Input, workers int) (out []colour.RGB, taken colour.RGB, err error) {
	out, _, taken, err = WithAlpha(in, workers)
	return out, taken, err
}

// WithAlpha is Clean, and also returns the coverage without grain where the input has one.
func WithAlpha(in *Input, workers int) (out []colour.RGB, alpha []float64, taken colour.RGB, err error) {
	f, err := New(in, workers)
	if err != nil {
		return nil, nil, taken, err
	}
	taken = f.balance()
	return f.Mean, f.Cover, taken, nil
}

// balance gives a whole picture back what it lacks.
func (f *Filter) balance() (taken colour.RGB) {
	b := NewBalance(f.W, f.H)
	b.Add(f, 0)
	taken = b.Settle(f.H)
	b.Apply(f, 0)
	return taken
}
