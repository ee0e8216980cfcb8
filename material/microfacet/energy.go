package microfacet

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// EnergyTable knows how much light Reflect sends back with a perfect mirror's reflectance, for every angle and
// roughness. What is missing to 1 scatters between facets more than once; Scale puts it back. Read-only after
// NewEnergyTable, so any number of workers may share one.
type EnergyTable struct {
	e [tableSide][tableSide]float64 // [sqrt(alpha)][sqrt(mu)], both from 0 to 1
}

const tableSide = 32

// NewEnergyTable computes the table, which takes some tens of milliseconds.
func NewEnergyTable() *EnergyTable {
	t := new(EnergyTable)
	for a := range t.e {
		y := float64(a) / (tableSide - 1)
		alpha := max(MinAlpha, y*y)
		for m := range t.e[a] {
			x := float64(m) / (tableSide - 1)
			t.e[a][m] = directional(max(1e-4, x*x), alpha, 32)
		}
	}
	return t
}

// directional returns the mean weight of Reflect's samples, the directional albedo with the Fresnel factor 1, by the
// midpoint rule with n x n points. What is missing comes from steep facets, near u1 = 1, so the points crowd there.
func directional(mu, alpha float64, n int) float64 {
	r := Reflect{alpha, alpha}
	wo := geom.Vec{X: math.Sqrt(1 - mu*mu), Z: mu}
	lost := 0.0
	for j := range n {
		t := (float64(j) + 0.5) / float64(n)
		u1, du := 1-t*t*t*t, 4*t*t*t
		for i := range n {
			_, w, _, _, ok := r.Sample(wo, (float64(i)+0.5)/float64(n), u1)
			if !ok {
				w = 0
			}
			lost += (1 - w) * du
		}
	}
	return 1 - lost/float64(n*n)
}

// Directional returns the directional albedo of Reflect with the Fresnel factor 1, in (0, 1], at the cosine mu in
// [0, 1] and roughness alpha in [0, 1] (for an anisotropic lobe: the geometric mean of its two), by bilinear look-up.
func (t *EnergyTable) Directional(mu, alpha float64) float64 {
	x := math.Sqrt(min(1, max(0, mu))) * (tableSide - 1)
	y := math.Sqrt(min(1, max(0, alpha))) * (tableSide - 1)
	i, j := min(int(x), tableSide-2), min(int(y), tableSide-2)
	fx, fy := x-float64(i), y-float64(j)
	a, b := &t.e[j], &t.e[j+1]
	return (1-fy)*((1-fx)*a[i]+fx*a[i+1]) + fy*((1-fx)*b[i]+fx*b[i+1])
}

// Scale returns the factor per channel, >= 1, that a metal's Reflect times Fresnel is multiplied by to count light that
// scatters between its facets: 1 + f0 (1-E)/E, with the reflectance f0 at normal incidence, in [0, 1]. With f0 = 1 the
// lobe sends back all it receives. As it depends on wo alone, the scaled lobe is not reciprocal.
//
// Source: Turquin, Practical Multiple Scattering Compensation for Microfacet Models, 2019.
func (t *EnergyTable) Scale(f0 colour.RGB, mu, alpha float64) colour.RGB {
	e := t.Directional(mu, alpha)
	k := (1 - e) / e
	return colour.RGB{1 + f0[0]*k, 1 + f0[1]*k, 1 + f0[2]*k}
}
