package light

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"catchlight/light/envmap"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// A picture's middle lies towards +Z at rotation 0 and towards +X after a quarter turn (right-handed about +Y); gain
// multiplies; one channel is grey and a fourth is ignored.
func TestEnvironmentPlacement(t *testing.T) {
	const w, h = 8, 4
	pix := make([]float32, w*h)
	for y := range h { // the two middle columns
		pix[y*w+3], pix[y*w+4] = 1, 1
	}
	grey := texture.NewImage(w, h, 1, pix)
	four := make([]float32, 4*w*h)
	for i, v := range pix {
		four[4*i], four[4*i+1], four[4*i+2], four[4*i+3] = v, v, v, -7
	}
	for name, img := range map[string]*texture.Image{"grey": grey, "with a fourth channel": texture.NewImage(w, h, 4, four)} {
		for _, c := range []struct {
			turn float64
			d    geom.Vec
		}{
			{0, geom.Vec{Z: 1}},
			{math.Pi / 2, geom.Vec{X: 1}},
			{math.Pi, geom.Vec{Z: -1}},
			{-math.Pi / 2, geom.Vec{X: -1}},
		} {
			l := must(t)(NewEnvironment("e", img, c.turn, colour.RGB{1, 2, 4}))
			got := l.RadianceDir(c.d)
			if got.Sub(colour.RGB{1, 2, 4}).Max() > 1e-6 || got[2] < 4-1e-6 {
				t.Errorf("%s, turned %g: %v from %v", name, c.turn, got, c.d)
			}
			if !l.RadianceDir(c.d.Neg()).Black() {
				t.Errorf("%s, turned %g: light from behind", name, c.turn)
			}
			// Three quarters of the way round is dark, and samples come from about the middle.
			s, ok := l.Sample(geom.Vec{}, 0.5, 0.5)
			if !ok || s.Wi.Dot(c.d) < 0.7 {
				t.Errorf("%s, turned %g: a sample towards %v", name, c.turn, s.Wi)
			}
		}
	}
}

// A surface and the environment turned together by 37 degrees receive the same light.
func TestEnvironmentRotation(t *testing.T) {
	img := picture(64, 32)
	const turn = 37 * math.Pi / 180
	n := geom.Vec{X: 0.4, Y: 0.5, Z: -0.7}.Unit()
	a := must(t)(NewEnvironment("a", img, 0, colour.Grey(1)))
	b := must(t)(NewEnvironment("b", img, turn, colour.Grey(1)))
	for _, l := range []*Light{b, turned(a, turn)} {
		ea, eb := estimate(a, geom.Vec{}, n, 200), estimate(l, geom.Vec{}, geom.RotateY(turn).Vector(n), 200)
		near(t, "irradiance", eb[0]/ea[0], 1, 1e-9)
		d := geom.Vec{X: 0.1, Y: 0.2, Z: 0.9}.Unit()
		near(t, "radiance", l.RadianceDir(geom.RotateY(turn).Vector(d))[1], a.RadianceDir(d)[1], 1e-9)
	}
}

// Irradiance by samples, with and without compensation, is that of a plain sum over the sphere; the estimate used to
// choose lights is a quarter of the fluence.
func TestEnvironmentIrradiance(t *testing.T) {
	const w, h, fine = 32, 16, 40
	img := picture(w, h)
	gain := colour.RGB{2, 1, 0.5}
	n := geom.Vec{X: -0.3, Y: 0.8, Z: 0.5}.Unit()
	plain := must(t)(NewEnvironment("plain", img, 1, gain, WithoutCompensation()))
	comp := must(t)(NewEnvironment("compensated", img, 1, gain))
	var want colour.RGB
	fluence := 0.0
	for y := range h * fine {
		omega := 2 * math.Pi / (w * fine) * (math.Cos(math.Pi*float64(y)/(h*fine)) - math.Cos(math.Pi*float64(y+1)/(h*fine)))
		for x := range w * fine {
			d := envmap.Direction((float64(x)+0.5)/(w*fine), (float64(y)+0.5)/(h*fine))
			l := plain.RadianceDir(d)
			want = want.Add(l.Scale(max(0, d.Dot(n)) * omega))
			fluence += l.Luminance() * omega
		}
	}
	for _, l := range []*Light{plain, comp} {
		rng := rand.New(rand.NewPCG(9, 1))
		const count = 500000
		var sum, sum2 colour.RGB
		for range count {
			if s, ok := l.Sample(geom.Vec{}, rng.Float64(), rng.Float64()); ok {
				v := s.L.Scale(max(0, s.Wi.Dot(n)) / s.Pdf)
				sum, sum2 = sum.Add(v), sum2.Add(v.Mul(v))
			}
		}
		for c := range 3 {
			mean := sum[c] / count
			se := math.Sqrt((sum2[c]/count - mean*mean) / count)
			near(t, fmt.Sprint(l.Name, ", channel ", c), mean, want[c], 4*se)
			if se > 0.006*want[c] {
				t.Errorf("%s: standard error %g of %g", l.Name, se, want[c])
			}
		}
		near(t, l.Name+": mean", l.Irradiance(geom.Vec{})/(fluence/4), 1, 0.02)
	}
}

