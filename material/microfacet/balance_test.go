package microfacet

import (
	"testing"

	"catchlight/material/fresnel"
)

// Along the normal: a mirror of alpha 1 gives back 1 - ln 2 by single scattering (closed form of the height-correlated Smith
// term; Heitz, JCGT 3 (2014), 48-107). Glass of index 1.5 and alpha 0.36 keeps 0.983 from outside and 0.859 from inside (own
// quadrature over visible normals, another program). A smooth face keeps all and mirrors Fresnel's share.
func TestBalance(t *testing.T) {
	near := func(what string, got, want, tol float64) {
		t.Helper()
		if !(got > want-tol && got < want+tol) {
			t.Errorf("%s: %.5f, want %.5f", what, got, want)
		}
	}
	near("mirror", NewBalance(1, 0, func(float64) float64 { return 1 }).Mirrored(1), 0.306853, 5e-4)
	glass := func(alpha, eta float64) *Balance {
		return NewBalance(alpha, eta, func(c float64) float64 { return fresnel.Dielectric(c, eta) })
	}
	near("outside", 1/glass(0.36, 1.5).Gain(1), 0.983, 1e-3)
	near("inside", 1/glass(0.36, 1/1.5).Gain(1), 0.859, 1e-3)
	for _, mu := range []float64{0.01, 0.2, 0.7, 1} {
		near("smooth, kept", glass(0, 1.5).Gain(mu), 1, 1e-12)
		near("smooth, mirrored", glass(0, 1.5).Mirrored(mu), fresnel.Dielectric(mu, 1.5), 1e-3)
	}
	// Between the points of the table as on them.
	for _, mu := range []float64{0.05, 0.31, 0.62, 0.9} {
		e := directional(mu, 0.3, 64)
		near("between points", NewBalance(0.3, 0, func(float64) float64 { return 1 }).Mirrored(mu), e, 1e-3)
	}
}

func BenchmarkNewBalance(b *testing.B) {
	for b.Loop() {
		NewBalance(0.36, 1.5, func(c float64) float64 { return fresnel.Dielectric(c, 1.5) })
	}
}
