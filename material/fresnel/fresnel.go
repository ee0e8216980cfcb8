// Package fresnel gives the share of light that a smooth interface reflects, for unpolarised light.
//
//	Dielectric             between two clear media, at one angle; Polarised has both polarisations
//	Conductor              a metal, by its complex index, at one angle, for each channel
//	HemisphericalExternal  the mean over diffuse light from outside; HemisphericalInternal from inside
//
// Cosines are those of the angle to the normal, in [0, 1]; indices are relative, the far side over the near side; results are
// shares in [0, 1]. Nothing here allocates, checks its arguments or keeps state.
//
// Sources: Born and Wolf, Principles of Optics, 7th ed., sections 1.5 and 14.4; Walsh 1926 in the form of Duntley, J. Opt.
// Soc. Am. 32 (1942), 61-70, for the means.
package fresnel

import (
	"math"

	"catchlight/scene/colour"
)

// Dielectric returns the reflectance of a smooth interface between two clear media for unpolarised light.
//
// cosI is the cosine of the angle of incidence, in [0, 1]; eta is n_t/n_i, > 0. The result is in [0, 1], dimensionless,
// and exactly 1 past the critical angle. It runs at every bounce, so it does not check its arguments: outside these
// ranges the result is meaningless, but it never panics.
//
// Source: Born and Wolf, Principles of Optics, 7th ed., section 1.5.
func Dielectric(cosI, eta float64) float64 {
	rs, rp := Polarised(cosI, eta)
	return 0.5 * (rs + rp)
}

// Polarised returns the reflectances of Dielectric for light polarised across (s) and in (p) the plane of incidence.
// Both are in [0, 1]; their mean is Dielectric.
func Polarised(cosI, eta float64) (rs, rp float64) {
	e2 := eta * eta
	g2 := e2 - 1 + cosI*cosI // (eta cosT)^2, in the form that keeps its digits near grazing and near eta = 1
	if g2 <= 0 {
		return 1, 1
	}
	g := math.Sqrt(g2)
	s := (cosI - g) / (cosI + g)
	p := (e2*cosI - g) / (e2*cosI + g)
	return s * s, p * p
}

// Conductor returns the reflectance per channel of a smooth absorbing medium with the complex relative index
// eta + i k, for unpolarised light arriving through a clear medium. cosI is in [0, 1], eta > 0, k >= 0; with k = 0
// and eta >= 1 it equals Dielectric.
//
// Source: Born and Wolf, Principles of Optics, 7th ed., section 14.4.
func Conductor(cosI float64, eta, k colour.RGB) colour.RGB {
	return colour.RGB{
		conductor(cosI, eta[0], k[0]),
		conductor(cosI, eta[1], k[1]),
		conductor(cosI, eta[2], k[2]),
	}
}

func conductor(c, n, k float64) float64 {
	c2 := c * c
	s2 := 1 - c2
	// (a + i b)^2 = (n + i k)^2 - sin^2; only a and |a + i b|^2 are needed.
	t := n*n - k*k - s2
	ab := math.Sqrt(t*t + 4*n*n*k*k)
	a := math.Sqrt(max(0, 0.5*(ab+t)))
	rs := (ab + c2 - 2*a*c) / (ab + c2 + 2*a*c)
	q := c2*ab + s2*s2
	rp := rs * (q - 2*a*c*s2) / (q + 2*a*c*s2)
	return 0.5 * (rs + rp)
}
