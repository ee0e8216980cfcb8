package light

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"

	"gonum.org/v1/gonum/stat/distuv"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

// must stops the test where a constructor refuses.
func must(t testing.TB) func(l *Light, err error) *Light {
	return func(l *Light, err error) *Light {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
}

func random(rng *rand.Rand) geom.Vec { return geom.UniformSphere(rng.Float64(), rng.Float64()) }

// world is a frame that no axis of the world shares.
var world = geom.NewFrame(geom.Vec{X: 0.3, Y: -0.5, Z: 0.4}.Unit())

// picture is a small environment with a bright spot, a black part and smooth rest.
func picture(w, h int) *texture.Image {
	pix := make([]float32, 3*w*h)
	for y := range h {
		for x := range w {
			i := 3 * (y*w + x)
			v := float32(0.3 + 0.2*math.Sin(float64(3*x+y)))
			if y > 2*h/3 && x < w/3 {
				v = 0
			}
			pix[i], pix[i+1], pix[i+2] = v, 0.8*v, 1.3*v
		}
	}
	i := 3 * (h/4*w + w/3)
	pix[i], pix[i+1], pix[i+2] = 60, 50, 30
	return texture.NewImage(w, h, 3, pix)
}

// everything makes one light of each kind and variant, near the origin.
func everything(t testing.TB) []*Light {
	m := must(t)
	c := geom.Vec{X: 20, Y: 35, Z: -25}
	f := geom.NewFrame(geom.Vec{X: -20, Y: -30, Z: 25}.Unit())
	l := colour.RGB{3, 2, 1}
	return []*Light{
		m(NewRectangle("panel", f, c, 30, 18, l, false)),
		m(NewRectangle("strip", f, c, 40, 12, l, true)),
		m(NewRectangle("window", f, c, 30, 40, l, false, WithPanes(2, 3, 1.5))),
		m(NewRectangle("far panel", f, c.Mul(4000), 30, 18, l, false)),
		m(NewDisc("disc", f, c, 12, l, false)),
		m(NewDisc("two-sided disc", f, c, 12, l, true)),
		m(NewSphere("ball", c, 9, l)),
		m(NewSphere("dome", c, 300, l)),
		m(NewDistant("sun", c, 0.0093, l)),
		m(NewDistant("wide", c, 2.5, l)),
		m(NewConstant("sky", l)),
		m(NewEnvironment("marsh", picture(24, 12), 0.6, l)),
		m(NewEnvironment("marsh, plain", picture(24, 12), 0.6, l, WithoutCompensation())),
	}
}

// A sample agrees with everything else a light says about it: densities, the hit of a ray sent there, and what is seen.
func TestSampleAgreesWithHit(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, l := range everything(t) {
		found := 0
		for range 4000 {
			ref := random(rng).Mul(30 * rng.Float64())
			s, ok := l.Sample(ref, rng.Float64(), rng.Float64())
			if !ok {
				continue
			}
			found++
			name := l.Name
			near(t, name+": unit", s.Wi.Len2(), 1, 1e-9)
			if !(s.Pdf > 0) || math.IsInf(s.Pdf, 0) {
				t.Fatalf("%s: pdf %g", name, s.Pdf)
			}
			if !l.Finite() {
				if !math.IsInf(s.Dist, 1) || s.PdfArea != 0 {
					t.Fatalf("%s: %+v", name, s)
				}
				if e := l.RadianceDir(s.Wi).Sub(s.L); math.Abs(e[0])+math.Abs(e[1])+math.Abs(e[2]) > 1e-6 {
					t.Errorf("%s: sample shows %v, look-up %v", name, s.L, l.RadianceDir(s.Wi))
				}
				p := l.PdfDir(ref, s.Wi)
				if l.Kind == Distant && p == 0 { // the rim, to rounding
					p = s.Pdf
				}
				near(t, name+": pdf", p/s.Pdf, 1, 1e-6)
				continue
			}
			cos := -s.Wi.Dot(s.N)
			if cos <= 0 {
				t.Fatalf("%s: the sample lies on a side that faces away", name)
			}
			near(t, name+": P", ref.Mad(s.Dist, s.Wi).Sub(s.P).Len()/(1+s.Dist), 0, 1e-9)
			near(t, name+": measures", s.Pdf*cos/(s.Dist*s.Dist*s.PdfArea), 1, 1e-9)
			if l.Radiance(s.P, s.Wi.Neg()) != s.L {
				t.Errorf("%s: sample shows %v, look-up %v", name, s.L, l.Radiance(s.P, s.Wi.Neg()))
			}
			near(t, name+": area pdf", l.PdfAreaAt(ref, s.P)/s.PdfArea, 1, 1e-6/cos)
			h, p, n, ok := l.Intersect(ref, s.Wi, 0, math.Inf(1))
			if !ok {
				if cos > 1e-3 && rimDistance(l, s.P) > 1e-9*s.Dist {
					t.Errorf("%s: the ray to a sample misses", name)
				}
				continue
			}
			near(t, name+": pdf", l.PdfDir(ref, s.Wi)/s.Pdf, 1, 1e-5/cos)
			near(t, name+": distance", h/s.Dist, 1, 1e-7/cos)
			near(t, name+": point", p.Sub(s.P).Len()/s.Dist, 0, 1e-7/cos)
			near(t, name+": normal", n.Sub(s.N).Len(), 0, 1e-6/cos)
		}
		if found < 1000 {
			t.Errorf("%s: only %d samples", l.Name, found)
		}
	}
}

// rimDistance returns how far a point of a flat light is from its edge, in mm.
func rimDistance(l *Light, p geom.Vec) float64 {
	q := l.frame.Local(p.Sub(l.centre))
	switch l.Kind {
	case Rectangle:
		return min(0.5*l.w-math.Abs(q.X), 0.5*l.h-math.Abs(q.Y))
	case Disc:
		return l.radius - math.Hypot(q.X, q.Y)
	}
	return math.Inf(1)
}

// Densities integrate to 1 over directions and samples follow them: chi-square, fixed seeds, significance 1e-4.
func TestSamplesFollowDensities(t *testing.T) {
	n := 100000
	if testing.Short() {
		n = 20000
	}
	refs := []geom.Vec{{}, {X: 14, Y: 30, Z: -18}, {X: 12, Y: -3, Z: 9}}
	for _, l := range everything(t) {
		for i, ref := range refs {
			if i > 0 && !l.Finite() {
				continue
			}
			axis, power := l.centre.Sub(ref).Unit(), 1.0
			switch l.Name {
			case "panel", "window", "disc", "two-sided disc", "ball":
				power = 3
				if i == 1 {
					power = 1.5
				}
			case "strip":
				power = 3
			case "far panel":
				power = 16
			case "sun":
				axis, power = l.frame.N, 16
			case "wide":
				axis = l.frame.N
			case "dome", "sky":
				axis = geom.Vec{Y: 1}
			case "marsh", "marsh, plain":
				axis = geom.Vec{Y: 1}
			}
			r := spherestat.Check(spherestat.Case{
				Pdf: func(d geom.Vec) float64 { return l.PdfDir(ref, d) },
				Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
					s, ok := l.Sample(ref, u0, u1)
					return s.Wi, s.Pdf, ok
				},
				Axis: axis, Power: power, N: n, Seed: 5,
			})
			name := fmt.Sprintf("%s from %v", l.Name, ref)
			near(t, name+": integral", r.Integral, 1, 6e-3) // edges cut through the midpoints' cells
			near(t, name+": share", r.Share, 1, 0)
			if r.P < 1e-4 || r.Outside > n/1000 {
				t.Errorf("%s: %+v", name, r)
			}
		}
	}
}

