package tissue

import "catchlight/material/fresnel"

// Coat is a thin clear layer over a scattering base, such as the tear film over the sclera. Beside its own reflection F
// the base's BRDF is seen times
//
//	In(i) Out(o) = (1 - F(i)) (1 - F(o)) / (1 - re)
//
// with both cosines outside and re the coat's reflectance for diffuse light from outside. That is reciprocal, and with a
// white base the two give back exactly what came in: F + (1-F) (1-re)/(1-re) = 1. So the base's colour is what is seen
// under diffuse light.
//
// Source: the layering of Kelemen and Szirmay-Kalos, A Microfacet Based Coupled Specular-Matte BRDF Model with
// Importance Sampling, Eurographics 2001 (short), with the exact re of Walsh and Duntley.
type Coat struct{ n, norm float64 }

// NewCoat makes a coat of index n > 1.
func NewCoat(n float64) Coat { return Coat{n: n, norm: 1 / (1 - fresnel.HemisphericalExternal(n))} }

// Reflectance returns F, the coat's reflectance at the cosine cos outside, in [0, 1].
func (c *Coat) Reflectance(cos float64) float64 { return fresnel.Dielectric(cos, c.n) }

// In returns the factor of light on its way in.
func (c *Coat) In(cos float64) float64 { return 1 - c.Reflectance(cos) }

// Out returns the factor of light on its way out.
func (c *Coat) Out(cos float64) float64 { return c.In(cos) * c.norm }
