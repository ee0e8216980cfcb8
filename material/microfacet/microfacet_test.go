package microfacet

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/material/fresnel"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

func at(mu, phi float64) geom.Vec {
	r := math.Sqrt(1 - mu*mu)
	s, c := math.Sincos(phi)
	return geom.Vec{X: r * c, Y: r * s, Z: mu}
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tol)
	}
}

var surfaces = []GGX{{0.05, 0.05}, {0.25, 0.25}, {1, 1}, {0.1, 0.4}, {0.8, 0.2}}

// D(h) h.Z integrates to 1 and peaks at 1/(pi alpha^2) (Walter et al. 2007); masking obeys the identity of Heitz 2014,
// section 2: the visible facets fill the projected area, int G1 max(0, w.h) D dh = w.Z.
func TestDistribution(t *testing.T) {
	near(t, "peak, alpha 1/4", GGX{0.25, 0.25}.D(geom.Vec{Z: 1}), 5.092958, 1e-6)
	near(t, "peak, alpha 1/16", GGX{0.0625, 0.0625}.D(geom.Vec{Z: 1}), 81.48733, 1e-5)
	for _, g := range surfaces {
		var area float64
		w := []geom.Vec{at(1, 0), at(0.6, 1), at(0.1, 2.5)}
		seen := make([]float64, len(w))
		const nt, np = 600, 256
		for i := range nt {
			x := (float64(i) + 0.5) / nt
			tan := min(g.AX, g.AY) * x / (1 - x) // crowds where the facets are
			cos := 1 / math.Sqrt(1+tan*tan)
			dOmega := tan * cos * cos * cos * min(g.AX, g.AY) / ((1 - x) * (1 - x)) / nt * 2 * math.Pi / np
			for j := range np {
				h := at(cos, 2*math.Pi*(float64(j)+0.5)/np)
				area += g.D(h) * h.Z * dOmega
				for k := range w {
					seen[k] += g.G1(w[k]) * max(0, w[k].Dot(h)) * g.D(h) * dOmega
				}
			}
		}
		near(t, fmt.Sprint(g, " area"), area, 1, 1e-4)
		for k := range w {
			near(t, fmt.Sprint(g, " visible"), seen[k], w[k].Z, 2e-4)
		}
	}
}

// power crowds bins about a lobe of roughness alpha.
func power(alpha float64) float64 {
	if alpha < 0.3 {
		return 4
	}
	return 2
}

// Densities integrate to 1 (lobes: to the share of samples that survive), and samples follow them: chi-square with
// 384 bins, fixed seeds, significance 1e-4 for each of the cases.
func TestSamplesFollowDensities(t *testing.T) {
	n, list := 100000, surfaces
	if testing.Short() {
		n, list = 20000, surfaces[1:4:4]
	}
	for _, g := range list {
		for _, mu := range []float64{1, 0.5, 0.08} {
			wo := at(mu, 0.7)
			cases := []struct {
				name string
				c    spherestat.Case
				full bool
			}{
				{"visible normals", spherestat.Case{
					Pdf: func(h geom.Vec) float64 { return g.PdfVisible(wo, h) },
					Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
						h := g.SampleVisible(wo, u0, u1)
						return h, g.PdfVisible(wo, h), true
					},
					Axis: geom.Vec{Z: 1}}, true},
				{"reflection", spherestat.Case{
					Pdf: func(w geom.Vec) float64 { return Reflect(g).Pdf(wo, w) },
					Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
						w, _, _, pdf, ok := Reflect(g).Sample(wo, u0, u1)
						return w, pdf, ok
					},
					Axis: geom.Reflect(wo, geom.Vec{Z: 1})}, false},
			}
			for _, eta := range []float64{1.376, 1 / 1.376} {
				r := Refract{g.AX, g.AY, eta}
				axis, ok := geom.Refract(wo, geom.Vec{Z: 1}, eta)
				if !ok {
					axis = at(0.02, 0.7+math.Pi)
				}
				cases = append(cases, struct {
					name string
					c    spherestat.Case
					full bool
				}{fmt.Sprintf("refraction, eta %.3f", eta), spherestat.Case{
					Pdf: func(w geom.Vec) float64 { return r.Pdf(wo, w) },
					Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
						w, _, _, pdf, ok := r.Sample(wo, u0, u1)
						return w, pdf, ok
					},
					Axis: axis}, false})
			}
			for _, c := range cases {
				c.c.N, c.c.Seed, c.c.Power = n, 11, power(max(g.AX, g.AY))
				r := spherestat.Check(c.c)
				want := r.Share
				if c.full {
					want = 1
				}
				name := fmt.Sprintf("%v, mu %g, %s", g, mu, c.name)
				tol := 4*math.Sqrt(want*(1-want)/float64(n)) + 1e-3
				near(t, name+": integral", r.Integral, want, tol)
				if r.P < 1e-4 || r.Outside > 0 {
					t.Errorf("%s: chi-square p %g, %d samples where the density is 0", name, r.P, r.Outside)
				}
				if r.PdfError > 1e-6 {
					t.Errorf("%s: density beside the sample is off by %g", name, r.PdfError)
				}
			}
		}
	}
}

