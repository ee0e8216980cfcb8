package frozen

import "math"

// Crossing says at which angles light that leaves the sclera evenly crosses the outer shell: shares by the square of the sine,
// in equal steps from 0 to 1, that add up to 1. Were the shell on the tissue they would all be the same (Lambert's law); above
// a ball of radius r a shell of radius R is met by none beyond the sine r/R. nil is the former.
type Crossing []float64

// gain returns the factor that makes out, a coat's outward factor by cosine, 1 in the mean.
func (c Crossing) gain(out func(cos float64) float64) float64 {
	if len(c) == 0 {
		return 1
	}
	mean := 0.0
	for i, share := range c {
		s2 := (float64(i) + 0.5) / float64(len(c))
		mean += share * out(math.Sqrt(1-s2))
	}
	return 1 / mean
}
