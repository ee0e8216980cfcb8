package tissue

import "catchlight/material/fresnel"

// CoatTransmit returns the share of a thin clear coat's base that is seen: the base's BRDF times this factor, beside
// the coat's own reflection F. cosO and cosI are the cosines outside, in [0, 1]; n is the coat's index, > 1. It is
//
//	(1 - F(o)) (1 - F(i)) / (1 - re)
//
// with re the reflectance of the coat for diffuse light from outside. It is reciprocal, and with a white base the two
// give back exactly what came in: F + (1-F) (1-re)/(1-re) = 1. So the base's colour is what is seen under diffuse light.
// Keep 1/(1-re) outside loops with CoatTransmitWith.
//
// Source: the layering of Kelemen and Szirmay-Kalos, A Microfacet Based Coupled Specular-Matte BRDF Model with
// Importance Sampling, Eurographics 2001 (short), with the exact re of Walsh and Duntley.
func CoatTransmit(cosO, cosI, n float64) float64 {
	return CoatTransmitWith(cosO, cosI, n, 1/(1-fresnel.HemisphericalExternal(n)))
}

// CoatTransmitWith is CoatTransmit for hot loops: norm is 1/(1-fresnel.HemisphericalExternal(n)), worked out once.
func CoatTransmitWith(cosO, cosI, n, norm float64) float64 {
	return (1 - fresnel.Dielectric(cosO, n)) * (1 - fresnel.Dielectric(cosI, n)) * norm
}
