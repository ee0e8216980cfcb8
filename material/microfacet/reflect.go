package microfacet

import "catchlight/scene/geom"

// Reflect is the lobe of light thrown back by a rough surface, single scattering, without the Fresnel factor.
type Reflect struct{ AX, AY float64 }

// HalfReflect returns the microfacet normal that mirrors wo to wi; ok is false where the two are opposite.
func HalfReflect(wo, wi geom.Vec) (h geom.Vec, ok bool) {
	h = wo.Add(wi)
	l2 := h.Len2()
	if l2 < 1e-30 {
		return geom.Vec{}, false
	}
	h = h.Unit()
	if h.Z < 0 {
		h = h.Neg()
	}
	return h, true
}

// Eval returns D G2 / (4 cosO cosI) in 1/sr, cosine not included, for wo and wi above the surface; 0 otherwise. It is
// reciprocal.
func (r Reflect) Eval(wo, wi geom.Vec) float64 {
	if wo.Z <= 0 || wi.Z <= 0 {
		return 0
	}
	h, ok := HalfReflect(wo, wi)
	if !ok {
		return 0
	}
	g := GGX(r)
	// The cosines of G2 cancel against those below it, so this stays finite at grazing.
	return g.D(h) / (2 * (g.stretch(wo)*wi.Z + g.stretch(wi)*wo.Z))
}

// Pdf returns the density of Sample at wi, in 1/sr.
func (r Reflect) Pdf(wo, wi geom.Vec) float64 {
	if wo.Z <= 0 || wi.Z <= 0 {
		return 0
	}
	h, ok := HalfReflect(wo, wi)
	if !ok {
		return 0
	}
	g := GGX(r)
	return g.D(h) / (2 * (wo.Z + g.stretch(wo)))
}

// Sample maps (u0, u1) to a direction wi for wo.Z > 0. weight is Eval wi.Z / pdf = G2/G1, in [0, 1]; h is the
// microfacet normal, for the caller's Fresnel factor; pdf is in 1/sr. ok is false where the mirrored direction runs
// into the surface: that light is lost to this lobe (it would scatter again), and the sample counts as 0. So Pdf
// integrates to at most 1: to the share of samples with ok.
func (r Reflect) Sample(wo geom.Vec, u0, u1 float64) (wi geom.Vec, weight float64, h geom.Vec, pdf float64, ok bool) {
	if wo.Z <= 0 {
		return geom.Vec{}, 0, geom.Vec{}, 0, false
	}
	g := GGX(r)
	h = g.SampleVisible(wo, u0, u1)
	wi = geom.Reflect(wo, h)
	if wi.Z <= 0 {
		return geom.Vec{}, 0, h, 0, false
	}
	so, si := g.stretch(wo), g.stretch(wi)
	weight = wi.Z * (wo.Z + so) / (so*wi.Z + si*wo.Z)
	pdf = g.D(h) / (2 * (wo.Z + so))
	return wi, weight, h, pdf, true
}
