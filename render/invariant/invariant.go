// Package invariant checks what must hold at every step of a path: weights are finite and not negative, densities positive and
// finite, a set of random numbers is drawn once a sample. Such checks are too dear for users: they are compiled in with
// -tags invariants, and then a broken one panics with the place. Without the tag they are constants and cost nothing.
package invariant

import (
	"fmt"
	"math"
)

// Density wants a probability density above 0 and finite; where names the place.
func Density(where string, p float64) {
	if On && !(p > 0 && !math.IsInf(p, 1)) {
		panic(fmt.Sprintf("%s: a density of %g", where, p))
	}
}

// Weight wants three finite numbers that are not negative.
func Weight(where string, w [3]float64) {
	if !On {
		return
	}
	for c, v := range w {
		if !(v >= 0 && !math.IsInf(v, 1)) {
			panic(fmt.Sprintf("%s: a weight of %g in channel %d", where, v, c))
		}
	}
}

// Share wants a probability: a number in [0, 1]. Weighted means of shares may pass 1 by rounding: no random number of [0, 1) sees
// the difference.
func Share(where string, p float64) {
	if On && !(p >= 0 && p <= 1+1e-12) {
		panic(fmt.Sprintf("%s: a probability of %g", where, p))
	}
}
