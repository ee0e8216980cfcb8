package microfacet

import (
	"math"

	"catchlight/scene/geom"
)

// Balance tells, by the cosine on the near side, what share of light a rough dielectric interface mirrors and what
// share it mirrors or passes, by single scattering between its facets with their own Fresnel reflectance. What is missing
// to 1 scatters more than once. Read-only after NewBalance.
type Balance struct {
	mirrored, kept [balanceSide]float64 // at the cosines x^2, x even from 0 to 1
}

const balanceSide = 48

// NewBalance computes the table, in some 20 milliseconds, for an interface of roughness alpha whose facets mirror the share
// fresnel(c) at the cosine c on the near side. eta is the index of the far side over that of the near side, not 1; 0
// leaves out what passes.
func NewBalance(alpha, eta float64, fresnel func(c float64) float64) *Balance {
	b := new(Balance)
	n := 24
	if eta != 0 {
		n = 48 // what passes ends at the critical angle
	}
	g, r := GGX{alpha, alpha}, Reflect{alpha, alpha}
	for k := range b.mirrored {
		x := float64(k) / (balanceSide - 1)
		mu := max(1e-4, x*x)
		wo := geom.Vec{X: math.Sqrt(1 - mu*mu), Z: mu}
		if alpha < MinAlpha {
			b.mirrored[k], b.kept[k] = fresnel(mu), 1
			continue
		}
		var m, p, all float64
		for j := range n {
			// Steep facets are near u1 = 1, so the points crowd there.
			t := (float64(j) + 0.5) / float64(n)
			u1, du := 1-t*t, 2*t
			for i := range n {
				all += du
				h := g.SampleVisible(wo, (float64(i)+0.5)/float64(n), u1)
				c := wo.Dot(h)
				if c <= 0 {
					continue
				}
				f := fresnel(c)
				if wi := geom.Reflect(wo, h); wi.Z > 0 {
					m += du * f * r.Eval(wo, wi) * wi.Z / r.Pdf(wo, wi)
				}
				if eta == 0 || f >= 1 {
					continue
				}
				if wi, ok := geom.Refract(wo, h, eta); ok && wi.Z < 0 {
					p += du * (1 - f) * g.G1(wi)
				}
			}
		}
		b.mirrored[k], b.kept[k] = m/all, (m+p)/all
	}
	return b
}

// at looks up a row at the cosine mu in [0, 1], linear between points.
func (b *Balance) at(row *[balanceSide]float64, mu float64) float64 {
	x := math.Sqrt(min(1, max(0, mu))) * (balanceSide - 1)
	i := min(int(x), balanceSide-2)
	f := x - float64(i)
	return (1-f)*row[i] + f*row[i+1]
}

// Mirrored returns the share of light that is mirrored at the cosine mu, in [0, 1].
func (b *Balance) Mirrored(mu float64) float64 { return b.at(&b.mirrored, mu) }

// Gain returns the factor, >= 1 but for the table's rounding, that mirrored and passed light are multiplied by so that
// nothing is lost: one over the share that single scattering keeps. As it depends on wo alone, the scaled lobe is not
// reciprocal.
//
// Source: Turquin, Practical Multiple Scattering Compensation for Microfacet Models, 2019, the part on dielectrics (from
// memory).
func (b *Balance) Gain(mu float64) float64 { return 1 / b.at(&b.kept, mu) }