// estimate returns the irradiance in each channel on a surface at ref facing n, from a grid of m x m samples.
func estimate(l *Light, ref, n geom.Vec, m int) colour.RGB {
	var e colour.RGB
	for i := range m {
		for j := range m {
			s, ok := l.Sample(ref, (float64(i)+0.5)/float64(m), (float64(j)+0.5)/float64(m))
			if ok {
				e = e.Add(s.L.Scale(max(0, s.Wi.Dot(n)) / s.Pdf))
			}
		}
	}
	return e.Scale(1 / float64(m*m))
}

// polygonIrradiance is Lambert's formula for a polygon of radiance 1 all above the horizon: half the sum over edges of
// the angle they span times the cosine between the edge's plane and n. Source: Lambert 1760; Arvo, PhD thesis, Yale 1995.
func polygonIrradiance(ref, n geom.Vec, v []geom.Vec) float64 {
	sum := 0.0
	for i := range v {
		a, b := v[i].Sub(ref).Unit(), v[(i+1)%len(v)].Sub(ref).Unit()
		c := a.Cross(b)
		sum += math.Atan2(c.Len(), a.Dot(b)) * c.Unit().Dot(n)
	}
	return math.Abs(sum) / 2
}

// triangleSolidAngle is the formula of van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30 (1983), 125-126.
func triangleSolidAngle(a, b, c geom.Vec) float64 {
	la, lb, lc := a.Len(), b.Len(), c.Len()
	return 2 * math.Abs(math.Atan2(a.Dot(b.Cross(c)), la*lb*lc+a.Dot(b)*lc+b.Dot(c)*la+c.Dot(a)*lb))
}

