package tissue

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"catchlight/material/fresnel"
	"catchlight/material/tissue/chandrasekhar"

	"gonum.org/v1/gonum/integrate/quad"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tol)
	}
}

// halfSpace lists what a half-space of isotropic scatterers sends back, exactly (Chandrasekhar 1950): r1 = 1 - H(1)
// sqrt(1-a) of a normal beam, ru = 1 - 2 alpha1 sqrt(1-a) of diffuse light, alpha0 and alpha1 the moments of H.
var halfSpace = []struct{ alpha, h1, alpha0, alpha1, r1, ru float64 }{
	{0.3, 1.126844, 1.088933, 0.553121, 0.057214, 0.074451},
	{0.5, 1.251260, 1.171573, 0.603484, 0.115226, 0.146544},
	{0.7, 1.444746, 1.292221, 0.678668, 0.208680, 0.256557},
	{0.8, 1.598220, 1.381966, 0.735815, 0.285255, 0.341867},
	{0.9, 1.850099, 1.519494, 0.825316, 0.414947, 0.478024},
	{0.95, 2.077124, 1.634512, 0.901876, 0.535541, 0.596669},
	{0.99, 2.472793, 1.818182, 1.027182, 0.752721, 0.794564},
	{0.995, 2.587347, 1.867918, 1.061731, 0.817047, 0.849849},
	{0.999, 2.756073, 1.938693, 1.111331, 0.912845, 0.929713},
}

func TestHalfSpaceExact(t *testing.T) {
	for _, r := range halfSpace {
		moment := func(k float64) float64 {
			return quad.Fixed(func(x float64) float64 {
				m := x * x // tames the logarithm at 0
				return 2 * x * math.Pow(m, k) * chandrasekhar.H(m, r.alpha)
			}, 0, 1, 60, nil, 0)
		}
		s := math.Sqrt(1 - r.alpha)
		h1 := chandrasekhar.H(1, r.alpha)
		near(t, "H(1)", h1, r.h1, 2e-6)
		near(t, "alpha0", moment(0), 2*(1-s)/r.alpha, 2e-6) // identity
		near(t, "alpha0", moment(0), r.alpha0, 2e-6)
		near(t, "alpha1", moment(1), r.alpha1, 2e-6)
		near(t, "normal beam", 1-h1*s, r.r1, 2e-6)
		near(t, "diffuse light", 1-2*moment(1)*s, r.ru, 2e-6)
		near(t, "fit", DiffuseAlbedo(r.alpha), r.ru, 0.0021)
	}
}

// walkCount is how many walks the tests take.
func walkCount() int {
	if testing.Short() {
		return 100000
	}
	return 400000
}

// diffuseWalks are shared by the tests below. Seeds are fixed, so the outcome is the same on every run.
var diffuseWalks = sync.OnceValue(func() []exit {
	e := walks(rand.New(rand.NewPCG(31, 1)), walkCount(), 1000, false)
	sortByRadius(e)
	return e
})

// Random walks give back what Chandrasekhar says they must, within four standard errors (of one set of walks: the
// albedos are not independent), for a normal beam and for diffuse light. The limit of 1000 collisions cuts off
// too much only above an albedo of 0.99.
func TestWalkReflectance(t *testing.T) {
	n := walkCount()
	normal := walks(rand.New(rand.NewPCG(32, 1)), n/2, 1000, true)
	for _, r := range halfSpace {
		if r.alpha > 0.99 {
			continue
		}
		got, se := reflectance(normal, n/2, r.alpha)
		near(t, fmt.Sprintf("normal beam, albedo %g", r.alpha), got, r.r1, 4*se)
		got, se = reflectance(diffuseWalks(), n, r.alpha)
		near(t, fmt.Sprintf("diffuse light, albedo %g", r.alpha), got, r.ru, 4*se)
		if se > 0.002 {
			t.Errorf("standard error %g", se)
		}
	}
}

// The table of exit radii is what walks give, within four standard errors and its own rounding. Above 0.99 the exact
// reflectance stands in for walks cut off at 1000 collisions, which are far away by then.
func TestExitRadiusTable(t *testing.T) {
	for _, e := range exitRadius {
		alpha, total := max(e.alpha, 1e-9), 0.0
		switch e.alpha {
		case 0.995:
			total = 0.849849 * float64(walkCount())
		case 0.999:
			total = 0.929713 * float64(walkCount())
		case 1:
			total = float64(walkCount())
		}
		got, se := quantile(diffuseWalks(), alpha, 0.5, total)
		near(t, fmt.Sprintf("albedo %g", e.alpha), got, e.r50, 4*se+0.002)
		if se > 0.006 && !testing.Short() {
			t.Errorf("albedo %g: standard error %g", e.alpha, se)
		}
		near(t, "node", ExitRadius50(e.alpha), e.r50, 1e-12)
	}
	// Between the nodes, and monotone all over.
	for _, alpha := range []float64{0.2, 0.4, 0.65, 0.85, 0.93, 0.97} {
		got, se := quantile(diffuseWalks(), alpha, 0.5, 0)
		near(t, fmt.Sprintf("between nodes, albedo %g", alpha), ExitRadius50(alpha), got, 4*se+0.004)
	}
	last := 0.0
	for i := range 2001 {
		s := 1 - float64(i)/2000
		m := ExitRadius50(1 - s*s)
		if m < last || math.IsNaN(m) {
			t.Fatalf("exit radius falls to %g at albedo %g", m, 1-s*s)
		}
		last = m
	}
}

// Radius and mean free path scale together: half the radius, half the path.
func TestMeanFreePath(t *testing.T) {
	near(t, "albedo 0.9", MeanFreePath(0.861, 0.9), 1, 1e-12)
	near(t, "albedo 0.99", MeanFreePath(0.1, 0.99), 0.1/1.377, 1e-12)
	near(t, "half", MeanFreePath(0.05, 0.99), 0.5*MeanFreePath(0.1, 0.99), 1e-15)
}

