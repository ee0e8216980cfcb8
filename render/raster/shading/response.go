package shading

import (
	"math"

	"catchlight/material/microfacet"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Response is what a surface reflects of even light, by the cosine of the view: the second factor of the split sum, for one material
// with its own Fresnel curve.
//
// Source: Karis 2013; there the curve is Schlick's and the table is over roughness too, here each material has its own row.
type Response struct {
	v [responseNodes]colour.RGB
	e [responseNodes]float64 // the same of a perfect mirror
}

const responseNodes = 64

// NewResponse integrates a GGX lobe of the given alpha with the Fresnel reflectance f of the cosine at the facet; below
// microfacet.MinAlpha it is f itself.
func NewResponse(alpha float64, f func(c float64) colour.RGB) *Response {
	r := &Response{}
	const n = 24
	for i := range r.v {
		mu := max(1e-3, float64(i)/(responseNodes-1))
		if alpha < microfacet.MinAlpha {
			r.v[i], r.e[i] = f(mu), 1
			continue
		}
		g := microfacet.Reflect{AX: alpha, AY: alpha}
		wo := geom.Vec{X: math.Sqrt(1 - mu*mu), Z: mu}
		for k := range n * n {
			// What is lost comes from steep facets, near u1 = 1: the points crowd there.
			t := (float64(k/n) + 0.5) / n
			_, w, h, _, ok := g.Sample(wo, (float64(k%n)+0.5)/n, 1-t*t*t*t)
			if ok {
				w *= 4 * t * t * t / (n * n)
				r.v[i], r.e[i] = r.v[i].Add(f(wo.Dot(h)).Scale(w)), r.e[i]+w
			}
		}
	}
	return r
}

// Compensated returns the response with the light that scatters between facets more than once put back, for a metal of reflectance
// f0 at normal incidence, as microfacet.EnergyTable does for the path tracer.
//
// Source: Turquin, Practical Multiple Scattering Compensation for Microfacet Models, 2019.
func (r *Response) Compensated(f0 colour.RGB) *Response {
	out := *r
	for i, e := range r.e {
		for c := range f0 {
			out.v[i][c] *= 1 + f0[c]*(1-e)/e
		}
	}
	return &out
}

// At returns the response at the cosine mu in [0, 1].
func (r *Response) At(mu float64) colour.RGB {
	x := max(0, min(1, mu)) * (responseNodes - 1)
	i := min(int(x), responseNodes-2)
	return colour.Lerp(r.v[i], r.v[i+1], x-float64(i))
}
