package microfacet

import "catchlight/scene/geom"

// Pair is the lobe of a face whose facets are of two kinds, side by side: the share Part of it, in [0, 1], has the roughness A, the
// rest the roughness B (GGX alphas). Each kind is masked by itself, so that it is the sum of two lobes; one facet serves both, so
// that a Fresnel factor at the half vector stands before the sum. Skin is like that: lines and plates beside a smoother film of oil.
//
// Source: two lobes of skin, Ghosh et al., Practical Modeling and Acquisition of Layered Facial Reflectance, ACM TOG 27 (2008), from
// memory.
type Pair struct{ A, B, Part float64 }

func (p *Pair) lobes() (a, b Reflect) { return Reflect{p.A, p.A}, Reflect{p.B, p.B} }

// Eval is Reflect.Eval of both.
func (p Pair) Eval(wo, wi geom.Vec) float64 {
	a, b := p.lobes()
	if p.Part >= 1 {
		return a.Eval(wo, wi)
	}
	return p.Part*a.Eval(wo, wi) + (1-p.Part)*b.Eval(wo, wi)
}

// Pdf returns the density of Sample at wi, in 1/sr.
func (p Pair) Pdf(wo, wi geom.Vec) float64 {
	a, b := p.lobes()
	if p.Part >= 1 {
		return a.Pdf(wo, wi)
	}
	return p.Part*a.Pdf(wo, wi) + (1-p.Part)*b.Pdf(wo, wi)
}

// Sample is Reflect.Sample of both: u1 chooses the lobe and then serves again. The weight is that of both lobes over the density of
// both, so that it stays within [0, 1].
func (p Pair) Sample(wo geom.Vec, u0, u1 float64) (wi geom.Vec, weight float64, h geom.Vec, pdf float64, ok bool) {
	a, b := p.lobes()
	switch {
	case p.Part >= 1:
		return a.Sample(wo, u0, u1)
	case u1 < p.Part:
		wi, _, h, _, ok = a.Sample(wo, u0, u1/p.Part)
	default:
		wi, _, h, _, ok = b.Sample(wo, u0, min((u1-p.Part)/(1-p.Part), 1-0x1p-53))
	}
	if !ok {
		return wi, 0, h, 0, false
	}
	pdf = p.Pdf(wo, wi)
	return wi, p.Eval(wo, wi) * wi.Z / pdf, h, pdf, true
}
