package envmap

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"catchlight/light/spherestat"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func build(t testing.TB, w, h int, f func(x, y int) float64, compensate bool) *Map {
	t.Helper()
	pix := make([]float32, 3*w*h)
	for i := range w * h {
		v := float32(f(i%w, i/w))
		pix[3*i], pix[3*i+1], pix[3*i+2] = v, v, v
	}
	m, err := New(w, h, pix, Options{Compensate: compensate})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// marsh is a smooth sky over dark water with a sun and a black strip.
func marsh(w, h int) func(x, y int) float64 {
	return func(x, y int) float64 {
		switch {
		case x == w/5 && y == h/3:
			return 5000
		case y == h/2:
			return 0
		case y > h/2:
			return 0.05
		}
		return 1 + 0.5*math.Sin(2*math.Pi*float64(x)/float64(w))
	}
}

// The layout of OpenEXR's latitude-longitude environments (Technical Introduction to OpenEXR, "Environment Maps"): +Y on
// top, -Z at the left and right edges, +X at a quarter, +Z in the middle, -X at three quarters.
func TestLayout(t *testing.T) {
	for _, c := range []struct {
		d    geom.Vec
		u, v float64
	}{
		{geom.Vec{Z: -1}, 0, 0.5}, {geom.Vec{X: 1}, 0.25, 0.5}, {geom.Vec{Z: 1}, 0.5, 0.5}, {geom.Vec{X: -1}, 0.75, 0.5},
		{geom.Vec{Y: 1}, 0, 0}, {geom.Vec{Y: -1}, 0, 1},
		{geom.Vec{Y: math.Sqrt(0.5), Z: math.Sqrt(0.5)}, 0.5, 0.25},
	} {
		u, v := UV(c.d)
		if math.Abs(c.d.Y) < 1 {
			near(t, fmt.Sprint(c.d, " u"), u, c.u, 1e-12)
		}
		near(t, fmt.Sprint(c.d, " v"), v, c.v, 1e-12)
	}
	if u, _ := UV(geom.Vec{X: -1e-300, Z: -1}); !(u >= 0 && u < 1) {
		t.Errorf("u = %g", u)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for range 1000 {
		d := geom.UniformSphere(rng.Float64(), rng.Float64())
		near(t, "there and back", Direction(UV(d)).Sub(d).Len(), 0, 1e-7)
	}
	// A texel is read at its centre, and half way to its neighbours, also across the seam.
	const w, h = 16, 8
	m := build(t, w, h, func(x, y int) float64 {
		if x == 0 && y == 3 {
			return 8
		}
		return 0
	}, false)
	for _, c := range []struct{ x, y, want float64 }{
		{0.5, 3.5, 8}, {1, 3.5, 4}, {0, 3.5, 4}, {15.75, 3.5, 2}, {0.5, 4, 4}, {1, 4, 2}, {2, 3.5, 0}, {0.5, 5, 0},
	} {
		near(t, fmt.Sprint("texel ", c.x, " ", c.y), m.Radiance(Direction(c.x/w, c.y/h))[1], c.want, 1e-9)
	}
	// The first and last row hold up to the poles.
	m = build(t, w, h, func(x, y int) float64 { return float64(y) }, false)
	near(t, "north", m.Radiance(geom.Vec{Y: 1})[0], 0, 1e-9)
	near(t, "south", m.Radiance(geom.Vec{Y: -1})[0], h-1, 1e-9)
}

// The density integrates to 1 exactly: it is constant in every half texel, whose solid angle is known.
func TestDensityIntegral(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {2, 1}, {1, 5}, {7, 4}, {64, 32}} {
		w, h := size[0], size[1]
		for _, compensate := range []bool{false, true} {
			m := build(t, w, h, marsh(w, h), compensate)
			if m.Black() {
				continue
			}
			sum := 0.0
			for y := range 2 * h {
				omega := bandSolidAngle(float64(y)/float64(2*h), float64(y+1)/float64(2*h)) / float64(2*w)
				for x := range 2 * w {
					p := m.Pdf(Direction((float64(x)+0.37)/float64(2*w), (float64(y)+0.61)/float64(2*h)))
					sum += p * omega
				}
			}
			near(t, fmt.Sprint(size, compensate), sum, 1, 1e-9)
		}
	}
}

// Samples follow the density: chi-square, fixed seed, significance 1e-4.
func TestSamplesFollowDensity(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {3, 1}, {1, 4}, {16, 8}, {48, 24}} {
		for _, compensate := range []bool{false, true} {
			// A dimmer sun: next to the full one the sums over bins would need far more points.
			f := marsh(size[0], size[1])
			m := build(t, size[0], size[1], func(x, y int) float64 { return min(40, f(x, y)) }, compensate)
			r := spherestat.Check(spherestat.Case{
				Pdf: m.Pdf,
				Sample: func(u0, u1 float64) (geom.Vec, float64, bool) {
					d, pdf, l, ok := m.Sample(u0, u1)
					if e := l.Sub(m.Radiance(d)).Max(); math.Abs(e) > 1e-6*(1+l[0]) {
						t.Errorf("%v: the sample shows %v, the look-up %v", size, l, m.Radiance(d))
					}
					return d, pdf, ok
				},
				Axis: geom.Vec{Y: 1}, Power: 1, N: 60000, Seed: 2,
			})
			if r.P < 1e-4 || r.Share != 1 || r.Outside > 0 || math.Abs(r.Integral-1) > 0.02 {
				t.Errorf("%v, compensate %v: %+v", size, compensate, r)
			}
		}
	}
}