func corners(l *Light) []geom.Vec {
	s, u := l.frame.S.Mul(0.5*l.w), l.frame.T.Mul(0.5*l.h)
	return []geom.Vec{l.centre.Sub(s).Sub(u), l.centre.Add(s).Sub(u), l.centre.Add(s).Add(u), l.centre.Sub(s).Add(u)}
}

// Rectangles against closed forms, near, far (where sampling goes by area), skew and almost in their plane.
func TestRectangleAgainstClosedForms(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	byArea := 0
	for range 300 {
		w, h := math.Exp(6*rng.Float64()-3), math.Exp(6*rng.Float64()-3)
		c := random(rng).Mul(50)
		l := must(t)(NewRectangle("r", world, c, w, h, colour.Grey(2), false))
		z := math.Exp(14*rng.Float64() - 6) // 0.0025 to 3000 mm
		ref := c.Mad(z, world.N).Mad((rng.Float64()-0.5)*3*w, world.S).Mad((rng.Float64()-0.5)*3*h, world.T)
		v := corners(l)
		for i := range v {
			v[i] = v[i].Sub(ref)
		}
		want := triangleSolidAngle(v[0], v[1], v[2]) + triangleSolidAngle(v[0], v[2], v[3])
		got := l.solidAngleRectangle(ref)
		near(t, "solid angle", got, want, 1e-9*want+1e-14)
		near(t, "mean irradiance", l.Irradiance(ref), 2*want/4, 1e-9*want+1e-13)
		if got < smallSolidAngle {
			byArea++
		}
		// A surface that faces the rectangle sees all of it above its horizon.
		near(t, "irradiance", estimate(l, ref, world.N.Neg(), 60)[1]/polygonIrradiance(ref, world.N, corners(l)), 2, 5e-3)
		if _, ok := l.Sample(ref.Mad(-2*z, world.N), 0.5, 0.5); ok {
			t.Error("shines behind")
		}
		near(t, "behind", l.Irradiance(ref.Mad(-2*z, world.N)), 0, 0)
	}
	if byArea < 20 || byArea > 200 {
		t.Errorf("%d of 300 by area: both ways should be tried", byArea)
	}
}

