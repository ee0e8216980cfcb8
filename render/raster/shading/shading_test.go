package shading

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/material/microfacet"
	"catchlight/scene/colour"
	"catchlight/scene/geom"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
)

// fibonacci calls f for n directions spread evenly over the sphere.
func fibonacci(n int, f func(d geom.Vec)) {
	for i := range n {
		z := 1 - (2*float64(i)+1)/float64(n)
		s, c := math.Sincos(2.399963229728653 * float64(i))
		r := math.Sqrt(1 - z*z)
		f(geom.Vec{X: r * c, Y: r * s, Z: z})
	}
}

func sphereOf(n int, f func(d geom.Vec) colour.RGB) *Sphere {
	return NewSphere(n, 2, func(x, y int) colour.RGB { return f(Direction(n, x, y).Unit()) })
}

// Ramamoorthi and Hanrahan 2001, section 3: for any light the irradiance is off by less than 9 % of the largest anywhere and 3 % in the
// mean over orientations; the worst light is a point. Equation 13 itself: even light of 1 has L00 = sqrt(4 pi) and gives pi.
func TestHarmonics(t *testing.T) {
	for _, l := range []geom.Vec{{Z: 1}, {X: 0.6, Y: -0.48, Z: 0.64}, {X: -1}} {
		var h Harmonics
		h.Add(l, colour.Grey(1), 1)
		mean, worst, n := 0.0, 0.0, 0.0
		fibonacci(5000, func(d geom.Vec) {
			e := math.Abs(h.Irradiance(d)[1] - max(0, d.Dot(l)))
			mean, worst, n = mean+e, max(worst, e), n+1
		})
		require.Less(t, mean/n, 0.03)
		require.Less(t, worst, 0.095) // 0.09375 on the terminator, by the series
		require.Greater(t, worst, 0.05)
	}
	s := sphereOf(64, func(geom.Vec) colour.RGB { return colour.RGB{1, 2, 3} })
	h := s.Harmonics()
	require.InDelta(t, 3.5449, h[0][0], 1e-4)
	fibonacci(100, func(d geom.Vec) {
		for c, e := range h.Irradiance(d) {
			require.InEpsilon(t, math.Pi*float64(c+1), e, 3e-4)
		}
	})
	// A sky of radiance 1 over black ground: (1 + cos)/2 pi (the view factor of a half-space; the series has no error in its linear part).
	sky := sphereOf(128, func(d geom.Vec) colour.RGB { return colour.Grey(math.Ceil(max(0, d.Y))) })
	hs := sky.Harmonics()
	for _, a := range []float64{0, 0.5, 1.2, 2, 3} {
		s, c := math.Sincos(a)
		require.InDelta(t, math.Pi*(1+c)/2, hs.Irradiance(geom.Vec{X: s, Y: c})[0], 0.02)
	}
	cut := h.Cut(0)
	require.Equal(t, colour.RGB{}, cut[3])
}

// The picture over directions gives back what was put in, across its seams too, and even light stays even at any roughness.
func TestSphere(t *testing.T) {
	f := func(d geom.Vec) colour.RGB { return colour.RGB{2 + d.X, 2 + d.Y*d.Z, 2 + math.Abs(d.Z)} }
	s := sphereOf(256, f)
	even := sphereOf(32, func(geom.Vec) colour.RGB { return colour.Grey(3) })
	fibonacci(3000, func(d geom.Vec) {
		got := s.At(d, 0)
		for c, want := range f(d) {
			require.InDelta(t, want, got[c], 0.012, "%v", d)
		}
		for _, a := range []float64{0, 0.005, 0.02, 0.3, 1} {
			require.InEpsilon(t, 3, even.At(d, a)[0], 1e-6)
		}
		u, v := Place(d)
		back := unfold(2*u-1, 1-2*v).Unit()
		require.InDelta(t, 1, back.Dot(d), 1e-12)
	})
	sum := 0.0
	for y := range 32 {
		for x := range 32 {
			sum += solidAngle(32, Direction(32, x, y))
		}
	}
	require.InEpsilon(t, 4*math.Pi, sum, 2e-3)
}

