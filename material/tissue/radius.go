package tissue

import (
	"math"

	"gonum.org/v1/gonum/interp"
)

// exitRadius lists, for a half-space lit by diffuse light at one point, the radius of the disc out of which half
// the light leaves that comes back, in mean free paths: isotropic scattering, matched index, single-scattering albedo
// alpha. Own computation (Monte Carlo, standard error about 0.002); TestExitRadiusTable walks it again.
var exitRadius = []struct{ alpha, r50 float64 }{
	{0, 0.351}, // the limit: light that has scattered once
	{0.1, 0.371},
	{0.3, 0.419},
	{0.5, 0.486},
	{0.8, 0.694},
	{0.9, 0.861},
	{0.95, 1.029},
	{0.98, 1.234},
	{0.99, 1.377},
	{0.995, 1.493},
	{0.999, 1.698},
	{1, 1.911},
}

var exitRadiusCurve = func() *interp.FritschButland {
	x, y := make([]float64, len(exitRadius)), make([]float64, len(exitRadius))
	for i, e := range exitRadius {
		j := len(exitRadius) - 1 - i // ascending in sqrt(1-alpha)
		x[j], y[j] = math.Sqrt(1-e.alpha), e.r50
	}
	c := new(interp.FritschButland)
	if err := c.Fit(x, y); err != nil {
		panic(err) // the table above is not in order
	}
	return c
}()

// ExitRadius50 returns the radius, in mean free paths, of the disc out of which half the re-emitted light leaves a
// half-space of single-scattering albedo alpha in [0, 1], lit by diffuse light at one point. It interpolates a table
// monotonically in sqrt(1-alpha).
//
// Source of the interpolation: Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984), 300-304.
func ExitRadius50(alpha float64) float64 {
	return exitRadiusCurve.Predict(math.Sqrt(min(1, max(0, 1-alpha))))
}

// MeanFreePath returns the mean free path, in mm, of the medium of single-scattering albedo alpha whose light spreads
// to r50: the radius in mm of the disc out of which half the re-emitted light leaves, > 0. See ExitRadius50.
func MeanFreePath(r50, alpha float64) float64 { return r50 / ExitRadius50(alpha) }