// A sample's weight is value times cosine over density.
func TestWeights(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for _, g := range surfaces {
		for range 2000 {
			wo := at(rng.Float64(), 7*rng.Float64())
			if wi, w, h, pdf, ok := Reflect(g).Sample(wo, rng.Float64(), rng.Float64()); ok {
				near(t, "reflection", w, Reflect(g).Eval(wo, wi)*wi.Z/pdf, 1e-6)
				near(t, "G2/G1", w, g.G2(wo, wi)/g.G1(wo), 1e-9)
				if k, _ := HalfReflect(wo, wi); k.Sub(h).Len() > 1e-6 {
					t.Errorf("half vector %v, want %v", k, h)
				}
				if w > 1 {
					t.Errorf("weight %g", w)
				}
			}
			r := Refract{g.AX, g.AY, 0.6 + 1.2*rng.Float64()}
			if wi, w, h, pdf, ok := r.Sample(wo, rng.Float64(), rng.Float64()); ok && math.Abs(r.Eta-1) > 0.02 {
				near(t, "refraction", w, r.Eval(wo, wi)*-wi.Z/pdf, 1e-6)
				if k, _ := HalfRefract(wo, wi, r.Eta); k.Sub(h).Len() > 1e-6 {
					t.Errorf("half vector %v, want %v", k, h)
				}
				// Snell's law about the facet.
				near(t, "Snell", wo.Cross(h).Len(), r.Eta*wi.Cross(h).Len(), 1e-9)
			}
		}
	}
}

// Helmholtz: reflection swaps freely; refraction of basic radiance does up to n^2 on each side (Veach, Robust Monte
// Carlo Methods for Light Transport Simulation, 1997, section 5.2).
func TestReciprocity(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	down := func(w geom.Vec) geom.Vec { return geom.Vec{X: w.X, Y: w.Y, Z: -w.Z} }
	for _, g := range surfaces {
		seen := 0
		for range 4000 {
			a, b := at(rng.Float64(), 7*rng.Float64()), at(rng.Float64(), 7*rng.Float64())
			f := Reflect(g).Eval(a, b)
			near(t, "reflection", Reflect(g).Eval(b, a), f, 1e-9*f)
			const n = 1.376
			out := Refract{g.AX, g.AY, n}.Eval(a, down(b))
			in := Refract{g.AX, g.AY, 1 / n}.Eval(b, down(a)) // the same two directions, the surface turned over
			near(t, "refraction", n*n*in, out, 1e-9*out)
			if out > 0 {
				seen++
			}
		}
		if seen < 100 {
			t.Errorf("%v: only %d pairs refract", g, seen)
		}
	}
}

// Directional albedo at a perfect mirror's reflectance, height-correlated Smith masking. Alpha 1 at normal incidence
// is 1 - ln 2 in closed form; the others were worked out by quadrature over the hemisphere apart from this program, and
// alpha 1/2 at mu 1/2 by both.
func TestDirectionalAlbedo(t *testing.T) {
	for _, r := range []struct{ alpha, mu, want, tol float64 }{
		{1, 1, 1 - math.Ln2, 2e-4},
		{0.5, 1, 0.6879, 2e-4},
		{0.25, 1, 0.9158, 2e-4},
		{0.1, 1, 0.9883, 2e-4},
		{0.5, 0.5, 0.698, 1e-3},
		{1, 0.95, 0.317, 5e-4},
	} {
		near(t, fmt.Sprintf("alpha %g, mu %g", r.alpha, r.mu), directional(r.mu, r.alpha, 256), r.want, r.tol)
		near(t, fmt.Sprintf("alpha %g, mu %g, plain", r.alpha, r.mu), plainAlbedo(r.mu, r.alpha), r.want, r.tol+1e-4)
	}
}