// A smeared copy is the mean of the light over the GGX lobe of view = normal = mirror: against the integral, for a cap of light.
func TestPrefilter(t *testing.T) {
	axis := geom.Vec{X: 0.3, Y: 0.5, Z: 0.8}.Unit()
	s := sphereOf(256, func(d geom.Vec) colour.RGB {
		return colour.Grey(geom.Smoothstep(math.Cos(0.75), math.Cos(0.45), d.Dot(axis)))
	})
	for _, alpha := range []float64{0.1, 0.25, 0.5} {
		g := microfacet.Reflect{AX: alpha, AY: alpha}
		for _, off := range []float64{0, 0.4, 0.8} {
			r := geom.NewFrame(axis).World(geom.Vec{X: math.Sin(off), Z: math.Cos(off)})
			fr := geom.NewFrame(r)
			var sum, weight float64
			const n = 200
			for i := range n * n {
				wi, _, _, _, ok := g.Sample(geom.Vec{Z: 1}, (float64(i%n)+0.5)/n, (float64(i/n)+0.5)/n)
				if ok {
					sum += wi.Z * geom.Smoothstep(math.Cos(0.75), math.Cos(0.45), fr.World(wi).Dot(axis))
					weight += wi.Z
				}
			}
			require.InDelta(t, sum/weight, s.At(r, alpha)[1], 0.03, "alpha %g, %g off", alpha, off)
		}
	}
}

// With a perfect mirror the response is the directional albedo of the lobe, which the path tracer's own table knows; below the least
// roughness it is the Fresnel curve itself.
func TestResponse(t *testing.T) {
	table := microfacet.NewEnergyTable()
	for _, alpha := range []float64{0.1, 0.3, 0.8} {
		r := NewResponse(alpha, func(float64) colour.RGB { return colour.Grey(1) })
		for _, mu := range []float64{0.2, 0.5, 1} {
			require.InDelta(t, table.Directional(mu, alpha), r.At(mu)[0], 0.006)
		}
	}
	r := NewResponse(0, func(c float64) colour.RGB { return colour.RGB{c, c * c, 1} })
	require.InDelta(t, 0.5, r.At(0.5)[0], 1e-12)
	require.InDelta(t, 1, r.At(0.33)[2], 1e-12)
}

// Form factors in closed form (Howell, A Catalog of Radiation Heat Transfer Configuration Factors, B-3 and B-4): a rectangle with a corner
// over the point, parallel and at a right angle to its plane.
func TestFormFactor(t *testing.T) {
	a, b, c := 2.0, 3.0, 1.5
	x, y := a/c, b/c
	want := 1 / (2 * math.Pi) * (x/math.Sqrt(1+x*x)*math.Atan(y/math.Sqrt(1+x*x)) + y/math.Sqrt(1+y*y)*math.Atan(x/math.Sqrt(1+y*y)))
	p := []geom.Vec{{Z: c}, {X: a, Z: c}, {X: a, Y: b, Z: c}, {Y: b, Z: c}}
	require.InDelta(t, want, FormFactor(p), 1e-12)
	p[0], p[1], p[2], p[3] = p[3], p[2], p[1], p[0]
	require.InDelta(t, want, FormFactor(p), 1e-12)
	x, y = a/b, c/b
	want = 1 / (2 * math.Pi) * (math.Atan(1/y) - y/math.Sqrt(x*x+y*y)*math.Atan(1/math.Sqrt(x*x+y*y)))
	wall := []geom.Vec{{X: c}, {X: c, Y: b}, {X: c, Y: b, Z: a}, {X: c, Z: a}}
	require.InDelta(t, want, FormFactor(wall), 1e-12)
	// The same wall reaching below the horizon.
	wall[0].Z, wall[1].Z = -5, -5
	require.InDelta(t, want, FormFactor(wall), 1e-12)
	// All of the hemisphere, and nothing.
	require.InDelta(t, 1, FormFactor([]geom.Vec{{X: -1e6, Y: -1e6, Z: 1}, {X: 1e6, Y: -1e6, Z: 1}, {X: 1e6, Y: 1e6, Z: 1}, {X: -1e6, Y: 1e6, Z: 1}}), 1e-5)
	require.Zero(t, FormFactor([]geom.Vec{{X: -1, Z: -1}, {X: 1, Z: -1}, {Y: 1, Z: -1}}))
}