// A weight L/pdf is bounded: nothing shines that the density does not know of. Without compensation the bound is 3 (the
// peak over the root mean square of a bilinear patch) times the total; with it ten times more.
func TestBoundedWeights(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, compensate := range []bool{false, true} {
		m := build(t, 32, 16, marsh(32, 16), compensate)
		flux := 0.0 // the integral of the density's weights is at most that of the peaks
		for y := range 16 {
			for x := range 32 {
				flux += marsh(32, 16)(x, y) * bandSolidAngle(float64(y)/16, float64(y+1)/16) / 32
			}
		}
		bound := 3 * 1.5 * flux // root mean squares add up to somewhat more than means
		if compensate {
			bound *= 10
		}
		for range 100000 {
			d := geom.UniformSphere(rng.Float64(), rng.Float64())
			l, p := m.Radiance(d)[0], m.Pdf(d)
			if l > bound*p {
				t.Fatalf("compensate %v: radiance %g at density %g, bound %g", compensate, l, p, bound)
			}
		}
	}
	// The square of a bilinear patch, by a plain sum.
	a, b, c, d := 0.3, 2.0, 0.0, 1.1
	sum := 0.0
	for i := range 400 {
		for j := range 400 {
			x, y := (float64(i)+0.5)/400, (float64(j)+0.5)/400
			v := (1-x)*(1-y)*a + x*(1-y)*b + (1-x)*y*c + x*y*d
			sum += v * v / 160000
		}
	}
	near(t, "patch", rms(a, b, c, d), math.Sqrt(sum), 1e-5)
}

// One bright texel of n x n/2 gives the irradiance L dOmega cos on a surface: the tent about it has its solid angle.
func TestOneTexel(t *testing.T) {
	const w, h = 512, 256
	const x, y = 300, 90
	n := geom.Vec{X: -0.5, Y: 0.7, Z: 0.4}.Unit()
	for _, compensate := range []bool{false, true} {
		m := build(t, w, h, func(i, j int) float64 {
			if i == x && j == y {
				return 1000
			}
			return 0
		}, compensate)
		omega := bandSolidAngle(float64(y)/h, float64(y+1)/h) / w
		cos := Direction((x+0.5)/w, (y+0.5)/h).Dot(n)
		sum := 0.0
		const k = 300
		for i := range k {
			for j := range k {
				d, pdf, l, ok := m.Sample((float64(i)+0.5)/k, (float64(j)+0.5)/k)
				if ok {
					sum += l[0] * max(0, d.Dot(n)) / pdf / (k * k)
				}
			}
		}
		near(t, "irradiance", sum/(1000*omega*cos), 1, 1e-4)
	}
}

// Uniform light has the density 1/(4 pi), compensated or not, whatever the resolution.
func TestUniform(t *testing.T) {
	for _, compensate := range []bool{false, true} {
		for _, size := range [][2]int{{1, 1}, {5, 3}, {40, 20}} {
			m := build(t, size[0], size[1], func(int, int) float64 { return 0.7 }, compensate)
			rng := rand.New(rand.NewPCG(4, 1))
			for range 100 {
				near(t, "density", m.Pdf(geom.UniformSphere(rng.Float64(), rng.Float64())), 1/(4*math.Pi), 1e-12)
			}
			near(t, "mean", m.MeanRadiance()[2], float64(float32(0.7)), 1e-12)
		}
	}
}

// Compensation: the mean of the light's samples alone, and of both techniques combined by the balance heuristic, is the
// irradiance from a plain sum over the sphere; and combined, its variance is less than without (Karlik et al. 2019).
func TestCompensation(t *testing.T) {
	const w, h = 64, 32
	n := geom.Vec{X: 0.2, Y: 0.9, Z: -0.3}.Unit()
	f := geom.NewFrame(n)
	plainMap := build(t, w, h, marsh(w, h), false)
	want := 0.0
	const fine = 24
	for y := range h * fine {
		omega := bandSolidAngle(float64(y)/(h*fine), float64(y+1)/(h*fine)) / (w * fine)
		for x := range w * fine {
			d := Direction((float64(x)+0.5)/(w*fine), (float64(y)+0.5)/(h*fine))
			if c := d.Dot(n); c > 0 {
				want += plainMap.Radiance(d)[0] * c * omega
			}
		}
	}
	variance := map[bool]float64{}
	for _, compensate := range []bool{false, true} {
		m := build(t, w, h, marsh(w, h), compensate)
		rng := rand.New(rand.NewPCG(5, 1))
		const count = 200000
		var alone, alone2, both, both2 float64
		for range count {
			d, p, l, _ := m.Sample(rng.Float64(), rng.Float64())
			c := max(0, d.Dot(n))
			v := l[0] * c / p
			alone += v
			alone2 += v * v
			v *= p / (p + c/math.Pi)
			e := f.World(geom.CosineHemisphere(rng.Float64(), rng.Float64()))
			c = e.Dot(n)
			v += m.Radiance(e)[0] * c / (c/math.Pi + m.Pdf(e))
			both += v
			both2 += v * v
		}
		mean := alone / count
		near(t, fmt.Sprint("alone, compensate ", compensate), mean, want, 4*math.Sqrt((alone2/count-mean*mean)/count)+1e-3*want)
		mean = both / count
		variance[compensate] = both2/count - mean*mean
		near(t, fmt.Sprint("combined, compensate ", compensate), mean, want, 4*math.Sqrt(variance[compensate]/count)+1e-3*want)
	}
	if variance[true] >= variance[false] {
		t.Errorf("variance %g with compensation, %g without", variance[true], variance[false])
	}
	t.Logf("variance %.4g with compensation, %.4g without, mean %.4g", variance[true], variance[false], want)
}

