package shading

import (
	"math"

	"catchlight/scene/colour"
)

// Kernel spreads irradiance along one direction of the picture; twice, across and down, it stands for the scattering of a surface.
//
// Source: Jimenez et al., Separable Subsurface Scattering, Computer Graphics Forum 34(6), 2015: two passes of one dimension, wider steps
// further out. The weights here are the shares of the spread that belong to each tap, from the profile integrated across, in mm, so that
// a straight edge along the picture's axes gets its exact width.
type Kernel struct {
	Reach  float64      // mm
	taps   []float64    // places in [-1, 1] of Reach, in order, 0 in the middle
	weight []colour.RGB // of each
}

// NewKernel makes a kernel of the given number of taps (odd, at least 3) for the spread of each channel.
func NewKernel(spread [3]Spread, taps int) *Kernel {
	k := &Kernel{}
	for _, s := range spread {
		k.Reach = max(k.Reach, s.Radius(0.97))
	}
	half := taps / 2
	for i := -half; i <= half; i++ {
		t := float64(i) / float64(half)
		k.taps = append(k.taps, math.Copysign(t*t, t))
	}
	from := math.Inf(-1) // the outer taps take all that is left
	for i := range k.taps {
		to := math.Inf(1)
		if i+1 < len(k.taps) {
			to = (k.Tap(i) + k.Tap(i+1)) / 2
		}
		var w colour.RGB
		for c, s := range spread {
			w[c] = s.Beside(to) - s.Beside(from)
		}
		k.weight = append(k.weight, w)
		from = to
	}
	return k
}

// Len returns the number of taps.
func (k *Kernel) Len() int { return len(k.taps) }

// Tap returns where tap i lies, in mm.
func (k *Kernel) Tap(i int) float64 { return k.taps[i] * k.Reach }

// Weight returns the share of the light that belongs to tap i, which stands for what lies half way to its neighbours.
func (k *Kernel) Weight(i int) colour.RGB { return k.weight[i] }
