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
	taps   []float64    // where they lie, mm, in order, 0 in the middle
	edges  []float64    // what lies between edges i and i + 1 belongs to tap i
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
		k.taps = append(k.taps, math.Copysign(t*t, t)*k.Reach)
	}
	last := len(k.taps) - 1
	k.edges = append(k.edges, 1.5*k.taps[0]-0.5*k.taps[1])
	for i := range last {
		k.edges = append(k.edges, (k.taps[i]+k.taps[i+1])/2)
	}
	k.edges = append(k.edges, 1.5*k.taps[last]-0.5*k.taps[last-1])
	for i := range k.taps {
		from, to := k.edges[i], k.edges[i+1]
		if i == 0 { // the outer taps take all that is left
			from = math.Inf(-1)
		}
		if i == last {
			to = math.Inf(1)
		}
		var w colour.RGB
		for c, s := range spread {
			w[c] = s.Beside(to) - s.Beside(from)
		}
		k.weight = append(k.weight, w)
	}
	return k
}

// Len returns the number of taps.
func (k *Kernel) Len() int { return len(k.taps) }

// Tap returns where tap i lies, in mm.
func (k *Kernel) Tap(i int) float64 { return k.taps[i] }

// Edge returns where the stretch of tap i begins and that of tap i - 1 ends, in mm; i is in [0, Len].
func (k *Kernel) Edge(i int) float64 { return k.edges[i] }

// Weight returns the share of the light that belongs to tap i.
func (k *Kernel) Weight(i int) colour.RGB { return k.weight[i] }