// Samples of a rectangle fall into its cells by their solid angle (chi-square over 8 x 8 cells, whose solid angles
// come from the formula for triangles; significance 1e-4), also where it is thin, skew or nearly edge-on.
func TestRectangleCells(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	const side, n = 8, 40000
	for _, c := range []struct {
		w, h float64
		ref  geom.Vec // in the rectangle's frame
	}{
		{2, 2, geom.Vec{Z: 1}},
		{60, 0.5, geom.Vec{X: 10, Y: 3, Z: 8}},
		{1, 4, geom.Vec{X: 2, Y: -1, Z: 0.05}},
		{5, 5, geom.Vec{X: 1, Y: 1, Z: 0.01}},
		{1, 1, geom.Vec{X: 300, Z: 200}},
		{1, 1, geom.Vec{X: 3000, Z: 2000}}, // by area
	} {
		l := must(t)(NewRectangle("r", world, geom.Vec{X: 3}, c.w, c.h, colour.Grey(1), false))
		ref := l.centre.Add(world.World(c.ref))
		var want, got [side * side]float64
		for i := range want {
			at := func(x, y int) geom.Vec {
				return world.World(geom.Vec{X: c.w * (float64(x)/side - 0.5), Y: c.h * (float64(y)/side - 0.5)}).Add(l.centre).Sub(ref)
			}
			x, y := i%side, i/side
			want[i] = triangleSolidAngle(at(x, y), at(x+1, y), at(x+1, y+1)) + triangleSolidAngle(at(x, y), at(x+1, y+1), at(x, y+1))
		}
		total := 0.0
		for _, v := range want {
			total += v
		}
		for range n {
			s, ok := l.Sample(ref, rng.Float64(), rng.Float64())
			if !ok {
				t.Fatal("not lit")
			}
			q := world.Local(s.P.Sub(l.centre))
			x, y := int((q.X/c.w+0.5)*side), int((q.Y/c.h+0.5)*side)
			got[min(max(y, 0), side-1)*side+min(max(x, 0), side-1)]++
		}
		chi, dof, rest, restGot := 0.0, -1.0, 0.0, 0.0
		for i := range want {
			e := want[i] / total * n
			if e < 10 {
				rest, restGot = rest+e, restGot+got[i]
				continue
			}
			chi += (got[i] - e) * (got[i] - e) / e
			dof++
		}
		if rest > 10 {
			chi += (restGot - rest) * (restGot - rest) / rest
			dof++
		}
		if p := (distuv.ChiSquared{K: dof}).Survival(chi); p < 1e-4 {
			t.Errorf("%g x %g from %v: chi-square %g with %g degrees of freedom, p %g", c.w, c.h, c.ref, chi, dof, p)
		}
	}
}

// The two ways to sample a rectangle agree where one takes over from the other.
func TestRectangleHandOver(t *testing.T) {
	l := must(t)(NewRectangle("r", world, geom.Vec{}, 2, 1, colour.Grey(1), false))
	d := math.Sqrt(2 / smallSolidAngle)
	e := func(d float64) float64 {
		ref := world.N.Mul(d)
		return estimate(l, ref, world.N.Neg(), 16)[0] * d * d
	}
	if l.solidAngleRectangle(world.N.Mul(0.99*d)) < smallSolidAngle || l.solidAngleRectangle(world.N.Mul(1.01*d)) > smallSolidAngle {
		t.Fatal("not on both sides")
	}
	near(t, "by solid angle", e(0.99*d), 2, 2e-5)
	near(t, "by area", e(1.01*d), 2, 2e-5)
}

// Two faces of a two-sided rectangle shine alike.
func TestTwoSided(t *testing.T) {
	m := must(t)
	for _, l := range []*Light{
		m(NewRectangle("r", world, geom.Vec{X: 1}, 3, 2, colour.Grey(1), true)),
		m(NewDisc("d", world, geom.Vec{X: 1}, 2, colour.Grey(1), true)),
	} {
		front, back := l.centre.Mad(5, world.N).Mad(1, world.S), l.centre.Mad(-5, world.N).Mad(1, world.S)
		near(t, l.Name, estimate(l, front, world.N.Neg(), 64)[0], estimate(l, back, world.N, 64)[0], 1e-9)
		d := world.N.Mul(-5).Mad(-1, world.S).Unit()
		if _, _, n, ok := l.Intersect(front, d, 0, 100); !ok || n.Dot(d) >= 0 {
			t.Errorf("%s: front hit %v %v", l.Name, n, ok)
		}
		d = world.N.Mul(5).Mad(-1, world.S).Unit()
		if _, _, n, ok := l.Intersect(back, d, 0, 100); !ok || n.Dot(d) >= 0 {
			t.Errorf("%s: back hit %v %v", l.Name, n, ok)
		}
		l.TwoSided = false
		if _, _, _, ok := l.Intersect(back, d, 0, 100); ok {
			t.Errorf("%s: the dark face is hit", l.Name)
		}
		if !l.Radiance(l.centre, world.N.Neg()).Black() || l.Radiance(l.centre, world.N).Black() {
			t.Errorf("%s: wrong face shines", l.Name)
		}
	}
}

