// Package microfacet describes light at a rough surface made of small mirrors whose slopes follow the GGX distribution.
//
//	GGX          the distribution itself, its masking, and the sampling of normals as they are seen
//	Reflect      the lobe of mirrored light
//	Refract      the lobe of light that is bent through
//	EnergyTable  puts back what single scattering loses at a metal
//	Balance      the same for an interface that mirrors and passes
//
// All directions are unit vectors in the local frame of the surface, whose normal is +Z; both leave the surface. Lobes are
// in 1/sr, written without the Fresnel factor, so one set serves dielectrics and metals: the caller multiplies by the
// reflectance (or one minus it) at the cosine between wo and the microfacet normal. Alpha is the roughness of the
// distribution, in [MinAlpha, 1]. Random numbers are arguments, in [0, 1). Nothing allocates but the making of tables, so any
// number of workers may call everything at once.
//
// Sources: Walter et al., Microfacet Models for Refraction through Rough Surfaces, EGSR 2007; Heitz, Understanding the
// Masking-Shadowing Function, JCGT 3(2), 2014; Dupuy and Benyoub, Sampling Visible GGX Normals with Spherical Caps, CGF 42(8),
// 2023; Turquin, Practical Multiple Scattering Compensation for Microfacet Models, 2019.
package microfacet

import (
	"math"

	"catchlight/scene/geom"
)

// MinAlpha is the least roughness that these formulas carry without losing their digits; treat smoother surfaces as
// mirrors. Own choice: the density at the peak, 1/(pi alpha^2), is then 3e7 per steradian.
const MinAlpha = 1e-4

// GGX is the distribution of microfacet normals: an ellipsoid's, with roughness AX along X and AY along Y, both in
// [MinAlpha, 1] (more is allowed). Equal values make it isotropic.
//
// Source: Walter et al., Microfacet Models for Refraction through Rough Surfaces, EGSR 2007; anisotropic form and
// height-correlated masking: Heitz, Understanding the Masking-Shadowing Function, JCGT 3(2), 2014.
type GGX struct{ AX, AY float64 }

// D returns the density of microfacet normals about h, in 1/sr, such that D(h) h.Z integrates to 1 over the
// hemisphere. It is 0 for h.Z <= 0.
func (g GGX) D(h geom.Vec) float64 {
	if h.Z <= 0 {
		return 0
	}
	x, y := h.X/g.AX, h.Y/g.AY
	e := x*x + y*y + h.Z*h.Z
	return 1 / (math.Pi * g.AX * g.AY * e * e)
}

// stretch returns the length of w after the surface is scaled to roughness 1: sqrt(ax^2 x^2 + ay^2 y^2 + z^2). The
// masking functions are short in it: Lambda = (stretch/|z| - 1)/2.
func (g GGX) stretch(w geom.Vec) float64 {
	x, y := g.AX*w.X, g.AY*w.Y
	return math.Sqrt(x*x + y*y + w.Z*w.Z)
}

// G1 returns the share of microfacets facing w that are seen from w, in [0, 1]; w may be on either side.
func (g GGX) G1(w geom.Vec) float64 {
	z := math.Abs(w.Z)
	return 2 * z / (z + g.stretch(w))
}

// SampleVisible maps (u0, u1) to a microfacet normal as seen from wo, wo.Z > 0, with density PdfVisible.
//
// Source: Dupuy and Benyoub, Sampling Visible GGX Normals with Spherical Caps, CGF 42(8), 2023.
func (g GGX) SampleVisible(wo geom.Vec, u0, u1 float64) geom.Vec {
	s := geom.Vec{X: g.AX * wo.X, Y: g.AY * wo.Y, Z: wo.Z}.Unit()
	sin, cos := math.Sincos(2 * math.Pi * u0)
	z := (1-u1)*(1+s.Z) - s.Z
	r := math.Sqrt(max(0, 1-z*z))
	h := geom.Vec{X: g.AX * (r*cos + s.X), Y: g.AY * (r*sin + s.Y), Z: max(0, z+s.Z)}
	l := h.Len()
	if l == 0 { // the one point of the cap opposite to s
		return geom.Vec{Z: 1}
	}
	return h.Mul(1 / l)
}

// PdfVisible returns the density of SampleVisible at h, in 1/sr: G1(wo) D(h) wo.h / wo.Z, and 0 where wo does not see h.
func (g GGX) PdfVisible(wo, h geom.Vec) float64 {
	c := wo.Dot(h)
	if c <= 0 || wo.Z <= 0 {
		return 0
	}
	return 2 * c * g.D(h) / (wo.Z + g.stretch(wo))
}
