package microfacet

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/scene/geom"
)

// Samples of two lobes follow their common density (chi-square, fixed seeds, significance 1e-4), a sample's weight is value times cosine
// over density and at most 1, and the lobe goes both ways alike. All of it in one lobe is that lobe.
func TestPair(t *testing.T) {
	p := Pair{A: 0.15, B: 0.5, Part: 0.4}
	for _, mu := range []float64{1, 0.5, 0.1} {
		wo := at(mu, 0.7)
		r := spherestat.Check(spherestat.Case{
			Pdf: func(w geom.Vec) float64 { return p.Pdf(wo, w) },
			Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
				w, _, _, pdf, ok := p.Sample(wo, u0, u1)
				return w, pdf, ok
			},
			Axis: geom.Reflect(wo, geom.Vec{Z: 1}), N: 30000, Seed: 11, Power: 4,
		})
		near(t, fmt.Sprintf("mu %g: integral", mu), r.Integral, r.Share, 0.012)
		if r.P < 1e-4 || r.Outside > 0 || r.PdfError > 1e-6 {
			t.Errorf("mu %g: chi-square p %g, %d samples where the density is 0, density off by %g", mu, r.P, r.Outside, r.PdfError)
		}
	}
	rng := rand.New(rand.NewPCG(5, 1))
	for range 2000 {
		a, b := at(rng.Float64(), 7*rng.Float64()), at(rng.Float64(), 7*rng.Float64())
		near(t, "reciprocity", p.Eval(a, b), p.Eval(b, a), 1e-9*p.Eval(a, b))
		u0, u1 := rng.Float64(), rng.Float64()
		wi, w, h, pdf, ok := p.Sample(a, u0, u1)
		if ok {
			near(t, "weight", w, p.Eval(a, wi)*wi.Z/pdf, 1e-9)
			if k, _ := HalfReflect(a, wi); k.Sub(h).Len() > 1e-6 || w > 1 {
				t.Errorf("half vector %v, want %v; weight %g", k, h, w)
			}
		}
		one, w1, _, _, ok1 := Pair{A: 0.15, B: 0.5, Part: 1}.Sample(a, u0, u1)
		alone, w2, _, _, ok2 := Reflect{0.15, 0.15}.Sample(a, u0, u1)
		if one != alone || w1 != w2 || ok1 != ok2 {
			t.Errorf("one lobe: %v, want %v", one, alone)
		}
	}
}