// A disc on and off its axis, parallel to the surface: E = (pi L/2) (1 - (h^2+a^2-r^2)/sqrt((h^2+a^2+r^2)^2 - 4 r^2 a^2)).
// Source: Foote, Illumination from circular light sources, Sci. Pap. Bur. Stand. 12 (1916); on the axis pi L r^2/(r^2+h^2).
func TestDisc(t *testing.T) {
	r := 3.0
	l := must(t)(NewDisc("d", world, geom.Vec{Y: 2}, r, colour.Grey(2), false))
	for _, h := range []float64{1, 4, 40} {
		for _, a := range []float64{0, 2, 10} {
			ref := l.centre.Mad(h, world.N).Mad(a, world.S)
			q := h*h + a*a
			want := math.Pi * (1 - (q-r*r)/math.Sqrt((q+r*r)*(q+r*r)-4*r*r*a*a))
			near(t, fmt.Sprintf("h %g, a %g", h, a), estimate(l, ref, world.N.Neg(), 400)[2], want, 1e-3*want)
			if a == 0 {
				near(t, "solid angle on the axis, approximate", l.solidAngleDisc(ref)/(2*math.Pi*(1-h/math.Hypot(h, r))), 1, 0.01)
			}
			omega := 0.0 // the area sum of cos/d^2
			for i := range 200 {
				for j := range 200 {
					s, _ := l.Sample(ref, (float64(i)+0.5)/200, (float64(j)+0.5)/200)
					omega += 1 / s.Pdf / 40000
				}
			}
			near(t, "mean irradiance, approximate", l.Irradiance(ref)/(2*omega/4), 1, 0.1)
		}
	}
}

// A ball of radiance L above the horizon gives pi L (r/d)^2 cos (any text on radiative transfer); inside, pi L.
func TestSphere(t *testing.T) {
	c := geom.Vec{X: 7, Y: -4, Z: 10}
	l := must(t)(NewSphere("s", c, 2, colour.Grey(3)))
	for _, k := range []float64{1.05, 2, 30, 1e6} {
		ref := c.Mad(-2*k, geom.Vec{X: 0.6, Z: 0.8})
		n := geom.Vec{X: 0.6, Z: 0.8}
		near(t, fmt.Sprintf("%g radii", k), estimate(l, ref, n, 200)[0]/(3*math.Pi/(k*k)), 1, 2e-4)
		if k >= 2 {
			n = geom.Vec{X: 0.6, Y: 0.6, Z: 0.8}.Unit() // still above the horizon
			cos := n.Dot(c.Sub(ref).Unit())
			near(t, fmt.Sprintf("%g radii, tilted", k), estimate(l, ref, n, 200)[0]/(3*math.Pi*cos/(k*k)), 1, 2e-4)
		}
		omega := 2 * math.Pi * (1 - math.Sqrt(1-1/(k*k)))
		if k < 1e4 { // the plain form has no digits left beyond
			near(t, "solid angle", l.solidAngleSphere(ref), omega, 1e-10)
		}
		near(t, "far", l.solidAngleSphere(c.Mad(2e8, n))/(math.Pi*1e-16), 1, 1e-9)
	}
	for _, off := range []float64{0, 0.5, 0.999} {
		ref := c.Mad(2*off, geom.Vec{Y: 1})
		near(t, "inside", estimate(l, ref, geom.Vec{X: 1}, 300)[0]/(3*math.Pi), 1, 1e-3)
		near(t, "inside, mean", l.Irradiance(ref), 3*math.Pi, 1e-9)
	}
	// Both crossings of a ray, and rays that miss.
	h, p, n, ok := l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: 1}, 0, 100)
	near(t, "near crossing", h, 3, 1e-12)
	if !ok || p.Sub(c.Sub(geom.Vec{X: 2})).Len() > 1e-12 || n.Sub(geom.Vec{X: -1}).Len() > 1e-12 {
		t.Errorf("near crossing %v %v", p, n)
	}
	h, _, n, ok = l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: 1}, 3.5, 100)
	near(t, "far crossing", h, 7, 1e-12)
	if !ok || n.Sub(geom.Vec{X: -1}).Len() > 1e-12 {
		t.Errorf("far crossing seen from inside: normal %v", n)
	}
	near(t, "area density on the far side", l.PdfAreaAt(c.Sub(geom.Vec{X: 5}), c.Add(geom.Vec{X: 2})), 0, 0)
	if _, _, _, ok := l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: -1}, 0, 100); ok {
		t.Error("hit behind the ray")
	}
	if _, _, _, ok := l.Intersect(c.Sub(geom.Vec{X: 5, Y: 2.0001}), geom.Vec{X: 1}, 0, 100); ok {
		t.Error("hit beside the ball")
	}
	if _, _, _, ok := l.Intersect(c.Sub(geom.Vec{X: 5}), geom.Vec{X: 1}, 0, 2.9); ok {
		t.Error("hit beyond tmax")
	}
}

