package tissue

import "math"

// MaxReflectance is where colours are held before they are turned into a medium: above it a medium stays white whatever
// its colour, and its walks get very long. Common practice, no published source. Measured coefficients are not held.
const MaxReflectance = 0.98

// DiffuseAlbedo returns the share of uniform diffuse light that a half-space sends back: isotropic scattering with the
// single-scattering albedo alpha in [0, 1], no step of the index at its surface. The fit is within 0.0021 of
// the exact value, 1 - 2 sqrt(1-alpha) times the first moment of Chandrasekhar's H.
//
// Source: van de Hulst, Multiple Light Scattering, Academic Press 1980.
func DiffuseAlbedo(alpha float64) float64 {
	s := math.Sqrt(max(0, 1-alpha))
	return (1 - s) * (1 - 0.139*s) / (1 + 1.17*s)
}

// SingleScatterAlbedo returns the single-scattering albedo, in [0, 1), of the half-space whose DiffuseAlbedo is A: its
// closed inverse. A is held in [0, MaxReflectance] first; NaN gives 0.
//
// Source: Kulla and Conty, SIGGRAPH course notes 2017; the same
// curve as van de Hulst's, solved for s = sqrt(1-alpha).
func SingleScatterAlbedo(A float64) float64 {
	if !(A > 0) {
		return 0
	}
	A = min(A, MaxReflectance)
	// 0.139 s^2 - b s + (1-A) = 0, b = 1.139 + 1.17 A; the smaller root in the form that keeps its digits.
	b := 1.139 + 1.17*A
	s := 2 * (1 - A) / (b + math.Sqrt(b*b-0.556*(1-A)))
	return 1 - s*s
}
