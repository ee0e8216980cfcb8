// Package medium describes light crossing a homogeneous scattering volume, such as the aqueous humour.
//
// Medium is the one type: New makes it from mean free path and albedo, FromCoefficients from absorption and scattering. It says
// how much light is left after a distance (Transmittance), how far light flies (SampleFlight), and where it goes on
// (Phase, SamplePhase).
//
// Lengths are in mm, so coefficients are in 1/mm; three channels are linear RGB; the albedo is in [0, 1]; the phase function is in
// 1/sr, with the cosine 1 straight on. Random numbers are arguments in [0, 1).
//
// Sources: the law of Beer and Lambert (Chandrasekhar, Radiative Transfer, 1950; from memory); Henyey and Greenstein, Astrophys. J. 93
// (1941), 70-83, for the phase function.
package medium

import (
	"errors"
	"fmt"
	"math"

	"catchlight/scene/colour"
)

// Medium is a homogeneous volume. The zero value is vacuum. It does not change after New, so any number of workers may
// use one.
type Medium struct {
	sigmaT colour.RGB // extinction, 1/mm
	albedo colour.RGB // single-scattering albedo
	g      float64    // mean cosine of the phase function
}

// ParamError says which parameter of New is out of range.
type ParamError struct {
	Field string  // the parameter, with the channel where there are three
	Value float64 // what it was
	Want  string  // the range it must be in
}

// Error returns one line with field, value and range.
func (e *ParamError) Error() string {
	return fmt.Sprintf("medium: %s: %g is outside %s", e.Field, e.Value, e.Want)
}

var channel = [3]string{"red", "green", "blue"}

// New takes the mean free path (mm, > 0, +Inf for vacuum) and the single-scattering albedo in [0, 1], per channel, and
// the mean cosine g in (-1, 1). It reports every bad value as a *ParamError, joined.
func New(meanFreePath, albedo colour.RGB, g float64) (Medium, error) {
	var errs []error
	m := Medium{albedo: albedo, g: g}
	for c := range meanFreePath {
		if !(meanFreePath[c] >= minPath) {
			errs = append(errs, &ParamError{"mean free path, " + channel[c], meanFreePath[c], fmt.Sprintf("[%g mm, +Inf]", minPath)})
		}
		m.sigmaT[c] = 1 / meanFreePath[c]
	}
	for c := range albedo {
		if !(albedo[c] >= 0 && albedo[c] <= 1) {
			errs = append(errs, &ParamError{"albedo, " + channel[c], albedo[c], "[0, 1]"})
		}
	}
	if !(math.Abs(g) < 1) {
		errs = append(errs, &ParamError{"g", g, "(-1, 1)"})
	}
	if errs != nil {
		return Medium{}, errors.Join(errs...)
	}
	return m, nil
}

// minPath is the shortest mean free path, in mm: a picometre, far below where the notion ends.
const minPath = 1e-9

// FromCoefficients is New for absorption and scattering coefficients in 1/mm, each >= 0.
func FromCoefficients(sigmaA, sigmaS colour.RGB, g float64) (Medium, error) {
	var errs []error
	var path, albedo colour.RGB
	for c := range sigmaA {
		if !(sigmaA[c] >= 0) {
			errs = append(errs, &ParamError{"absorption, " + channel[c], sigmaA[c], "[0, +Inf) per mm"})
		}
		if !(sigmaS[c] >= 0) {
			errs = append(errs, &ParamError{"scattering, " + channel[c], sigmaS[c], "[0, +Inf) per mm"})
		}
		t := sigmaA[c] + sigmaS[c]
		path[c] = 1 / t
		if t > 0 {
			albedo[c] = sigmaS[c] / t
		}
	}
	if errs != nil {
		return Medium{}, errors.Join(errs...)
	}
	return New(path, albedo, g)
}

// SigmaT returns the extinction coefficients in 1/mm.
func (m *Medium) SigmaT() colour.RGB { return m.sigmaT }

// Albedo returns the single-scattering albedo per channel.
func (m *Medium) Albedo() colour.RGB { return m.albedo }

// Transmittance returns the fraction of radiance left after d mm, d >= 0 and +Inf allowed (Beer-Lambert law).
func (m *Medium) Transmittance(d float64) colour.RGB {
	return colour.RGB{beer(m.sigmaT[0], d), beer(m.sigmaT[1], d), beer(m.sigmaT[2], d)}
}

func beer(sigma, d float64) float64 {
	if sigma == 0 { // 0 times infinity too: vacuum lets everything through
		return 1
	}
	return math.Exp(-sigma * d)
}

// SampleFlight maps u in [0, 1) to a free-flight length in mm for channel c, with its pdf in 1/mm; in vacuum these are
// +Inf and 0.
func (m *Medium) SampleFlight(c int, u float64) (d, pdf float64) {
	s := m.sigmaT[c]
	if s == 0 {
		return math.Inf(1), 0
	}
	return -math.Log1p(-u) / s, s * (1 - u)
}

// Phase returns the phase function in 1/sr at the cosine of the scattering angle (1 is straight on); it integrates to
// 1 over the sphere.
//
// Source: Henyey and Greenstein, Astrophys. J. 93 (1941), 70-83.
func (m *Medium) Phase(cosTheta float64) float64 {
	g := m.g
	// 1 + g^2 - 2 g cos, written so that it keeps its digits where g and the cosine are both near 1 or both near -1.
	var q float64
	if g >= 0 {
		q = (1-g)*(1-g) + 2*g*(1-cosTheta)
	} else {
		q = (1+g)*(1+g) - 2*g*(1+cosTheta)
	}
	return (1 - g) * (1 + g) / (4 * math.Pi * q * math.Sqrt(q))
}

// SamplePhase maps u in [0, 1) to the cosine of a scattering angle, and returns the phase function there, in 1/sr.
func (m *Medium) SamplePhase(u float64) (cosTheta, pdf float64) {
	g := m.g
	if math.Abs(g) < 1e-4 {
		// The inverse to first order in g; the closed form divides nothing by nothing. The error is below g^2.
		x := 2*u - 1
		cosTheta = x - 1.5*g*(x*x-1)
		return min(1, max(-1, cosTheta)), m.Phase(cosTheta)
	}
	s := (1 - g) * (1 + g) / (1 - g + 2*g*u)
	cosTheta = min(1, max(-1, (1+g*g-s*s)/(2*g)))
	return cosTheta, m.Phase(cosTheta)
}