// A far disc of angular radius a gives pi L sin^2 a; constant light pi L.
func TestDistantAndConstant(t *testing.T) {
	dir := geom.Vec{X: 1, Y: 2, Z: -2}
	for _, d := range []float64{minDiameter, 0.0093, 0.5, 2, math.Pi} {
		l := must(t)(NewDistant("s", dir, d, colour.Grey(4)))
		want := 4 * math.Pi * math.Pow(math.Sin(d/2), 2)
		near(t, fmt.Sprintf("diameter %g", d), estimate(l, geom.Vec{}, dir.Unit(), 400)[0]/want, 1, 2e-5)
		k := must(t)(NewDistantIrradiance("s", dir.Mul(100), d, colour.Grey(7)))
		near(t, fmt.Sprintf("diameter %g, by irradiance", d), estimate(k, geom.Vec{}, dir.Unit(), 400)[0], 7, 2e-4)
		near(t, "fluence", l.Irradiance(geom.Vec{}), 4*2*math.Pi*(1-math.Cos(d/2))/4, 1e-9)
		// In and out of the cone.
		f := geom.NewFrame(dir.Unit())
		for _, a := range []float64{0.999, 1.001} {
			s, c := math.Sincos(a * d / 2)
			in := !l.RadianceDir(f.World(geom.Vec{X: s, Z: c})).Black()
			if in != (a < 1) {
				t.Errorf("diameter %g: at %g of the radius, inside %v", d, a, in)
			}
		}
	}
	l := must(t)(NewConstant("c", colour.RGB{1, 2, 3}))
	near(t, "constant", estimate(l, geom.Vec{}, geom.Vec{Y: 1}, 400)[2], 3*math.Pi, 1e-3)
	near(t, "constant, mean", l.Irradiance(geom.Vec{}), math.Pi*colour.RGB{1, 2, 3}.Luminance(), 1e-12)
}

// Panes: the bars take their share of the light and sit where a window has them.
func TestPanes(t *testing.T) {
	f := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}
	l := must(t)(NewRectangle("window", f, geom.Vec{}, 30, 41, colour.Grey(1), false, WithPanes(2, 3, 2)))
	// Panes: 14 wide, 37/3 high.
	up := geom.Vec{Z: 1}
	for _, p := range []struct {
		x, y float64
		lit  bool
	}{
		{-15, -20.5, true}, {-1.001, 0, true}, {-0.999, 0, false}, {0.999, 0, false}, {1.001, 0, true}, {15, 20.5, true},
		{-5, 6.16, true}, {-5, 6.17, false}, {-5, 8.16, false}, {-5, 8.17, true}, {5, -6.17, false}, {5, -6.16, true}, {5, 20.4, true},
	} {
		if got := !l.Radiance(geom.Vec{X: p.x, Y: p.y}, up).Black(); got != p.lit {
			t.Errorf("(%g, %g): lit %v", p.x, p.y, got)
		}
		if _, _, _, ok := l.Intersect(geom.Vec{X: p.x, Y: p.y, Z: 5}, geom.Vec{Z: -1}, 0, 10); !ok {
			t.Errorf("(%g, %g): a bar or pane is not hit", p.x, p.y)
		}
	}
	open := 28. / 30 * 37 / 41
	near(t, "area", l.EmittingArea(), 30*41*open, 1e-9)
	near(t, "power", l.Power()[0], math.Pi*30*41*open*1e-6, 1e-12)
	// Far away all of it counts alike.
	ref := geom.Vec{Z: 5000}
	near(t, "light", estimate(l, ref, geom.Vec{Z: -1}, 900)[0]*5000*5000/(30*41*open), 1, 2e-3)
	near(t, "estimate", l.Irradiance(ref)*4*5000*5000/(30*41*open), 1, 1e-4)
}

