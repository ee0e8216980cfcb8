package envmap

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// skies are pictures with small bright parts where the layout is awkward: at the seam, at a pole, in one texel, in two.
func skies() map[string]func(x, y int) colour.RGB {
	sun := func(u, v, degrees, strength float64) func(x, y int) colour.RGB {
		at := Direction(u, v)
		return func(x, y int) colour.RGB {
			c := colour.RGB{0.3, 0.4, 0.6}
			if d := Direction((float64(x)+0.5)/128, (float64(y)+0.5)/64); d.Dot(at) > math.Cos(degrees*math.Pi/180) {
				c = c.Add(colour.RGB{strength, 0.8 * strength, 0.5 * strength})
			}
			return c
		}
	}
	return map[string]func(x, y int) colour.RGB{
		"sun":       sun(0.3, 0.35, 3, 3000),
		"seam":      sun(0.0005, 0.4, 4, 400),
		"zenith":    sun(0.1, 0, 4.5, 400),
		"nadir":     sun(0.1, 1, 4.5, 400),
		"one texel": sun((77.5)/128, 20.5/64, 0.5, 90000),
		"two lamps": func(x, y int) colour.RGB { return sun(0.6, 0.5, 3, 500)(x, y).Add(sun(0.9, 0.3, 3, 900)(x, y)) },
		"no ground": func(x, y int) colour.RGB {
			if y > 10 {
				return colour.RGB{}
			}
			return sun(0.2, 0.1, 3, 1e5)(x, y)
		},
	}
}

func picture(f func(x, y int) colour.RGB) []float32 {
	pix := make([]float32, 3*128*64)
	for i := range 128 * 64 {
		for c, v := range f(i%128, i/128) {
			pix[3*i+c] = float32(v)
		}
	}
	return pix
}

// Picture and hot spots add up to the picture as it was, in every direction and in the integral, to the rounding of
// float32 (2^-24); each spot's density integrates to 1 and its samples follow it.
func TestSpots(t *testing.T) {
	g := colour.RGB{1, 0.7, 2}
	for name, f := range skies() {
		t.Run(name, func(t *testing.T) {
			pix := picture(f)
			whole, err := New(128, 64, slices.Clone(pix), Options{Gain: g})
			if err != nil {
				t.Fatal(err)
			}
			rest, err := New(128, 64, pix, Options{Gain: g, Compensate: true, CutSpots: true})
			if err != nil {
				t.Fatal(err)
			}
			want := 1
			if name == "two lamps" {
				want = 2
			}
			if len(rest.Spots()) != want {
				t.Fatalf("%d spots, want %d", len(rest.Spots()), want)
			}
			mean, shares := rest.MeanRadiance(), ""
			for _, s := range rest.Spots() {
				mean = mean.Add(s.MeanRadiance())
				shares += fmt.Sprintf(" %.3f", s.MeanRadiance()[1]/whole.MeanRadiance()[1])
			}
			t.Logf("shares%s of the light, %d spots", shares, len(rest.Spots()))
			for c, v := range whole.MeanRadiance() {
				near(t, "mean", mean[c]/v, 1, 0x1p-24)
			}
			rng := rand.New(rand.NewPCG(1, 2))
			look := func(d geom.Vec) {
				sum := rest.Radiance(d)
				for _, s := range rest.Spots() {
					l := s.Radiance(d)
					sum = sum.Add(l)
					if l.Max() > 0 && !(s.Pdf(d) > 0) {
						t.Errorf("%v: light without density", d)
					}
				}
				w := whole.Radiance(d)
				for c := range w {
					near(t, fmt.Sprint("radiance toward ", d), sum[c], w[c], 0x1p-23*w[c])
				}
			}
			for range 20000 {
				look(geom.UniformSphere(rng.Float64(), rng.Float64()))
			}
			for _, s := range rest.Spots() {
				integral := 0.0
				for y := range 128 {
					omega := bandSolidAngle(float64(y)/128, float64(y+1)/128) / 256
					for x := range 256 {
						integral += omega * s.Pdf(Direction((float64(x)+0.37)/256, (float64(y)+0.61)/128))
					}
				}
				near(t, "integral of the density", integral, 1, 1e-9)
				for range 2000 {
					d, pdf, l, ok := s.Sample(rng.Float64(), rng.Float64())
					look(d)
					if e := l.Sub(s.Radiance(d)).Max(); !ok || math.Abs(e) > 1e-6*(1+l[0]) || math.Abs(pdf/s.Pdf(d)-1) > 1e-6 {
						t.Fatalf("sample toward %v: density %g and %g, light %v and %v", d, pdf, s.Pdf(d), l, s.Radiance(d))
					}
				}
			}
		})
	}
}

// Samples of a spot follow its density: chi-square, fixed seed, significance 1e-4.
func TestSpotSamplesFollowDensity(t *testing.T) {
	for name, f := range skies() {
		m, err := New(128, 64, picture(f), Options{CutSpots: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range m.Spots() {
			// The bins are laid about the spot's middle, so that most of them hold something.
			r := spherestat.Check(spherestat.Case{
				Pdf: s.Pdf,
				Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
					d, pdf, _, ok := s.Sample(u0, u1)
					return d, pdf, ok
				},
				Axis: s.axis, Power: 120, N: 20000, Seed: 2,
			})
			if r.P < 1e-4 || r.Share != 1 || r.Outside > 0 || math.Abs(r.Integral-1) > 0.02 {
				t.Errorf("%s: %+v", name, r)
			}
		}
	}
}

// What is wide, and what is weak, stays in the picture: a window of 20 degrees, a lamp of 1 % of the light, a plain sky.
func TestNoSpots(t *testing.T) {
	round := func(degrees, strength float64) func(x, y int) colour.RGB {
		return func(x, y int) colour.RGB {
			if Direction((float64(x)+0.5)/128, (float64(y)+0.5)/64).Dot(geom.Vec{X: 1}) > math.Cos(degrees*math.Pi/180) {
				return colour.Grey(strength)
			}
			return colour.Grey(1)
		}
	}
	for name, f := range map[string]func(x, y int) colour.RGB{"window": round(10, 1000), "weak": round(2, 8), "plain": round(1, 1)} {
		m, err := New(128, 64, picture(f), Options{CutSpots: true})
		if err != nil {
			t.Fatal(err)
		}
		if n := len(m.Spots()); n != 0 {
			t.Errorf("%s: %d spots", name, n)
		}
	}
	black, err := New(128, 64, make([]float32, 3*128*64), Options{CutSpots: true})
	if err != nil || len(black.Spots()) != 0 || !black.Black() {
		t.Errorf("black: %v, %d spots", err, len(black.Spots()))
	}
}