// The stretched cosine against the integral of the GGX lobe (times cosine, normalised) over a window: what the closed matrix is worth. It
// is made for smooth films; at alpha .1 it is within 5 % of the lobe's whole, at .02 within 1 %, up to 60 degrees.
func TestLobe(t *testing.T) {
	for _, c := range []struct{ alpha, tolerance float64 }{{0.005, 0.004}, {0.02, 0.01}, {0.1, 0.05}} {
		g := microfacet.Reflect{AX: c.alpha, AY: c.alpha}
		for _, deg := range []float64{0, 30, 60} {
			s, k := math.Sincos(geom.Radians(deg))
			wo := geom.Vec{X: -s, Z: k}
			r := geom.Vec{X: s, Z: k}
			fr := geom.Frame{S: geom.Vec{X: k, Z: -s}, T: geom.Vec{Y: 1}, N: r}
			l := NewLobe(wo, geom.Vec{Z: 1}, c.alpha)
			for _, w := range [][4]float64{{-1, -1, 1, 1}, {0.2, -0.5, 3, 2}, {-4, 1, 0, 5}} { // in units of 2 alpha across r
				corner := func(x, y float64) geom.Vec {
					return fr.World(geom.Vec{X: 2 * c.alpha * x, Y: 2 * c.alpha * y, Z: 1})
				}
				poly := []geom.Vec{corner(w[0], w[1]), corner(w[2], w[1]), corner(w[2], w[3]), corner(w[0], w[3])}
				inside, all := 0.0, 0.0
				const n = 350
				for i := range n * n {
					wi, weight, _, _, ok := g.Sample(wo, (float64(i%n)+0.5)/n, (float64(i/n)+0.5)/n)
					if !ok {
						continue
					}
					all += weight
					q := fr.Local(wi)
					if x, y := q.X/q.Z/(2*c.alpha), q.Y/q.Z/(2*c.alpha); q.Z > 0 && x > w[0] && x < w[2] && y > w[1] && y < w[3] {
						inside += weight
					}
				}
				require.InDelta(t, inside/all, l.Share(poly), c.tolerance, "alpha %g, %g degrees, %v", c.alpha, deg, w)
			}
		}
	}
}

// The spread (Christensen and Burley 2015, equations 3 and 4): it integrates to 1, its share within a radius is the integral of the profile,
// and half of it lies within r50.
func TestSpread(t *testing.T) {
	s := NewSpread(0.4)
	require.InDelta(t, 0.5, s.Within(0.4), 1e-12)
	require.InDelta(t, 0.4, s.Radius(0.5), 1e-12)
	for _, r := range []float64{0.05, 0.4, 1.3, 20} {
		got := quad.Fixed(func(x float64) float64 { return 2 * math.Pi * x * s.Profile(x) }, 0, r, 200, nil, 0)
		require.InDelta(t, s.Within(r), got, 1e-6)
	}
	require.InDelta(t, 1, s.Within(20), 1e-9)
	// Beside a straight line: the profile integrated over a half-plane, in polar coordinates about the point. Of the ring at r > x the share
	// acos(x/r)/pi lies beyond the line.
	for _, x := range []float64{0.01, 0.1, 0.4, 1.2} {
		beyond := quad.Fixed(func(q float64) float64 { // r = x + q^2, which tames the root at r = x
			r := x + q*q
			return 2 * q * 2 * math.Pi * r * s.Profile(r) * math.Acos(x/r) / math.Pi
		}, 0, 5, 400, nil, 0)
		require.InDelta(t, 1-beyond, s.Beside(x), 2e-4, "x %g", x)
		require.InDelta(t, beyond, s.Beside(-x), 2e-4)
	}
	require.InDelta(t, 1, s.Beside(math.Inf(1)), 1e-6)
}