// The inversion against the exact albedo of diffuse reflectance (inverse of Chandrasekhar's solution, worked out apart
// from this program), and against the published form of the same curve, Kulla and Conty 2017.
func TestSingleScatterAlbedo(t *testing.T) {
	for _, r := range []struct{ a, exact, fit float64 }{
		{0.10, 0.379087, 0.384240},
		{0.20, 0.609675, 0.613357},
		{0.50, 0.911336, 0.911709},
		{0.70, 0.975970, 0.976001},
		{0.80, 0.990585, 0.990589},
		{0.90, 0.997907, 0.997907},
		{0.95, 0.999505, 0.999505},
	} {
		got := SingleScatterAlbedo(r.a)
		near(t, "published fit", got, r.fit, 2e-5)
		near(t, "exact", got, r.exact, 0.0052)
		near(t, "there and back", DiffuseAlbedo(got), r.a, 1e-12)
		s := 4.09712 + 4.20863*r.a - math.Sqrt(9.59217+41.6808*r.a+17.7126*r.a*r.a)
		near(t, "Kulla and Conty", got, 1-s*s, 2e-5)
	}
	for _, r := range halfSpace {
		near(t, "from exact reflectance", SingleScatterAlbedo(r.ru), r.alpha, 0.007)
	}
	near(t, "black", SingleScatterAlbedo(0), 0, 1e-15)
	near(t, "below black", SingleScatterAlbedo(-3), 0, 1e-15)
	near(t, "NaN", SingleScatterAlbedo(math.NaN()), 0, 0)
	near(t, "held", SingleScatterAlbedo(5), SingleScatterAlbedo(MaxReflectance), 0)
	if a := SingleScatterAlbedo(math.Inf(1)); !(a < 1) {
		t.Errorf("held at %g", a)
	}
	near(t, "no albedo", DiffuseAlbedo(0), 0, 1e-15)
	near(t, "conservative", DiffuseAlbedo(1), 1, 0)
}

// A coat over a white base gives back all light from every angle (furnace), and is reciprocal.
func TestCoatFurnace(t *testing.T) {
	for _, n := range []float64{1.336, 1.376, 1.5} {
		for _, co := range []float64{1, 0.7, 0.3, 0.05} {
			// The base is Lambertian with reflectance 1: f = In Out/pi.
			coat := NewCoat(n)
			base := quad.Fixed(func(x float64) float64 {
				mu := x * x * x
				return 2 * mu * coat.In(co) * coat.Out(mu) * 3 * x * x
			}, 0, 1, 200, nil, 0)
			near(t, fmt.Sprintf("n %g, cos %g", n, co), fresnel.Dielectric(co, n)+base, 1, 1e-6)
			near(t, "reciprocity", coat.In(co)*coat.Out(0.4), coat.In(0.4)*coat.Out(co), 1e-15)
		}
	}
}

// The radii that the reduced coefficients of the sclera give, to two digits: what the description names as the source of
// its default. Coefficients are the geometric mean of the fibrous class of Jacques, Phys. Med. Biol. 58 (2013), R37, and our
// inversion of the transmittances of Vogel et al., Lasers Surg. Med. 11 (1991), 331, both from memory.
func TestScleraCoefficients(t *testing.T) {
	absorption, scattering := [3]float64{0.031, 0.052, 0.120}, [3]float64{4.00, 4.85, 6.70}
	// Diffuse reflectance of the same coefficients by adding-doubling, worked out apart from this program.
	want, radius := [3]float64{0.8173, 0.7891, 0.7371}, [3]float64{0.35, 0.28, 0.19}
	for c := range 3 {
		r, r50 := fromCoefficients(absorption[c], scattering[c])
		near(t, "sclera reflectance", r, want[c], 5e-4)
		near(t, "sclera r50", r50, radius[c], 0.006)
		near(t, "back to the mean free path", MeanFreePath(r50, SingleScatterAlbedo(r)), 1/(absorption[c]+scattering[c]), 1e-4)
	}
}

// The bending index of the description, 1.336, makes what one surface shows of the pupil that of textbooks: apparent depth
// 3.05 mm and magnification 1.13 of Gullstrand's eye (radius 7.8 mm, 3.6 mm deep); reflectance at normal incidence 0.0207.
func TestBendingIndex(t *testing.T) {
	near(t, "tear film", fresnel.Dielectric(1, 1.336), 0.0207, 5e-5)
	near(t, "cornea", fresnel.Dielectric(1, 1.376), 0.0250, 5e-5)
	n, depth, radius := 1.336, 3.6, 7.8
	seen := depth / (n - (n-1)*depth/radius)
	near(t, "apparent depth", seen, 3.05, 0.005)
	near(t, "magnification", n*seen/depth, 1.13, 0.005)
}

func Example() {
	// A pale iris, 0.35 in red under diffuse light, whose light spreads 0.1 mm.
	alpha := SingleScatterAlbedo(0.35)
	fmt.Printf("albedo %.3f, mean free path %.3f mm\n", alpha, MeanFreePath(0.1, alpha))
	// Output: albedo 0.809, mean free path 0.142 mm
}

// fromCoefficients turns reduced coefficients in 1/mm into what an artist sees: the reflectance of a thick layer under diffuse
// light, and r50 in mm. Absorption and scattering are >= 0 and not both 0.
func fromCoefficients(absorption, scattering float64) (reflectance, r50 float64) {
	t := absorption + scattering
	alpha := scattering / t
	return DiffuseAlbedo(alpha), ExitRadius50(alpha) / t
}
