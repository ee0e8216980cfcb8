package fresnel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tol)
	}
}

// Reflectances from air at whole degrees: Fresnel's equations (Born and Wolf, Principles of Optics, 7th ed., section
// 1.5.2) worked out apart from this program, to six decimals. 1.336 tear film, 1.376 cornea, 1.5 glass.
func TestDielectricTable(t *testing.T) {
	const eps = 6e-7
	for _, r := range []struct{ deg, n1336, n1376, n15 float64 }{
		{0, 0.020689, 0.025043, 0.040000},
		{30, 0.021762, 0.026244, 0.041523},
		{45, 0.028276, 0.033416, 0.050240},
		{50, 0.034087, 0.039727, 0.057663},
		{55, 0.043861, 0.050233, 0.069726},
		{60, 0.060255, 0.067650, 0.089187},
		{65, 0.087797, 0.096522, 0.120513},
		{70, 0.134287, 0.144559, 0.171043},
		{75, 0.213319, 0.224987, 0.253061},
		{80, 0.348904, 0.360898, 0.387704},
		{85, 0.584306, 0.593611, 0.612800},
		{89, 0.896502, 0.899137, 0.904185},
	} {
		c := math.Cos(geom.Radians(r.deg))
		near(t, "n 1.336", Dielectric(c, 1.336), r.n1336, eps)
		near(t, "n 1.376", Dielectric(c, 1.376), r.n1376, eps)
		near(t, "n 1.5", Dielectric(c, 1.5), r.n15, eps)
	}
	for _, r := range []struct{ deg, n, rs, rp float64 }{
		{30, 1.376, 0.037494, 0.014995},
		{45, 1.376, 0.062878, 0.003954},
		{45, 1.5, 0.092013, 0.008466},
		{60, 1.376, 0.131601, 0.003698},
		{60, 1.5, 0.176571, 0.001802},
		{75, 1.376, 0.338894, 0.111080},
		{75, 1.5, 0.399356, 0.106765},
		{80, 1.376, 0.481523, 0.240273},
		{80, 1.5, 0.538595, 0.236814},
		{85, 1.376, 0.691896, 0.495326},
		{85, 1.5, 0.732345, 0.493254},
	} {
		rs, rp := Polarised(math.Cos(geom.Radians(r.deg)), r.n)
		near(t, "s", rs, r.rs, eps)
		near(t, "p", rp, r.rp, eps)
	}
}

// Normal incidence ((n-1)/(n+1))^2, Brewster's angle atan n, where p vanishes, and the critical angle asin 1/n, past
// which all is reflected: closed forms (Born and Wolf), with their values.
func TestNormalBrewsterCritical(t *testing.T) {
	for _, r := range []struct{ n, f0, brewster, critical float64 }{
		{1.336, 0.02068868, 53.18504, 48.46087},
		{1.3375, 0.02084704, 53.21587, 48.38839},
		{1.376, 0.02504280, 53.99244, 46.61414},
		{1.3771, 0.02516623, 54.01421, 46.56574},
		{1.4, 0.02777778, 54.46232, 45.58469},
		{1.5, 0.04000000, 56.30993, 41.81031},
		{1.376 / 1.336, 0.00021754, 45.845, 76.151}, // cornea and aqueous humour
		{1.42 / 1.336, 0.00092897, 46.746, 70.194},  // lens and aqueous humour
	} {
		near(t, "normal", Dielectric(1, r.n), r.f0, 5.1e-9)
		near(t, "normal, from inside", Dielectric(1, 1/r.n), r.f0, 5.1e-9)
		near(t, "Brewster", geom.Degrees(math.Atan(r.n)), r.brewster, 5.1e-4)
		_, rp := Polarised(math.Cos(math.Atan(r.n)), r.n)
		near(t, "p at Brewster", rp, 0, 1e-25)
		crit := math.Asin(1 / r.n)
		near(t, "critical", geom.Degrees(crit), r.critical, 5.1e-4)
		if f := Dielectric(math.Cos(crit+1e-6), 1/r.n); f != 1 {
			t.Errorf("n %g: %g past the critical angle, want exactly 1", r.n, f)
		}
		if f := Dielectric(math.Cos(crit-1e-3), 1/r.n); !(f < 0.95) {
			t.Errorf("n %g: %g before the critical angle", r.n, f)
		}
	}
}

// Light takes the same share both ways along one path (Stokes), and limits behave.
func TestDielectricReversibleAndLimits(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 10000 {
		n := 1 + rng.Float64()
		c := rng.Float64()
		ct := math.Sqrt(1 - (1-c*c)/(n*n))
		near(t, "reversed", Dielectric(ct, 1/n), Dielectric(c, n), 1e-9) // ct keeps few digits of a small c
	}
	for _, n := range []float64{1.0001, 1.336, 1 / 1.336, 2.4} {
		if f := Dielectric(0, n); f != 1 {
			t.Errorf("grazing, n %g: %g, want 1", n, f)
		}
	}
	for _, c := range []float64{1e-12, 1e-6, 0.3, 1} {
		near(t, "no interface", Dielectric(c, 1), 0, 1e-30)
	}
}

