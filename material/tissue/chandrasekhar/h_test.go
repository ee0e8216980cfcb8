package chandrasekhar

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tol)
	}
}

// H at five cosines for four albedos: Stibbs and Weir 1959 and Chandrasekhar, Radiative Transfer, 1950, table XI; the
// digits here from the integral worked out apart from this program. H(1) at albedo 1 is 2.9078 in Chandrasekhar.
func TestH(t *testing.T) {
	mus := []float64{0.1, 0.25, 0.5, 0.75, 1}
	for _, r := range []struct {
		alpha float64
		h     [5]float64
	}{
		{0.5, [5]float64{1.07237, 1.12965, 1.18774, 1.22493, 1.25126}},
		{0.9, [5]float64{1.17214, 1.34327, 1.55603, 1.71900, 1.85010}},
		{0.99, [5]float64{1.22488, 1.48074, 1.84860, 2.17539, 2.47279}},
		{1, [5]float64{1.24735, 1.54733, 2.01278, 2.46346, 2.90781}},
	} {
		for i, mu := range mus {
			near(t, fmt.Sprintf("H(%g), albedo %g", mu, r.alpha), H(mu, r.alpha), r.h[i], 6e-6)
		}
	}
	// H solves H = 1 + (alpha/2) mu H int H(m)/(mu+m) dm (Chandrasekhar 1950, chapter V).
	for _, alpha := range []float64{0.2, 0.8, 0.999} {
		for _, mu := range []float64{0.03, 0.4, 0.9} {
			h := H(mu, alpha)
			i := quad.Fixed(func(x float64) float64 {
				m := x * x
				return 2 * x * H(m, alpha) / (mu + m)
			}, 0, 1, 60, nil, 0)
			near(t, "integral equation", 1+alpha/2*mu*h*i, h, 1e-5)
		}
	}
}
