package microfacet

import (
	"math"

	"catchlight/scene/geom"
)

// Refract is the lobe of light bent through a rough interface, single scattering, without the Fresnel factor 1-F.
// Eta is the index of the far side (where wi is, Z < 0) over that of the near side (wo, Z > 0), > 0 and not 1: an
// interface between equal indices is none. For light on its way out turn the frame over and take 1/Eta.
//
// The transported quantity is basic radiance, L/n^2: Eval carries NO scaling of radiance by n^2. With weights of
// samples alone nothing more is needed, for L/n^2 is what a path keeps on its way; whoever multiplies Eval by a radiance, a
// solid angle or an irradiance inside a medium must count that radiance as L/n^2, or multiply the measure by n^2. So
// reciprocity reads n_o^2 f(wo, wi) = n_i^2 f(wi, wo).
//
// Source: Walter et al., Microfacet Models for Refraction through Rough Surfaces, EGSR 2007, equations 16, 17, 21,
// with their separable masking G1(wo) G1(wi).
type Refract struct{ AX, AY, Eta float64 }

// HalfRefract returns the microfacet normal, on wo's side, that bends wo to wi; ok is false if there is none.
func HalfRefract(wo, wi geom.Vec, eta float64) (h geom.Vec, ok bool) {
	h = wo.Mad(eta, wi)
	l := h.Len()
	if l < 1e-12 {
		return geom.Vec{}, false
	}
	if eta > 1 {
		l = -l
	}
	h = h.Mul(1 / l)
	return h, h.Z > 0 && wo.Dot(h) > 0 && wi.Dot(h) < 0
}

// Eval returns the lobe in 1/sr of the far side, cosine not included, for wo.Z > 0 and wi.Z < 0; 0 otherwise. See the
// type for the missing n^2.
func (r Refract) Eval(wo, wi geom.Vec) float64 {
	if wo.Z <= 0 || wi.Z >= 0 {
		return 0
	}
	h, ok := HalfRefract(wo, wi, r.Eta)
	if !ok {
		return 0
	}
	g := GGX{r.AX, r.AY}
	co, ci := wo.Dot(h), -wi.Dot(h)
	den := co - r.Eta*ci
	return 4 * co * ci * r.Eta * r.Eta * g.D(h) / ((wo.Z + g.stretch(wo)) * (-wi.Z + g.stretch(wi)) * den * den)
}

// Pdf returns the density of Sample at wi, in 1/sr of the far side.
func (r Refract) Pdf(wo, wi geom.Vec) float64 {
	if wo.Z <= 0 || wi.Z >= 0 {
		return 0
	}
	h, ok := HalfRefract(wo, wi, r.Eta)
	if !ok {
		return 0
	}
	return r.pdfAt(wo, wi, h)
}

func (r Refract) pdfAt(wo, wi, h geom.Vec) float64 {
	ci := -wi.Dot(h)
	den := wo.Dot(h) - r.Eta*ci
	return GGX{r.AX, r.AY}.PdfVisible(wo, h) * r.Eta * r.Eta * ci / (den * den)
}

// Sample maps (u0, u1) to a direction wi for wo.Z > 0. weight is Eval |wi.Z| / pdf = G1(wi), in [0, 1]; h is the
// microfacet normal, for the caller's Fresnel factor; pdf is in 1/sr. ok is false past the critical angle of h, where
// 1-F is 0, or where the bent direction stays above the surface: the sample counts as 0.
func (r Refract) Sample(wo geom.Vec, u0, u1 float64) (wi geom.Vec, weight float64, h geom.Vec, pdf float64, ok bool) {
	if wo.Z <= 0 {
		return geom.Vec{}, 0, geom.Vec{}, 0, false
	}
	g := GGX{r.AX, r.AY}
	h = g.SampleVisible(wo, u0, u1)
	if wo.Dot(h) <= 0 {
		return geom.Vec{}, 0, h, 0, false
	}
	wi, ok = geom.Refract(wo, h, r.Eta)
	if !ok || wi.Z >= 0 {
		return geom.Vec{}, 0, h, 0, false
	}
	pdf = r.pdfAt(wo, wi, h)
	if !(pdf > 0) || math.IsInf(pdf, 0) {
		return geom.Vec{}, 0, h, 0, false
	}
	return wi, g.G1(wi), h, pdf, true
}