// plainAlbedo integrates Eval times cosine over the hemisphere of wi, bins even about the mirrored direction.
func plainAlbedo(mu, alpha float64) float64 {
	return integrate(at(mu, 0), alpha, 1, func(wo, wi geom.Vec) float64 {
		return Reflect{alpha, alpha}.Eval(wo, wi) * max(0, wi.Z)
	})
}

// integrate sums f over the sphere of wi by the midpoint rule in polar angles about the mirrored (side 1) or the
// straight-on (side -1) direction, crowded there.
func integrate(wo geom.Vec, alpha, side float64, f func(wo, wi geom.Vec) float64) float64 {
	axis := geom.Vec{X: -wo.X, Y: -wo.Y, Z: side * wo.Z}
	fr := geom.NewFrame(axis)
	p := power(alpha)
	const nt, np = 600, 300
	sum := 0.0
	for i := range nt {
		x := (float64(i) + 0.5) / nt
		cos := 1 - 2*math.Pow(x, p)
		sin := math.Sqrt(max(0, 1-cos*cos))
		w := 2 * p * math.Pow(x, p-1) / nt * 2 * math.Pi / np
		for j := range np {
			s, c := math.Sincos(2 * math.Pi * (float64(j) + 0.5) / np)
			sum += w * f(wo, fr.World(geom.Vec{X: sin * c, Y: sin * s, Z: cos}))
		}
	}
	return sum
}

// A rough dielectric gives back at most what comes in, seen from either side: reflected plus refracted power, with the
// Fresnel factor at the facet, by samples and by a plain sum of Eval over the sphere.
func TestEnergy(t *testing.T) {
	for _, alpha := range []float64{0.05, 0.2, 0.5, 1} {
		for _, eta := range []float64{1.376, 1 / 1.376} {
			for _, mu := range []float64{0.95, 0.5, 0.15} {
				wo := at(mu, 0)
				refl, refr := Reflect{alpha, alpha}, Refract{alpha, alpha, eta}
				const n = 400
				sampled := 0.0
				for i := range n {
					for j := range n {
						u0, u1 := (float64(i)+0.5)/n, (float64(j)+0.5)/n
						if _, w, h, _, ok := refl.Sample(wo, u0, u1); ok {
							sampled += w * fresnel.Dielectric(wo.Dot(h), eta)
						}
						if _, w, h, _, ok := refr.Sample(wo, u0, u1); ok {
							sampled += w * (1 - fresnel.Dielectric(wo.Dot(h), eta))
						}
					}
				}
				sampled /= n * n
				plain := integrate(wo, alpha, 1, func(wo, wi geom.Vec) float64 {
					v := refl.Eval(wo, wi)
					if v == 0 {
						return 0
					}
					h, _ := HalfReflect(wo, wi)
					return v * wi.Z * fresnel.Dielectric(wo.Dot(h), eta)
				}) + integrate(wo, alpha, -1, func(wo, wi geom.Vec) float64 {
					v := refr.Eval(wo, wi)
					if v == 0 {
						return 0
					}
					h, _ := HalfRefract(wo, wi, eta)
					return v * -wi.Z * (1 - fresnel.Dielectric(wo.Dot(h), eta))
				})
				name := fmt.Sprintf("alpha %g, eta %.3f, mu %g", alpha, eta, mu)
				near(t, name, sampled, plain, 2e-3)
				if sampled > 1+1e-9 || plain > 1+1e-3 {
					t.Errorf("%s: gives back %g (samples), %g (sum)", name, sampled, plain)
				}
				if alpha <= 0.05 && mu > 0.5 && sampled < 0.97 {
					t.Errorf("%s: a nearly smooth surface gives back only %g", name, sampled)
				}
			}
		}
	}
}

