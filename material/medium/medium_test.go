package medium

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/scene/colour"
	"catchlight/scene/geom"

	"gonum.org/v1/gonum/integrate/quad"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tol)
	}
}

func mustNew(t testing.TB, path, albedo, g float64) Medium {
	t.Helper()
	m, err := New(colour.Grey(path), colour.Grey(albedo), g)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Beer-Lambert: exp(-d/path), 1 in vacuum at any distance.
func TestTransmittance(t *testing.T) {
	m, err := New(colour.RGB{2, 0.5, math.Inf(1)}, colour.Grey(0.5), 0)
	if err != nil {
		t.Fatal(err)
	}
	got := m.Transmittance(1)
	near(t, "path 2", got[0], math.Exp(-0.5), 1e-15)
	near(t, "path 1/2", got[1], math.Exp(-2), 1e-15)
	near(t, "vacuum", got[2], 1, 0)
	far := m.Transmittance(math.Inf(1))
	if far != (colour.RGB{0, 0, 1}) {
		t.Errorf("at infinity: %v", far)
	}
	var vacuum Medium
	if vacuum.Transmittance(1e9) != colour.Grey(1) {
		t.Error("the zero value is not vacuum")
	}
	if d, pdf := vacuum.SampleFlight(0, 0.5); !math.IsInf(d, 1) || pdf != 0 {
		t.Errorf("flight in vacuum %g, pdf %g", d, pdf)
	}
}

// Free flights: u is the share of the distribution below d, and the pdf its slope.
func TestSampleFlight(t *testing.T) {
	m := mustNew(t, 0.2, 0.9, 0)
	for _, u := range []float64{0, 1e-12, 0.3, 0.999, 1 - 0x1p-53} {
		d, pdf := m.SampleFlight(1, u)
		near(t, "share", -math.Expm1(-d/0.2), u, 1e-14)
		near(t, "pdf", pdf, 5*math.Exp(-d/0.2), 1e-13)
	}
}

// Henyey and Greenstein 1941: values of the closed form, unit integral, mean cosine g.
func TestPhase(t *testing.T) {
	for _, r := range []struct{ g, forward, side, back float64 }{
		{0.75, 2.228169, 0.017825, 0.006496},
		{0.9, 15.11972, 0.006209, 0.002204},
	} {
		m := mustNew(t, 1, 1, r.g)
		near(t, "forward", m.Phase(1), r.forward, 1e-5)
		near(t, "side", m.Phase(0), r.side, 1e-6)
		near(t, "back", m.Phase(-1), r.back, 1e-6)
		m = mustNew(t, 1, 1, -r.g)
		near(t, "backward", m.Phase(-1), r.forward, 1e-5)
	}
	for _, g := range []float64{-0.9, -0.3, -1e-5, 0, 1e-6, 1e-3, 0.5, 0.9, 0.99} {
		m := mustNew(t, 1, 1, g)
		// x -> cos crowds the points where the peak is.
		moment := func(k float64) float64 {
			s := math.Copysign(1, g)
			return quad.Fixed(func(x float64) float64 {
				c := s * (1 - 2*x*x*x*x)
				return 2 * math.Pi * m.Phase(c) * math.Pow(c, k) * 8 * x * x * x
			}, 0, 1, 400, nil, 0)
		}
		near(t, fmt.Sprintf("g %g integral", g), moment(0), 1, 1e-9)
		near(t, fmt.Sprintf("g %g mean cosine", g), moment(1), g, 1e-9)
	}
}

// Samples follow the phase function (chi-square, fixed seed, significance 1e-4), and extremes stay in range.
func TestSamplePhase(t *testing.T) {
	for _, g := range []float64{-0.7, 0, 5e-5, 0.4, 0.9} {
		m := mustNew(t, 1, 1, g)
		p := 1.0
		if g > 0.6 {
			p = 3
		}
		r := spherestat.Check(spherestat.Case{
			Pdf: func(d geom.Vec) float64 { return m.Phase(d.Z) },
			Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
				c, pdf := m.SamplePhase(u0)
				s := math.Sqrt(max(0, 1-c*c))
				sp, cp := math.Sincos(2 * math.Pi * u1)
				return geom.Vec{X: s * cp, Y: s * sp, Z: c}, pdf, true
			},
			Axis: geom.Vec{Z: 1}, Power: p, N: 100000, Seed: 4,
		})
		near(t, "integral", r.Integral, 1, 2e-3)
		if r.P < 1e-4 || r.PdfError > 1e-6 {
			t.Errorf("g %g: %+v", g, r)
		}
	}
	// u is the share of scattering below the sampled cosine, also where a series stands in for the closed form.
	for _, g := range []float64{-9.9e-5, 9.9e-5, 1.01e-4, -0.6, 0.95} {
		m := mustNew(t, 1, 1, g)
		for _, u := range []float64{0.1, 0.5, 0.8} {
			c, _ := m.SamplePhase(u)
			share := quad.Fixed(func(x float64) float64 { return 2 * math.Pi * m.Phase(x) }, -1, c, 200, nil, 0)
			near(t, fmt.Sprintf("g %g, u %g", g, u), share, u, 2e-8)
		}
	}
	for _, g := range []float64{-0.999999, -1e-4, 1e-4, 0.999999} {
		m := mustNew(t, 1, 1, g)
		last := math.NaN()
		for _, u := range []float64{0, 0.25, 0.5, 0.75, 1 - 0x1p-53} {
			c, pdf := m.SamplePhase(u)
			if !(c >= -1 && c <= 1) || !(pdf > 0) || math.IsInf(pdf, 0) || c < last {
				t.Errorf("g %g, u %g: cosine %g after %g, pdf %g", g, u, c, last, pdf)
			}
			last = c
		}
	}
}

