package hair

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// look makes a look for a test.
func look(t *testing.T, tilt, along, around float64) *Look {
	t.Helper()
	l, err := New(1.55, tilt, along, around)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// over integrates f over the sphere in the hair's frame, by the middle of n x 2n cells of equal solid angle.
func over(n int, f func(w geom.Vec) colour.RGB) (sum colour.RGB) {
	for i := range n {
		x := 2*(float64(i)+0.5)/float64(n) - 1
		r := math.Sqrt(1 - x*x)
		for j := range 2 * n {
			s, c := math.Sincos(math.Pi * (float64(j) + 0.5) / float64(n))
			sum = sum.Add(f(geom.Vec{X: x, Y: r * s, Z: r * c}))
		}
	}
	return sum.Scale(4 * math.Pi / float64(2*n*n))
}

// A white furnace: without absorption all light comes back, whatever the roughness and wherever the ray meets the hair.
func TestFurnace(t *testing.T) {
	for _, rough := range []float64{0.15, 0.25, 0.3, 0.6, 1} {
		l := look(t, 0.0436, rough, rough)
		for _, sinO := range []float64{0, 0.4, -0.9} {
			for _, h := range []float64{0, 0.5, -0.97} {
				var f Fibre
				f.Meet(l, sinO, h, colour.RGB{})
				got := over(160, func(w geom.Vec) colour.RGB { v, _ := f.Eval(w); return v })
				for c, v := range got {
					if math.Abs(v-1) > 0.01 {
						t.Errorf("roughness %g, inclination %g, h %g: channel %d gives back %.4f", rough, sinO, h, c, v)
					}
				}
				if s := f.Share(); math.Abs(s[0]-1) > 1e-12 {
					t.Errorf("h %g: lobes sum to %.15f", h, s[0])
				}
			}
		}
	}
}

// What is sampled is what is evaluated: the density integrates to 1, samples follow it, and their weights have the mean of the
// integral.
func TestSample(t *testing.T) {
	l := look(t, 0.0436, 0.25, 0.3)
	sigma := Absorption(1.3, 0.2)
	for i, q := range [][2]float64{{0.3, 0.4}, {-0.8, -0.7}} {
		var f Fibre
		f.Meet(l, q[0], q[1], sigma)
		r := rand.New(rand.NewPCG(1, uint64(i)))
		var mean colour.RGB
		n := 0
		res := spherestat.Check(spherestat.Case{
			Pdf: func(d geom.Vec) float64 { _, pdf := f.Eval(d); return pdf },
			Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
				wi, w, pdf := f.Sample([4]float64{r.Float64(), u0, u1, r.Float64()})
				mean = mean.Add(w)
				n++
				return wi, pdf, pdf > 0
			},
			Axis: geom.Vec{X: 1}, Power: 1, N: 20000, Seed: 7,
		})
		if math.Abs(res.Integral-1) > 0.01 || res.P < 1e-4 || res.PdfError > 1e-9 || res.Outside > 0 || res.Share < 1 {
			t.Errorf("case %d: %+v", i, res)
		}
		want := f.Share()
		for c, v := range mean.Scale(1 / float64(n)) {
			if math.Abs(v/want[c]-1) > 0.03 {
				t.Errorf("case %d: samples give back %.4f in channel %d, lobes %.4f", i, v, c, want[c])
			}
		}
	}
}

// Reciprocity holds for the mean over the width where no scale is tilted and inclinations are equal: then all lobes lose alike
// both ways.
func TestReciprocity(t *testing.T) {
	l := look(t, 0, 0.25, 0.3)
	sigma := Absorption(0.6, 0.1)
	mean := func(o, i geom.Vec) (sum colour.RGB) {
		// In the frame of o, whose Z is across the hair toward o.
		b := math.Atan2(o.Y, o.Z)
		a := math.Atan2(i.Y, i.Z) - b
		cos := math.Sqrt(1 - i.X*i.X)
		const n = 400
		for k := range n {
			var f Fibre
			f.Meet(l, o.X, 2*(float64(k)+0.5)/n-1, sigma)
			v, _ := f.Eval(geom.Vec{X: i.X, Y: cos * math.Sin(a), Z: cos * math.Cos(a)})
			sum = sum.Add(v.Scale(1.0 / n))
		}
		return sum
	}
	at := func(x, phi float64) geom.Vec {
		r := math.Sqrt(1 - x*x)
		return geom.Vec{X: x, Y: r * math.Sin(phi), Z: r * math.Cos(phi)}
	}
	for _, q := range [][3]float64{{0.3, -0.3, 0.7}, {0.5, 0.5, 2.9}, {0, 0, 1.6}} {
		o, i := at(q[0], 0.4), at(q[1], 0.4+q[2])
		a, b := mean(o, i), mean(i, o)
		for c := range a {
			if math.Abs(a[c]/b[c]-1) > 1e-3 {
				t.Errorf("%v: %.6f one way, %.6f the other", q, a[c], b[c])
			}
		}
	}
}

// The scales lean toward the tip, so their faces look toward the root and the first lobe with them, by twice the tilt.
// Source: a plane mirror turned by an angle turns the image by twice that.
func TestTilt(t *testing.T) {
	tilt := geom.Radians(3)
	var f Fibre
	f.Meet(look(t, tilt, 0.1, 0.1), 0, 0, Absorption(60, 0))
	best, at := 0.0, 0.0
	for i := range 2001 {
		x := 0.4 * (float64(i)/1000 - 1)
		if v, _ := f.Eval(geom.Vec{X: x, Z: math.Sqrt(1 - x*x)}); v[1] > best {
			best, at = v[1], x
		}
	}
	if math.Abs(math.Asin(at)+2*tilt) > geom.Radians(0.5) {
		t.Errorf("the first lobe is turned by %.2f degrees, want -6", geom.Degrees(math.Asin(at)))
	}
}

// Source: I0(x) is the mean of exp(x cos t) over a turn (Abramowitz and Stegun, 9.6.16).
func TestBessel(t *testing.T) {
	for _, x := range []float64{0, 0.5, 2, 3.74, 3.76, 10, 200} {
		const n = 4000
		want := 0.0
		for i := range n {
			want += math.Exp(x*(math.Cos(math.Pi*(float64(i)+0.5)/n)-1)) / n
		}
		if got := bessel(x); math.Abs(got/want-1) > 1e-6 {
			t.Errorf("I0(%g) exp(-%g) is %g, want %g", x, x, got, want)
		}
	}
}

// Black hair is darker than brown, brown than blond, each redder than blue; and an empty one is white.
func TestAlbedo(t *testing.T) {
	l := Usual()
	last := colour.Grey(1 + 1e-9)
	for _, eu := range []float64{0, 0.3, 1.3, 6} {
		c := Albedo(l, Absorption(eu, 0))
		if !(c[0] >= c[1] && c[1] >= c[2]) || c[1] >= last[1] {
			t.Errorf("eumelanin %g: %v after %v", eu, c, last)
		}
		last = c
	}
	if c := Albedo(l, colour.RGB{}); math.Abs(c[1]-1) > 0.01 {
		t.Errorf("without pigment %v comes back", c)
	}
	for _, bad := range [][4]float64{{1, 0, 0.3, 0.3}, {1.5, 1, 0.3, 0.3}, {1.5, 0, 0, 0.3}, {1.5, 0, 0.3, math.NaN()}} {
		if _, err := New(bad[0], bad[1], bad[2], bad[3]); err == nil {
			t.Errorf("%v passes", bad)
		}
	}
}