// With scattering between facets put back, a white metal gives back all it receives, also between the table's nodes;
// a coloured one never more.
func TestEnergyTable(t *testing.T) {
	table := NewEnergyTable()
	for _, alpha := range []float64{0.03, 0.11, 0.27, 0.52, 0.77, 1} {
		for _, mu := range []float64{0.02, 0.07, 0.21, 0.45, 0.83, 1} {
			e := directional(mu, alpha, 160)
			s := table.Scale(colour.RGB{1, 0.5, 0}, mu, alpha)
			near(t, fmt.Sprintf("white furnace, alpha %g, mu %g", alpha, mu), e*s[0], 1, 5e-3)
			if s[1] < 1 || 0.5*e*s[1] > 0.5 || s[2] != 1 {
				t.Errorf("alpha %g, mu %g: scale %v at albedo %g", alpha, mu, s, e)
			}
		}
	}
}

// Directions at grazing, opposite, below the surface or exactly along the normal give finite values.
func TestEdges(t *testing.T) {
	for _, g := range []GGX{{MinAlpha, MinAlpha}, {1, 1}, {MinAlpha, 1}} {
		for _, wo := range []geom.Vec{{Z: 1}, at(1e-9, 1), {X: 1}, at(1e-3, 2)} {
			for _, u := range []float64{0, 0.25, 0.5, 1 - 0x1p-53} {
				for _, v := range []float64{0, 0.5, 1 - 0x1p-53} {
					wi, w, _, pdf, ok := Reflect(g).Sample(wo, u, v)
					if ok && (!wi.Finite() || !(w >= 0 && w <= 1+1e-9) || !(pdf > 0) || math.IsInf(pdf, 0)) {
						t.Errorf("%v %v: reflection %v weight %g pdf %g", g, wo, wi, w, pdf)
					}
					for _, eta := range []float64{1.336, 1 / 1.336} {
						wi, w, _, pdf, ok := Refract{g.AX, g.AY, eta}.Sample(wo, u, v)
						if ok && (!wi.Finite() || !(w >= 0 && w <= 1+1e-9) || !(pdf > 0) || math.IsInf(pdf, 0)) {
							t.Errorf("%v %v: refraction %v weight %g pdf %g", g, wo, wi, w, pdf)
						}
					}
				}
			}
			for _, wi := range []geom.Vec{{Z: -1}, {X: -1}, wo.Neg(), wo} {
				for _, f := range []float64{Reflect(g).Eval(wo, wi), Reflect(g).Pdf(wo, wi),
					Refract{g.AX, g.AY, 1.336}.Eval(wo, wi), Refract{g.AX, g.AY, 1.336}.Pdf(wo, wi)} {
					if !(f >= 0) || math.IsInf(f, 0) {
						t.Errorf("%v %v %v: %g", g, wo, wi, f)
					}
				}
			}
		}
	}
}

func benchDirections() (wo [256]geom.Vec, u [256]geom.UV) {
	rng := rand.New(rand.NewPCG(9, 1))
	for i := range wo {
		wo[i] = at(0.05+0.95*rng.Float64(), 7*rng.Float64())
		u[i] = geom.UV{U: rng.Float64(), V: rng.Float64()}
	}
	return wo, u
}

func BenchmarkReflectSample(b *testing.B) {
	wo, u := benchDirections()
	i := 0
	for b.Loop() {
		k := i & 255
		_, w, _, _, _ := Reflect{0.3, 0.3}.Sample(wo[k], u[k].U, u[k].V)
		sink += w
		i++
	}
}

func BenchmarkReflectEval(b *testing.B) {
	wo, _ := benchDirections()
	i := 0
	for b.Loop() {
		sink += Reflect{0.3, 0.3}.Eval(wo[i&255], wo[(i+1)&255])
		i++
	}
}

func BenchmarkRefractSample(b *testing.B) {
	wo, u := benchDirections()
	i := 0
	for b.Loop() {
		k := i & 255
		_, w, _, _, _ := Refract{0.3, 0.3, 1.336}.Sample(wo[k], u[k].U, u[k].V)
		sink += w
		i++
	}
}

func BenchmarkEnergyTable(b *testing.B) {
	for b.Loop() {
		sink += NewEnergyTable().Directional(0.5, 0.5)
	}
}

var sink float64

// G2 returns the share of microfacets seen from both directions on the same side, in [0, 1], with the correlation of
// heights: 1/(1 + Lambda(wo) + Lambda(wi)).
func (g GGX) G2(wo, wi geom.Vec) float64 {
	zo, zi := math.Abs(wo.Z), math.Abs(wi.Z)
	d := g.stretch(wo)*zi + g.stretch(wi)*zo
	if d == 0 {
		return 0
	}
	return 2 * zo * zi / d
}