// An environment without light says so and gives nothing, without NaN.
func TestBlackEnvironment(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, l := range []*Light{
		must(t)(NewEnvironment("black", texture.NewImage(4, 2, 3, make([]float32, 24)), 0, colour.Grey(1))),
		must(t)(NewEnvironment("switched off", picture(8, 4), 0, colour.RGB{})),
	} {
		if !strings.Contains(l.Note, "nothing shines") {
			t.Errorf("%s: note %q", l.Name, l.Note)
		}
		d := geom.UniformSphere(rng.Float64(), rng.Float64())
		if s, ok := l.Sample(geom.Vec{}, 0.5, 0.5); ok && !s.L.Black() {
			t.Errorf("%s: sample %+v", l.Name, s)
		}
		if p := l.PdfDir(geom.Vec{}, d); math.IsNaN(p) || !l.RadianceDir(d).Black() || l.Irradiance(geom.Vec{}) != 0 {
			t.Errorf("%s: pdf %g, radiance %v, irradiance %g", l.Name, p, l.RadianceDir(d), l.Irradiance(geom.Vec{}))
		}
	}
	if l := must(t)(NewEnvironment("marsh", picture(8, 4), 0, colour.Grey(1))); l.Note != "" {
		t.Errorf("note %q", l.Note)
	}
}

func ExampleNewDistantIrradiance() {
	// A low sun over the marsh, half a degree across, that gives a surface facing it 100 W/m^2.
	sun, err := NewDistantIrradiance("low sun", geom.Vec{X: 1, Y: 0.2}, geom.Radians(0.53), colour.RGB{120, 100, 70})
	if err != nil {
		fmt.Println(err)
		return
	}
	s, _ := sun.Sample(geom.Vec{}, 0.5, 0.5)
	fmt.Printf("%.0f W/(m^2 sr)\n", s.L[1])
	// Output: 1488013 W/(m^2 sr)
}

// WithoutCompensation lets the density follow the picture itself: for estimators that sample the light alone. By
// default it follows what stands out above the mean (see envmap.Options), which suits estimators that combine it with
// sampling the material; both are unbiased either way.
func WithoutCompensation() EnvironmentOption {
	return func(o *envmap.Options) { o.Compensate = false }
}

// An environment that is rotated and exposed later shines as one that was made so, its hot spots too, and an exposure that is too much is
// refused.
func TestRotatedAndExposed(t *testing.T) {
	img := picture(64, 32)
	made := must(t)(NewEnvironment("e", img, 0.7, colour.RGB{4, 2, 8}, WithHotSpots()))
	later := must(t)(must(t)(NewEnvironment("e", img, 0, colour.RGB{2, 1, 4}, WithHotSpots())).Rotated(0.7).Exposed(2))
	if len(made.Spots()) == 0 || len(later.Spots()) != len(made.Spots()) {
		t.Fatalf("%d and %d hot spots", len(made.Spots()), len(later.Spots()))
	}
	pairs := [][2]*Light{{made, later}}
	for i, s := range made.Spots() {
		pairs = append(pairs, [2]*Light{s, later.Spots()[i]})
	}
	for _, p := range pairs {
		if a, b := p[0].Irradiance(geom.Vec{}), p[1].Irradiance(geom.Vec{}); math.Abs(a-b) > 1e-12*a {
			t.Errorf("irradiance %g, %g", a, b)
		}
		for i := range 200 {
			u0, u1 := (float64(i%20)+0.5)/20, (float64(i/20)+0.5)/10
			a, _ := p[0].Sample(geom.Vec{}, u0, u1)
			b, _ := p[1].Sample(geom.Vec{}, u0, u1)
			if a.Wi.Sub(b.Wi).Len() > 1e-9 || a.L.Sub(b.L).Max() > 1e-9*a.L.Max() || math.Abs(a.Pdf-b.Pdf) > 1e-9*a.Pdf {
				t.Fatalf("samples %v, %v", a, b)
			}
			if a, b := p[0].RadianceDir(a.Wi), p[1].RadianceDir(a.Wi); a != b {
				t.Fatalf("radiance %v, %v", a, b)
			}
		}
	}
	if _, err := made.Exposed(1e30); err == nil {
		t.Error("a gain of 8e30 is taken")
	}
}