// turn returns the direction at the cosine c from d, at the azimuth 2 pi u.
func turn(d geom.Vec, c, u float64) geom.Vec {
	s := math.Sqrt(max(0, 1-c*c))
	sp, cp := math.Sincos(2 * math.Pi * u)
	return geom.NewFrame(d).World(geom.Vec{X: s * cp, Y: s * sp, Z: c})
}

// In an endless medium light is absorbed after 1/(1-a) collisions in the mean, at a mean square distance from its
// source of 2/((1-a)(1-ag)) squared mean free paths. Both are exact: the first is a geometric series; for the second, the
// squared sum of exponential steps whose directions j apart correlate as g^j (own derivation).
func TestEndlessMedium(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 1))
	const path = 0.3
	for _, r := range []struct {
		a, g, square float64
		n            int
	}{{0.9, 0, 20, 60000}, {0.9, 0.75, 61.538, 60000}, {0.99, 0.9, 1834.86, 6000}} {
		m := mustNew(t, path, r.a, r.g)
		var count, square, square2 float64
		for range r.n {
			var p geom.Vec
			d := geom.UniformSphere(rng.Float64(), rng.Float64())
			for {
				s, _ := m.SampleFlight(0, rng.Float64())
				p = p.Mad(s, d)
				count++
				if rng.Float64() >= m.Albedo()[0] {
					break
				}
				c, _ := m.SamplePhase(rng.Float64())
				d = turn(d, c, rng.Float64())
			}
			q := p.Len2() / (path * path)
			square += q
			square2 += q * q
		}
		n := float64(r.n)
		// The count is geometric: variance a/(1-a)^2.
		near(t, "collisions", count/n, 1/(1-r.a), 4*math.Sqrt(r.a/n)/(1-r.a))
		square /= n
		near(t, "mean square distance", square, r.square, 4*math.Sqrt((square2/n-square*square)/n))
	}
}

