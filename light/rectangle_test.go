package light

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"

	"gonum.org/v1/gonum/stat/distuv"
)

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
	near(t, "area, beforehand", OpenArea(30, 41, 2, 3, 2), 30*41*open, 1e-9)
	near(t, "no bars", OpenArea(30, 41, 1, 1, 5), 30*41, 0)
	near(t, "bars wider than the window", OpenArea(30, 41, 2, 1, 30), 30*41, 0)
	near(t, "power", l.Power()[0], math.Pi*30*41*open*1e-6, 1e-12)
	// Far away all of it counts alike.
	ref := geom.Vec{Z: 5000}
	near(t, "light", estimate(l, ref, geom.Vec{Z: -1}, 900)[0]*5000*5000/(30*41*open), 1, 2e-3)
	near(t, "estimate", l.Irradiance(ref)*4*5000*5000/(30*41*open), 1, 1e-4)
}

// Samples of a window lie on its panes, near and far, so that none is black; their mean is the light that comes from the panes, each
// of them a rectangle of its own. (A sample that may be a bar has a variance of bars over panes, here 0.41 of the mean's square.)
func TestPanesAreSampled(t *testing.T) {
	f := geom.NewFrame(geom.Vec{X: 0.2, Y: -0.1, Z: 1}.Unit())
	l := must(t)(NewRectangle("window", f, geom.Vec{}, 30, 40, colour.Grey(1), false, WithPanes(2, 3, 4)))
	for _, ref := range []geom.Vec{{X: 12, Y: 3, Z: 9}, {X: -40, Y: 20, Z: 60}, {Z: 1e5}} {
		rng := rand.New(rand.NewPCG(4, 4))
		sum, square, want := 0.0, 0.0, 0.0
		const n = 4000
		for range n {
			s, ok := l.Sample(ref, rng.Float64(), rng.Float64())
			if !ok || s.L.Black() {
				t.Fatalf("from %v: a sample at %v is black", ref, s.P)
			}
			v := s.L[0] / s.Pdf
			sum += v / n
			square += v * v / n
		}
		for i := range 2 {
			for j := range 3 {
				a, b := pane(-15, 30, 2, 4, i)
				c, d := pane(-20, 40, 3, 4, j)
				p := must(t)(NewRectangle("pane", f, f.World(geom.Vec{X: (a + b) / 2, Y: (c + d) / 2}), b-a, d-c, colour.Grey(1), false))
				want += p.solidAngleRectangle(ref)
			}
		}
		deviation := math.Sqrt(max(0, square-sum*sum))
		near(t, "mean", sum/want, 1, 4*deviation/sum/math.Sqrt(n)+1e-4)
		if deviation > 0.2*sum {
			t.Errorf("from %v: deviation %g of a mean of %g", ref, deviation, sum)
		}
	}
}
