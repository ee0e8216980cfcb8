// Package chandrasekhar holds the H-function of isotropic scattering, with which the light that a half-space sends back is
// known exactly. It serves tests only, as what package tissue and the walks are checked against; it is too slow to render with.
//
// H is the one function: cosines and albedos in [0, 1], good to about 1e-7.
//
// Sources: Chandrasekhar, Radiative Transfer, 1950; Stibbs and Weir, Mon. Not. R. Astron. Soc. 119 (1959), 512-525.
package chandrasekhar

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// H returns the H-function of isotropic scattering at the cosine mu in [0, 1] for the single-scattering
// albedo alpha in [0, 1]. With it the radiance that a half-space sends back is known exactly: its BRDF is
// alpha H(mu) H(mu0) / (4 pi (mu + mu0)). The result is good to about 1e-7. It is a reference, too slow for rendering.
//
// Source: Stibbs and Weir, On the H-functions for isotropic scattering, Mon. Not. R. Astron. Soc. 119 (1959), 512-525.
func H(mu, alpha float64) float64 {
	if mu <= 0 || alpha <= 0 {
		return 1
	}
	// ln H = -(mu/pi) int_0^(pi/2) ln(1 - alpha t cot t) / (cos^2 t + mu^2 sin^2 t) dt. With tan p = mu tan t the
	// denominator goes: ln H = -(1/pi) int_0^(pi/2) ln(1 - alpha t cot t) dp. At alpha = 1 the logarithm has a pole
	// at 0, which p = (pi/2) x^3 tames.
	f := func(x float64) float64 {
		p := math.Pi / 2 * x * x * x
		t := math.Atan2(math.Sin(p), mu*math.Cos(p))
		var q float64 // 1 - t cot t
		if t < 1e-3 {
			q = t * t / 3
		} else {
			q = 1 - t/math.Tan(t)
		}
		return math.Log((1-alpha)+alpha*q) * 3 * x * x
	}
	return math.Exp(-0.5 * quad.Fixed(f, 0, 1, 256, nil, 0))
}