// Turning the light and the point together changes nothing but the frame.
func TestTurned(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	const angle = 37 * math.Pi / 180
	r := geom.RotateY(angle)
	for _, l := range everything(t) {
		k := l.Turned(angle)
		for range 200 {
			ref, d := random(rng).Mul(10), random(rng)
			u0, u1 := rng.Float64(), rng.Float64()
			a, ok0 := l.Sample(ref, u0, u1)
			b, ok1 := k.Sample(r.Point(ref), u0, u1)
			if ok0 != ok1 {
				t.Fatalf("%s: %v %v", l.Name, ok0, ok1)
			}
			near(t, l.Name+": pdf", b.Pdf, a.Pdf, 1e-6*a.Pdf)
			near(t, l.Name+": radiance", b.L.Sub(a.L).Max(), 0, 1e-6)
			if l.Kind == Environment || l.Kind == Rectangle || l.Kind == Disc {
				near(t, l.Name+": direction", r.Vector(a.Wi).Sub(b.Wi).Len(), 0, 1e-6)
			}
			near(t, l.Name+": from afar", k.RadianceDir(r.Vector(d)).Sub(l.RadianceDir(d)).Max(), 0, 1e-9)
			near(t, l.Name+": pdf towards", k.PdfDir(r.Point(ref), r.Vector(d)), l.PdfDir(ref, d), 1e-6)
			near(t, l.Name+": estimate", k.Irradiance(r.Point(ref)), l.Irradiance(ref), 1e-9)
		}
	}
}

// 1 W out of 1 m^2 (1e6 mm^2), one face, is 1/pi W/(m^2 sr); the power of a light is what it was made from.
func TestPower(t *testing.T) {
	near(t, "1 W, 1 m^2", PowerToRadiance(colour.Grey(1), 1e6)[0], 1/math.Pi, 1e-12)
	m := must(t)
	for _, l := range []*Light{
		m(NewRectangle("r", world, geom.Vec{}, 300, 200, colour.Grey(1), false)),
		m(NewRectangle("r2", world, geom.Vec{}, 300, 200, colour.Grey(1), true)),
		m(NewDisc("d", world, geom.Vec{}, 50, colour.Grey(1), true)),
		m(NewSphere("s", geom.Vec{}, 50, colour.Grey(1))),
	} {
		l.radiance = PowerToRadiance(colour.RGB{5, 10, 20}, l.EmittingArea())
		p := l.Power()
		near(t, l.Name, p[0], 5, 1e-12)
		near(t, l.Name, p[2], 20, 1e-12)
		// By the other way round: irradiance far away, over a sphere. Mean intensity is power over 4 pi.
		const far = 1e6
		rng := rand.New(rand.NewPCG(4, 1))
		sum := 0.0
		const n = 20000
		for range n {
			d := random(rng)
			s, ok := l.Sample(d.Mul(far), 0.5, 0.5)
			if ok {
				sum += s.L[0] / s.Pdf
			}
		}
		// Irradiance in W/m^2 times the sphere's area in m^2.
		near(t, l.Name+", caught far away", sum/n*4*math.Pi*far*far*1e-6, 5, 0.15)
	}
}