// A slab of optical thickness 2, albedo 0.9, g 0.75, under a normal beam, no step of the index: reflected 0.09739,
// transmitted 0.66096. Source: van de Hulst, Multiple Light Scattering, 1980, table 35, as quoted by Wang, Jacques and
// Zheng, Comput. Methods Programs Biomed. 47 (1995), 131-146. Standard errors are a third of the tolerance or less.
func TestSlab(t *testing.T) {
	n := 3000000
	if testing.Short() {
		n = 100000
	}
	m := mustNew(t, 0.1, 0.9, 0.75)
	rng := rand.New(rand.NewPCG(22, 1))
	var sum, sum2 [2]float64
	for range n {
		z, mu, w := 0.0, 1.0, 1.0
		for {
			s, _ := m.SampleFlight(2, rng.Float64())
			z += s * mu
			if z < 0 || z > 0.2 {
				break
			}
			w *= 0.9
			// The cosine to the slab's normal is all that matters.
			c, _ := m.SamplePhase(rng.Float64())
			mu = c*mu + math.Sqrt(max(0, (1-c*c)*(1-mu*mu)))*math.Cos(2*math.Pi*rng.Float64())
			if w < 0.1 {
				if rng.Float64() >= 0.5 {
					w = 0
					break
				}
				w *= 2
			}
		}
		side := 0
		if z > 0 {
			side = 1
		}
		sum[side] += w
		sum2[side] += w * w
	}
	for i, want := range []float64{0.09739, 0.66096} {
		mean := sum[i] / float64(n)
		se := math.Sqrt((sum2[i]/float64(n) - mean*mean) / float64(n))
		tol := max(0.005*want, 2e-4)
		if testing.Short() {
			tol = 4 * se
		} else if se > tol/3 {
			t.Errorf("standard error %g for a tolerance of %g", se, tol)
		}
		near(t, []string{"reflected", "transmitted"}[i], mean, want, tol)
	}
}

// Every bad value is named, all of them at once.
func TestErrors(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		path, albedo colour.RGB
		g            float64
		fields       []string
	}{
		{colour.RGB{0, 1, -1}, colour.Grey(0.5), 0, []string{"mean free path, red", "mean free path, blue"}},
		{colour.RGB{1, nan, 1}, colour.RGB{0.5, 1.01, 0.5}, 1, []string{"mean free path, green", "albedo, green", "g"}},
		{colour.Grey(1), colour.RGB{nan, 0, -0.1}, nan, []string{"albedo, red", "albedo, blue", "g"}},
	} {
		m, err := New(c.path, c.albedo, c.g)
		if m != (Medium{}) {
			t.Errorf("a medium in spite of %v", err)
		}
		joined, ok := err.(interface{ Unwrap() []error })
		if !ok || len(joined.Unwrap()) != len(c.fields) {
			t.Fatalf("got %v, want errors for %v", err, c.fields)
		}
		for i, e := range joined.Unwrap() {
			var p *ParamError
			if !errors.As(e, &p) || p.Field != c.fields[i] {
				t.Errorf("got %v, want one for %s", e, c.fields[i])
			}
		}
	}
	if _, err := FromCoefficients(colour.RGB{-1, 0, 0}, colour.RGB{0, nan, 0}, 0); err == nil {
		t.Error("negative absorption accepted")
	}
	if _, err := FromCoefficients(colour.RGB{math.Inf(1), 0, 0}, colour.RGB{}, 0); err == nil {
		t.Error("infinite absorption accepted")
	}
	if m, err := FromCoefficients(colour.RGB{}, colour.RGB{}, 0); err != nil || m.Transmittance(5) != colour.Grey(1) {
		t.Errorf("no coefficients should be vacuum: %v", err)
	}
}

func Example() {
	m, err := New(colour.RGB{0.25, 0.20, 0.15}, colour.RGB{0.99, 0.98, 0.97}, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f\n", m.Transmittance(0.1))
	// Output: [0.670 0.607 0.513]
}

func BenchmarkSampleFlightAndPhase(b *testing.B) {
	m := mustNew(b, 0.2, 0.9, 0.8)
	u := 0.0
	for b.Loop() {
		u += 0.001
		if u >= 1 {
			u = 0
		}
		d, _ := m.SampleFlight(0, u)
		c, _ := m.SamplePhase(u)
		sink += d + c
	}
}

var sink float64
