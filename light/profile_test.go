package light

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Lights with a profile by samples that follow it, and by the plain twin: a fine even grid of points on the face, each with the
// radiance that a ray finds there. The irradiance of the two agrees, near and far, straight on and aside.
func TestProfileAgainstEvenPoints(t *testing.T) {
	m := must(t)
	for name, l := range map[string]*Light{
		"softbox": m(NewRectangle("softbox", world, geom.Vec{X: 3}, 30, 18, colour.RGB{3, 2, 1}, false, WithProfile(Profile{Core: 2, Edge: 0.4, Soft: 0.2, Noise: 0.05, Sky: 1}))),
		"window":  m(NewRectangle("window", world, geom.Vec{X: 3}, 30, 40, colour.RGB{3, 2, 1}, false, WithPanes(2, 3, 1.5), WithProfile(cottage))),
		"disc":    m(NewDisc("disc", world, geom.Vec{X: 3}, 12, colour.RGB{3, 2, 1}, false, WithProfile(Profile{Core: 5, Edge: 0.1, Soft: 0.4, Sky: 0.5}))),
	} {
		for _, at := range []geom.Vec{{Z: 20}, {X: 25, Y: -10, Z: 15}, {Z: 4000}} {
			ref, n := l.centre.Add(world.World(at)), world.N.Neg()
			even := 0.0
			const side = 400
			rng := rand.New(rand.NewPCG(5, 5))
			for i := range side * side {
				x, y := l.face.w*((float64(i%side)+rng.Float64())/side-0.5), l.face.h*((float64(i/side)+rng.Float64())/side-0.5)
				if l.Kind == Disc && math.Hypot(x, y) > l.radius {
					continue
				}
				p := l.centre.Mad(x, l.frame.S).Mad(y, l.frame.T)
				v := ref.Sub(p)
				cos := v.Unit().Dot(l.frame.N)
				even += l.Radiance(p, v.Unit())[0] * cos * cos / v.Len2() * l.face.w * l.face.h / side / side
			}
			near(t, name, chance(l, ref, n)/even, 1, 2e-3)
		}
		// The mean over what shines is the radiance that was asked for.
		near(t, name+": power", chance(l, l.centre.Mad(1e5, world.N), world.N.Neg())*1e10*math.Pi*1e-6/l.Power()[0], 1, 2e-3)
		near(t, name+": estimate of the irradiance", l.Irradiance(l.centre.Mad(1e5, world.N))*4*l.radiance[0]/l.radiance.Luminance()/chance(l, l.centre.Mad(1e5, world.N), world.N.Neg()), 1, 4e-3)
	}
}

// chance returns the irradiance in the first channel on a surface at ref facing n, from 200,000 samples.
func chance(l *Light, ref, n geom.Vec) (e float64) {
	rng := rand.New(rand.NewPCG(7, 5))
	const k = 200000
	for range k {
		if s, ok := l.Sample(ref, rng.Float64(), rng.Float64()); ok {
			e += s.L[0] * max(0, s.Wi.Dot(n)) / s.Pdf / k
		}
	}
	return e
}

// What a profile says of each place: the core over the edge, the sky over the ground, the soft edge, curtains at both sides and no
// sample on a bar.
func TestProfilePlaces(t *testing.T) {
	m := must(t)
	up := geom.Vec{Z: 1}
	f := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: up}
	at := func(l *Light, x, y float64) float64 { return l.Radiance(geom.Vec{X: x, Y: y}, up)[1] }
	box := m(NewRectangle("softbox", f, geom.Vec{}, 20, 10, colour.Grey(1), false, WithProfile(Profile{Core: 3, Edge: 0.5, Soft: 0.2, Sky: 1})))
	near(t, "core over where the soft edge begins", at(box, 0, 0)/at(box, 0, 4), 3/(0.5+2.5*0.68*0.68), 1e-9)
	near(t, "soft edge, half way", at(box, 0, 4.5)/at(box, 0, 0), 0.5*(0.5+2.5*math.Pow(1-0.405, 2))/3, 1e-9)
	near(t, "rim", at(box, 10, 0), 0, 1e-12)
	window := m(NewRectangle("window", f, geom.Vec{}, 30, 40, colour.Grey(1), false, WithPanes(2, 1, 2),
		WithProfile(Profile{Core: 1, Edge: 1, Sky: 0.5, Horizon: 0.3, Ground: 0.1, Curtain: 0.2, Cloth: 0})))
	near(t, "ground over the top", at(window, 5, -19)/at(window, 5, 20), 0.1, 1e-6)
	if v := at(window, 5, 0) / at(window, 5, 20); !(v > 0.5 && v < 0.9) {
		t.Errorf("half-way up the sky reads %g of the top", v)
	}
	if at(window, 14.9, 5) != 0 || at(window, -14.9, 5) != 0 || at(window, 0.5, 5) != 0 {
		t.Error("curtains and bars shine")
	}
	rng := rand.New(rand.NewPCG(3, 3))
	for range 20000 {
		s, ok := window.Sample(geom.Vec{X: 3, Z: 50}, rng.Float64(), rng.Float64())
		if !ok || math.Abs(s.P.X) < 1-1e-9 {
			t.Fatalf("a sample on a bar: %v", s.P)
		}
	}
}

// Profiles out of range are refused by name.
func TestProfileMistakes(t *testing.T) {
	for field, p := range map[string]Profile{
		"profile core": {Sky: 1}, "profile edge": {Core: 1, Edge: -1}, "profile noise": {Core: 1, Noise: 0.7},
		"profile horizon": {Core: 1, Sky: 1, Horizon: 1}, "profile sky": {Core: 1, Sky: math.NaN()},
	} {
		_, err := NewRectangle("r", world, geom.Vec{}, 1, 1, colour.Grey(1), false, WithProfile(p))
		if err == nil || !strings.Contains(err.Error(), field) {
			t.Errorf("%s: %v", field, err)
		}
	}
	if _, err := NewDisc("d", world, geom.Vec{}, 1, colour.Grey(1), false, WithPanes(2, 2, 0.1)); err == nil {
		t.Error("a disc with panes")
	}
}