// Bad arguments are named with light, value and range, all of one light at once.
func TestErrors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	var zero geom.Vec
	one := colour.Grey(1)
	for _, c := range []struct {
		err  func() (*Light, error)
		want []string
	}{
		{func() (*Light, error) { return NewRectangle("key", world, zero, -1, nan, one, false) }, []string{`"key"`, "width", "-1", "height", "NaN"}},
		{func() (*Light, error) { return NewRectangle("key", geom.Frame{}, zero, 1, 1, one, false) }, []string{"frame"}},
		{func() (*Light, error) { return NewRectangle("key", world, zero, 1, 1, colour.RGB{0, -2, 0}, false) }, []string{"radiance", "-2"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(0, 2, 1))
		}, []string{"panes across"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(2, 9999, 1))
		}, []string{"panes down"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(11, 2, 1))
		}, []string{"bar"}},
		{func() (*Light, error) {
			return NewRectangle("key", world, zero, 10, 10, one, false, WithPanes(2, 2, nan))
		}, []string{"bar"}},
		{func() (*Light, error) { return NewDisc("d", world, geom.Vec{X: inf}, 0, one, false) }, []string{"centre", "radius"}},
		{func() (*Light, error) { return NewSphere("s", geom.Vec{Y: nan}, inf, colour.Grey(inf)) }, []string{"centre", "radius", "radiance"}},
		{func() (*Light, error) { return NewDistant("sun", zero, 0.1, one) }, []string{"direction"}},
		{func() (*Light, error) { return NewDistant("sun", world.N, 0, one) }, []string{"angular diameter", "0"}},
		{func() (*Light, error) { return NewDistant("sun", world.N, 3.2, one) }, []string{"angular diameter", "3.2"}},
		{func() (*Light, error) { return NewDistantIrradiance("sun", world.N, 0.1, colour.Grey(nan)) }, []string{"irradiance"}},
		{func() (*Light, error) { return NewConstant("sky", colour.Grey(-1)) }, []string{"radiance"}},
		{func() (*Light, error) { return NewEnvironment("e", nil, inf, colour.Grey(-1)) }, []string{"picture", "rotation", "gain"}},
		{func() (*Light, error) {
			return NewEnvironment("e", texture.NewImage(2, 1, 2, make([]float32, 4)), 0, one)
		}, []string{"2 channels"}},
		{func() (*Light, error) {
			return NewEnvironment("e", texture.NewImage(2, 1, 3, []float32{0, 1, 2, 3, float32(nan), -1}), 0, one)
		}, []string{`"e"`, "2 of 6", "NaN", "channel 1", "(1, 0)"}},
	} {
		l, err := c.err()
		if err == nil || l != nil {
			t.Errorf("want an error with %v", c.want)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%q does not name %s", err, w)
			}
		}
	}
}

// Nothing on the way of a ray allocates.
func TestNoAllocation(t *testing.T) {
	for _, l := range everything(t) {
		n := testing.AllocsPerRun(50, func() {
			s, _ := l.Sample(geom.Vec{X: 1}, 0.3, 0.8)
			sink += s.Pdf + l.PdfDir(geom.Vec{X: 1}, s.Wi) + l.PdfAreaAt(geom.Vec{X: 1}, s.P) + l.Irradiance(s.P) + l.RadianceDir(s.Wi)[0]
			_, _, _, ok := l.Intersect(geom.Vec{}, s.Wi, 0, 1)
			if ok {
				sink++
			}
		})
		if n != 0 {
			t.Errorf("%s: %g allocations", l.Name, n)
		}
	}
}

var sink float64

func BenchmarkSample(b *testing.B) {
	for _, l := range everything(b) {
		b.Run(l.Name, func(b *testing.B) {
			u := 0.0
			for b.Loop() {
				u += 0.000123
				if u >= 1 {
					u = 0
				}
				s, _ := l.Sample(geom.Vec{X: u}, u, 1-u)
				sink += s.Pdf
			}
		})
	}
}

func BenchmarkPdfDir(b *testing.B) {
	for _, l := range everything(b) {
		b.Run(l.Name, func(b *testing.B) {
			d := l.centre.Unit()
			if !l.Finite() {
				d = geom.Vec{X: 0.6, Z: 0.8}
			}
			u := 0.0
			for b.Loop() {
				u += 0.000123
				if u >= 1 {
					u = 0
				}
				sink += l.PdfDir(geom.Vec{X: u}, d)
			}
		})
	}
}