// The gain of the channels shapes the density: where only red counts, a blue spot is not sampled.
func TestGain(t *testing.T) {
	pix := make([]float32, 3*16*8)
	pix[3*(2*16+3)] = 1 // red
	pix[3*(5*16+11)+2] = 1
	m, err := New(16, 8, pix, Options{Gain: colour.RGB{1, 0, 0}})
	if err != nil {
		t.Fatal(err)
	}
	if m.Pdf(Direction(3.5/16, 2.5/8)) == 0 || m.Pdf(Direction(11.5/16, 5.5/8)) != 0 {
		t.Error("the density does not follow the gain")
	}
}

func TestBlackAndErrors(t *testing.T) {
	m := build(t, 8, 4, func(int, int) float64 { return 0 }, true)
	if _, _, _, ok := m.Sample(0.5, 0.5); ok || !m.Black() || m.Pdf(geom.Vec{Y: 1}) != 0 {
		t.Error("a black map is sampled")
	}
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	for _, c := range []struct {
		w, h int
		pix  []float32
		want string
	}{
		{0, 4, nil, "0 x 4"},
		{4, -1, nil, "at least 1"},
		{1 << 40, 1 << 40, nil, "at most"},
		{2, 1, make([]float32, 5), "want 6"},
		{2, 1, []float32{1, 1, 1, 1, nan, inf}, "2 of 6 values are not finite and >= 0, first NaN in channel 1 of texel (1, 0)"},
		{1, 2, []float32{1, 1, 1, -0.5, 1, 1}, "first -0.5 in channel 0 of texel (0, 1)"},
	} {
		m, err := New(c.w, c.h, c.pix, Options{})
		if err == nil || m != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%d x %d: error %v, want one with %q", c.w, c.h, err, c.want)
		}
	}
}

// The corners of the unit square, and directions at the poles and the seam, stay finite and inside.
func TestEdges(t *testing.T) {
	m := build(t, 5, 3, marsh(5, 3), true)
	last := 1 - 0x1p-53
	for _, u0 := range []float64{0, 0.2, last} {
		for _, u1 := range []float64{0, 0.5, last} {
			d, p, l, ok := m.Sample(u0, u1)
			if !ok || !d.Finite() || !(p > 0) || !l.Finite() {
				t.Errorf("(%g, %g): %v %g %v", u0, u1, d, p, l)
			}
		}
	}
	for _, d := range []geom.Vec{{Y: 1}, {Y: -1}, {Z: -1}, {X: -1e-17, Z: -1}, {Y: 1 + 1e-15}, {X: 1e-160, Y: -1}} {
		if p, l := m.Pdf(d), m.Radiance(d); !(p > 0) || !l.Finite() {
			t.Errorf("%v: %g %v", d, p, l)
		}
	}
}

func BenchmarkSample(b *testing.B) {
	for _, w := range []int{64, 2048} {
		m := build(b, w, w/2, marsh(w, w/2), true)
		b.Run(fmt.Sprintf("width=%d", w), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 1))
			for b.Loop() {
				_, p, _, _ := m.Sample(rng.Float64(), rng.Float64())
				sink += p
			}
		})
	}
}

func BenchmarkPdfAndRadiance(b *testing.B) {
	m := build(b, 2048, 1024, marsh(2048, 1024), true)
	rng := rand.New(rand.NewPCG(1, 1))
	var d [1024]geom.Vec
	for i := range d {
		d[i] = geom.UniformSphere(rng.Float64(), rng.Float64())
	}
	i := 0
	for b.Loop() {
		k := d[i&1023]
		sink += m.Pdf(k) + m.Radiance(k)[0]
		i++
	}
}

func BenchmarkNew(b *testing.B) {
	pix := make([]float32, 3*2048*1024)
	for i := range pix {
		pix[i] = float32(i % 97)
	}
	for b.Loop() {
		if _, err := New(2048, 1024, pix, Options{Compensate: true}); err != nil {
			b.Fatal(err)
		}
	}
}

var sink float64