// The table by curvature is the integral that it stands for: over the ball, light max(0, cos) times the profile of the chord, over the profile
// alone (Penner and Borshukov 2011, their equation on the ball in place of a ring), by quadrature in the chord and round the axis.
func TestBent(t *testing.T) {
	for _, d := range []float64{0.002, 0.01, 0.05, 0.2} {
		s := Spread{d}
		for _, cos := range []float64{-0.6, -0.2, -0.05, 0, 0.1, 0.4, 0.9} {
			sin := math.Sqrt(1 - cos*cos)
			ring := func(c float64) float64 { // mean of max(0, cos) on the ring at chord c
				cg := 1 - c*c/2
				sg := math.Sqrt(max(0, 1-cg*cg))
				a, b := cos*cg, sin*sg
				switch { // a + b cos(phi) > 0 for |phi| < p
				case a >= b:
					return a
				case a <= -b:
					return 0
				}
				p := math.Acos(-a / b)
				return (a*p + b*math.Sin(p)) / math.Pi
			}
			area := func(c float64) float64 { return 2 * math.Pi * c * s.Profile(c) }
			var num, den float64
			for i := range 40 { // pieces that grow from the singular point
				q := func(i int) float64 { return 2 * math.Pow(float64(i)/40, 3) }
				num += quad.Fixed(func(c float64) float64 { return area(c) * ring(c) }, q(i), q(i+1), 12, nil, 0)
				den += quad.Fixed(area, q(i), q(i+1), 12, nil, 0)
			}
			require.InDelta(t, num/den, Bent(cos, d), 0.004, "d %g, cos %g", d, cos)
		}
	}
	require.InDelta(t, 0.3, Bent(0.3, 0), 1e-9)
	require.Zero(t, Bent(-0.3, 0))
	// Energy: the mean over the ball is a quarter, as without scattering.
	sum := quad.Fixed(func(c float64) float64 { return Bent(c, 0.1) }, -1, 1, 200, nil, 0) / 2
	require.InDelta(t, 0.25, sum, 0.002)
}

// A kernel's weights add up to 1 in each channel, and laid over a straight edge they give the edge of the profile.
func TestKernel(t *testing.T) {
	spread := [3]Spread{NewSpread(0.32), NewSpread(0.265), NewSpread(0.19)}
	k := NewKernel(spread, 25)
	var sum colour.RGB
	for i := range k.Len() {
		sum = sum.Add(k.Weight(i))
	}
	for c := range sum {
		require.InDelta(t, 1, sum[c], 1e-12)
		for _, x := range []float64{-0.6, -0.2, -0.05, 0, 0.1, 0.3, 0.7} {
			got := 0.0
			for i := range k.Len() {
				if k.Tap(i) < x {
					got += k.Weight(i)[c]
				}
			}
			require.InDelta(t, spread[c].Beside(x), got, 0.09, "x %g", x) // half of one tap's weight
		}
	}
}

// Spencer et al. 1995, table: each part of the spread function integrates to 1 over the sphere; and glare keeps energy to 0.1 % while
// the light stays inside the picture.
func TestGlare(t *testing.T) {
	require.InDelta(t, 1, scattered(0), 1e-12)
	require.InDelta(t, 0, scattered(90), 1e-3)
	const n = 1100 // the widest veil reaches 512 pixels
	pix := make([]colour.RGB, n*n)
	pix[550*n+550] = colour.Grey(1000)
	out := Glare(pix, n, n, 20, 0.6, 2)
	sum := 0.0
	for i := range out {
		sum += out[i][1]
	}
	require.InEpsilon(t, 1000, sum, 1e-3)
	require.Greater(t, out[550*n+553][1], out[550*n+600][1])
	require.Positive(t, out[550*n+900][1])
	require.Equal(t, pix, Glare(pix, n, n, 20, 0, 2))
}

// Profile returns the density, per mm^2, of light that leaves at a distance r > 0.
func (s Spread) Profile(r float64) float64 {
	return (math.Exp(-r/s.D) + math.Exp(-r/(3*s.D))) / (8 * math.Pi * s.D * r)
}

// Within returns the share that leaves within r mm.
func (s Spread) Within(r float64) float64 { return unitWithin(r / s.D) }

// Turned light falls on a surface as it does on the turned surface in the frame that it came from.
func TestTurnedHarmonics(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var h Harmonics
	for i := range h {
		h[i] = colour.RGB{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
	}
	h[0] = colour.Grey(40) // the sum is held at 0, which must not be met here
	f := geom.NewFrame(geom.Vec{X: 0.3, Y: -0.8, Z: 0.5}.Unit())
	turned := h.Turned(f.World)
	for range 50 {
		n := geom.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
		want, got := h.Irradiance(f.World(n)), turned.Irradiance(n)
		require.InDeltaSlice(t, want[:], got[:], 1e-4) // the constants of the series have six digits
	}
}
