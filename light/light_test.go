package light

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
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

// cottage is what a window shows.
var cottage = Profile{Core: 1.3, Edge: 0.8, Noise: 0.04, Sky: 0.6, Horizon: 0.25, Ground: 0.1, Curtain: 0.15, Cloth: 0.3, Seed: 4}

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
		m(NewRectangle("softbox", f, c, 30, 18, l, false, WithProfile(Profile{Core: 2, Edge: 0.4, Soft: 0.2, Noise: 0.05, Sky: 1}))),
		m(NewRectangle("cottage window", f, c, 30, 40, l, true, WithPanes(2, 3, 1.5), WithProfile(cottage))),
		m(NewDisc("cloud", f, c, 12, l, false, WithProfile(Profile{Core: 5, Edge: 0.1, Soft: 0.4, Sky: 0.5}))),
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
			case "panel", "window", "disc", "two-sided disc", "ball", "softbox", "cottage window", "cloud":
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

// turned returns a copy of the light turned about the vertical axis (+Y) through the origin by angle, in radians,
// right-handed. Tables are shared, so it is cheap.
func turned(l *Light, angle float64) *Light {
	c := *l
	r := geom.RotateY(angle)
	c.frame = geom.Frame{S: r.Vector(l.frame.S), T: r.Vector(l.frame.T), N: r.Vector(l.frame.N)}
	c.centre = r.Point(l.centre)
	s, k := math.Sincos(angle)
	c.sin, c.cos = l.sin*k+l.cos*s, l.cos*k-l.sin*s
	c.spots = make([]*Light, len(l.spots))
	for i, s := range l.spots {
		c.spots[i] = turned(s, angle)
	}
	return &c
}

// Turning the light and the point together changes nothing but the frame.
func TestTurned(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	const angle = 37 * math.Pi / 180
	r := geom.RotateY(angle)
	for _, l := range everything(t) {
		k := turned(l, angle)
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