// Hemispherical means. Values: the integral worked out apart from this program, to six decimals.
func TestHemispherical(t *testing.T) {
	for _, r := range []struct{ n, re, ri, third float64 }{
		{1.336, 0.066880, 0.477213, 0.333686},
		{1.3375, 0.067117, 0.478517, 0.335040},
		{1.376, 0.073125, 0.510464, 0.368760},
		{1.4, 0.076812, 0.528985, 0.388783},
		{1.5, 0.091778, 0.596346, 0.464431},
		{2.0, 0.160597, 0.790149, 0.704870},
	} {
		re, ri := HemisphericalExternal(r.n), HemisphericalInternal(r.n)
		near(t, "external", re, r.re, 6e-7)
		near(t, "internal", ri, r.ri, 6e-7)
		near(t, "external from the dense side", HemisphericalExternal(1/r.n), ri, 0)
		near(t, "external by quadrature", hemisphericalQuadrature(r.n), re, 1e-8)
		first, second := internalMoments(r.n)
		near(t, "internal by quadrature", 2*first, ri, 1e-6)
		near(t, "second moment, internal", 3*second, r.third, 2e-6)

		// Published fits: Egan and Hilgeman 1979 (as in Jensen et al., SIGGRAPH 2001) for the internal value, and
		// d'Eon and Irving, ACM TOG 30(4), 2011, for its first and second moments.
		n := r.n
		near(t, "Egan and Hilgeman", ri, -1.4399/(n*n)+0.7099/n+0.6681+0.0636*n, 6e-4)
		c1 := -9.23372 + n*(22.2272+n*(-20.9292+n*(10.2291+n*(-2.54396+n*0.254913))))
		near(t, "d'Eon and Irving, 2 C1", ri, c1, 1e-3)
		c2 := -1641.1 + 135.926/(n*n*n) - 656.175/(n*n) + 1376.53/n + n*(1213.67+n*(-568.556+n*(164.798+n*(-27.0181+n*1.91826))))
		near(t, "d'Eon and Irving, 3 C2", 3*second, c2, 3e-3)
		m := 1 / n
		e1 := 0.919317 + m*(-3.4793+m*(6.75335+m*(-7.80989+m*(4.98554+m*-1.36881))))
		near(t, "d'Eon and Irving, external", re, e1, 1e-3)
	}
	// Where the closed form hands over to quadrature the two must meet, and both must vanish with the interface: as
	// (n-1)/3, which follows from F = (sqrt(x+1) - sqrt(x))^4 at mu^2 = 2 (n-1) x (own derivation).
	for _, n := range []float64{1.0005, 1.001, 1.03, 1.08} {
		near(t, "hand-over", hemisphericalQuadrature(n), walsh(n), 2e-10)
	}
	near(t, "no interface", HemisphericalExternal(1), 0, 0)
	near(t, "next to none", HemisphericalExternal(1+1e-6)/1e-6, 1./3, 1e-4)
	near(t, "next to none", HemisphericalExternal(1+1e-5)/1e-5, 1./3, 1e-3)
}

// internalMoments returns the integrals of F mu and F mu^2 seen from the dense side, split at the critical angle.
func internalMoments(n float64) (first, second float64) {
	crit := math.Sqrt(1 - 1/(n*n))
	first, second = crit*crit/2, crit*crit*crit/3
	const steps = 20000
	for i := range steps {
		x := (float64(i) + 0.5) / steps
		mu := crit + (1-crit)*x*x // F rises like a square root at the critical angle
		w := (1 - crit) * 2 * x / steps
		f := Dielectric(mu, 1/n)
		first += f * mu * w
		second += f * mu * mu * w
	}
	return first, second
}

// A metal against Fresnel's amplitudes in complex arithmetic, against clear media, and at normal incidence
// ((n-1)^2 + k^2)/((n+1)^2 + k^2) (Born and Wolf, section 14.2).
func TestConductor(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	for range 5000 {
		n, k, c := 0.05+4*rng.Float64(), 6*rng.Float64(), rng.Float64()
		got := Conductor(c, colour.Grey(n), colour.Grey(k))[1]
		m := complex(n, k)
		g := cmplx.Sqrt(m*m - complex(1-c*c, 0))
		rs := cmplx.Abs((complex(c, 0) - g) / (complex(c, 0) + g))
		rp := cmplx.Abs((m*m*complex(c, 0) - g) / (m*m*complex(c, 0) + g))
		near(t, "complex", got, 0.5*(rs*rs+rp*rp), 1e-10)
		near(t, "clear", Conductor(c, colour.Grey(1+n), colour.RGB{})[2], Dielectric(c, 1+n), 1e-10)
		f0 := ((n-1)*(n-1) + k*k) / ((n+1)*(n+1) + k*k)
		near(t, "normal", Conductor(1, colour.Grey(n), colour.Grey(k))[0], f0, 1e-12)
		near(t, "grazing", Conductor(0, colour.Grey(n), colour.Grey(k))[0], 1, 1e-12)
	}
}

func BenchmarkDielectric(b *testing.B) {
	c, s := 0.0, 0.0
	for b.Loop() {
		c += 0.001
		if c > 1 {
			c = 0
		}
		s += Dielectric(c, 1.336)
	}
	sink = s
}

var sink float64
