package geom

// ShadingNormal returns the normal nearest to ns for which a mirror ray of wo stays on wo's side of the surface with normal ng.
// wo and both normals lie on the same side; where wo may graze the surface or lie beneath it by rounding, its cosine counts as
// floor at least.
//
// Source: Keller et al., The Iray Light Transport Simulation and Rendering System, 2017, appendix A.3 (from memory):
// the mirrored ray is lifted to the surface and the normal is the half vector.
func ShadingNormal(wo, ng, ns Vec, floor float64) Vec {
	r := Reflect(wo, ns)
	low := r.Dot(ng)
	limit := min(0.01, 0.9*max(floor, wo.Dot(ng)))
	if wo.Dot(ns) > 0 && low >= limit {
		return ns
	}
	// Lift the mirror ray along ng until it clears the surface, and mirror about the half vector.
	h := wo.Add(r.Mad(limit-low, ng).Unit())
	if h.Len2() < 1e-12 {
		return ng
	}
	return h.Unit()
}
