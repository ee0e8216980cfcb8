package tissue

import "math"

// DiffusionLength returns nu, the asymptotic diffusion length in mean free paths of an isotropically scattering medium
// of single-scattering albedo alpha: the root above 1 of alpha nu artanh(1/nu) = 1. Deep in the medium radiance falls as
// exp(-depth/nu). alpha is held in [0.3, 0.999999] first, for which nu is in [1.002, 578].
//
// Source: Case and Zweifel, Linear Transport Theory (1967), section 4.3.
func DiffusionLength(alpha float64) float64 {
	alpha = max(0.3, min(0.999999, alpha))
	// In x = 1/nu: alpha artanh(x) = x. The left side over x rises from alpha to infinity on (0, 1).
	lo, hi := 0.0, 1.0
	for range 60 {
		x := (lo + hi) / 2
		if alpha*math.Atanh(x) < x {
			lo = x
		} else {
			hi = x
		}
	}
	return 1 / lo
}
