package invariant

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// With the tag a broken invariant panics and a sound one does not; without it nothing happens.
func TestInvariants(t *testing.T) {
	for name, f := range map[string]func(){
		"density 0":    func() { Density("x", 0) },
		"density inf":  func() { Density("x", math.Inf(1)) },
		"density nan":  func() { Density("x", math.NaN()) },
		"weight nan":   func() { Weight("x", [3]float64{1, math.NaN(), 1}) },
		"weight below": func() { Weight("x", [3]float64{-1, 0, 0}) },
		"share":        func() { Share("x", 1.5) },
		"share below":  func() { Share("x", -1e-9) },
		"share nan":    func() { Share("x", math.NaN()) },
	} {
		if On {
			require.Panics(t, f, name)
		} else {
			require.NotPanics(t, f, name)
		}
	}
	require.NotPanics(t, func() { Density("x", 3); Weight("x", [3]float64{0, 1, 2}); Share("x", 1); Share("x", 1+1e-15) })
}
