package texture

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func checker(n int) *Image {
	p := make([]float32, n*n)
	for i := range p {
		p[i] = float32((i%n + i/n) & 1)
	}
	return NewImage(n, n, 1, p)
}

// A checker of one texel is grey 0.5 in linear light at any footprint of two texels or more (mean of 0 and 1). The
// same checker stored as sRGB bytes 0 and 255 gives the same: means are taken after decoding.
func TestCheckerMeanIsLinear(t *testing.T) {
	im := checker(64)
	m := FromImage(im, Repeat)
	bytes := make([]uint8, 64*64)
	for i := range bytes {
		bytes[i] = uint8(255 * im.At(i%64, i/64, 0))
	}
	m8 := FromImage(NewImage8(64, 64, 1, bytes, SRGB8), Repeat)
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		uv := geom.UV{U: 4*r.Float64() - 2, V: 4*r.Float64() - 2}
		foot := (2 + 100*r.Float64()) / 64
		near(t, "checker", m.Scalar(uv, foot), 0.5, 1e-6)
		near(t, "byte checker", m8.Scalar(uv, foot), 0.5, 1.0/255) // its copies are bytes too
		near(t, "byte against float, sharp", m8.Scalar(uv, 0), m.Scalar(uv, 0), 1e-6)
	}
	// A sample as wide as a texel is not filtered further than bilinear: texel centres are exact.
	near(t, "texel centre", m.Scalar(geom.UV{U: 1.5 / 64, V: 0.5 / 64}, 1.0/64), 1, 0)
}

// Every level has the mean of the picture, whatever its size: weights are areas (own computation).
func TestMipsKeepTheMean(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, s := range [][3]int{{1, 1, 1}, {7, 5, 3}, {1, 9, 2}, {33, 2, 4}, {100, 37, 1}, {64, 64, 3}} {
		w, h, c := s[0], s[1], s[2]
		pix := make([]float32, w*h*c)
		var want [4]float64
		for i := range pix {
			pix[i] = float32(r.ExpFloat64())
			want[i%c] += float64(pix[i]) / float64(w*h)
		}
		im := NewImage(w, h, c, pix)
		im.BuildMips()
		for k, l := range im.mips {
			var got [4]float64
			for i, v := range l.pix {
				got[i%c] += float64(v) / float64(l.w*l.h)
			}
			for i := range want {
				near(t, "mean of a level", got[i], want[i], 1e-5*(1+want[i]))
			}
			if k == len(im.mips)-1 && (l.w != 1 || l.h != 1) {
				t.Errorf("%v: the last level is %d x %d", s, l.w, l.h)
			}
		}
		for i, v := range im.Mean() {
			near(t, "Mean", v, want[i], 1e-5*(1+want[i]))
		}
	}
}

func TestConstantAndNone(t *testing.T) {
	m := Constant(colour.RGB{0.1, 0.2, 0.3}).Scaled(2, 1)
	if got, want := m.RGB(geom.UV{U: 0.3, V: 9}, 0.1), (colour.RGB{1.2, 1.4, 1.6}); got != want {
		t.Errorf("scaled constant: got %v, want %v", got, want)
	}
	if du, dv := m.Grad(geom.UV{}, 0); du != 0 || dv != 0 {
		t.Errorf("gradient of a constant: got %v, %v", du, dv)
	}
	s := Constant(colour.Grey(0.25))
	near(t, "scalar", s.Scalar(geom.UV{}, 0), 0.25, 0)
	var no Map
	scaled := no.Scaled(3, 4)
	if no.Valid() || scaled.Valid() || !m.Valid() {
		t.Error("Valid: the zero value is no map, also when scaled; a constant is one")
	}
	empty := FromImage(nil, Repeat)
	if empty.Valid() {
		t.Error("a nil picture gives a map")
	}
	near(t, "no map", no.Scalar(geom.UV{}, 0), 0, 0)
}

// Four texels 1 2 3 4 in a row, read at texel centres inside and outside the picture.
func TestWrap(t *testing.T) {
	im := NewImage(4, 1, 1, []float32{1, 2, 3, 4})
	for _, c := range []struct {
		name string
		wrap Wrap
		want [12]float64 // texels -4 .. 7
	}{
		{"repeat", Repeat, [12]float64{1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4}},
		{"clamp", Clamp, [12]float64{1, 1, 1, 1, 1, 2, 3, 4, 4, 4, 4, 4}},
		{"mirror", Mirror, [12]float64{4, 3, 2, 1, 1, 2, 3, 4, 4, 3, 2, 1}},
	} {
		m := FromImage(im, c.wrap)
		for i, want := range c.want {
			near(t, c.name, m.Scalar(geom.UV{U: (float64(i) - 3.5) / 4, V: 0.5}, 0), want, 1e-12)
		}
		// Half-way between two texels, across the edge too, the value is the mean of both.
		for i := 0; i < 11; i++ {
			u := (float64(i) - 3) / 4
			near(t, c.name+" between texels", m.Scalar(geom.UV{U: u, V: 0.5}, 0), (c.want[i]+c.want[i+1])/2, 1e-12)
		}
		for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300} {
			if v := m.Scalar(geom.UV{U: bad, V: bad}, bad); !(v >= 1 && v <= 4) {
				t.Errorf("%s at %v: got %v, want a value of the picture", c.name, bad, v)
			}
			m.Grad(geom.UV{U: bad, V: bad}, bad)
		}
	}
}

// On a ramp a u + b v the gradient is (a, b) at every footprint whose level still has texels to compare.
func TestGradOfRamp(t *testing.T) {
	const w, h, a, b = 64, 32, 3.0, -2.0
	pix := make([]float32, w*h)
	for i := range pix {
		pix[i] = float32(a*(float64(i%w)+0.5)/w + b*(float64(i/w)+0.5)/h)
	}
	m := FromImage(NewImage(w, h, 1, pix), Clamp).Scaled(2, 5)
	for _, foot := range []float64{0, 1.0 / w, 1.7 / w, 2.5 / w} {
		for i := range 40 {
			uv := geom.UV{U: 0.15 + 0.7*float64(i)/40, V: 0.2 + 0.6*float64(i*7%40)/40}
			du, dv := m.Grad(uv, foot)
			near(t, "du", du, 2*a, 1e-4)
			near(t, "dv", dv, 2*b, 1e-4)
			near(t, "value", m.Scalar(uv, foot), 2*(a*uv.U+b*uv.V)+5, 1e-5)
		}
	}
	if du, dv := m.Grad(geom.UV{U: -0.5, V: 1.5}, 0); du != 0 || dv != 0 {
		t.Errorf("clamped, outside: got %v, %v, want 0, 0", du, dv)
	}
	mm := FromImage(NewImage(w, h, 1, pix), Mirror)
	du, dv := mm.Grad(geom.UV{U: 1.5, V: -0.4}, 0)
	near(t, "mirrored du", du, -a, 1e-4)
	near(t, "mirrored dv", dv, -b, 1e-4)
}

// The gradient of a sine of 32 texels a period is within the spline's error of the true one (the kernel damps a
// wave of angular frequency w per texel by sinc(w/2) for each of its box passes: 0.5 % a pass here), and it does not
// jump at texel edges.
func TestGradOfSine(t *testing.T) {
	const n = 128
	pix := make([]float32, n*n)
	for i := range pix {
		pix[i] = float32(math.Sin(2 * math.Pi * 4 * (float64(i%n) + 0.5) / n))
	}
	m := FromImage(NewImage(n, n, 1, pix), Repeat)
	prev := math.NaN()
	for i := range 2000 {
		u := float64(i) / 2000
		du, dv := m.Grad(geom.UV{U: u, V: 0.3}, 0)
		peak := 2 * math.Pi * 4
		near(t, "sine", du, peak*math.Cos(peak*u), 0.012*peak)
		near(t, "across", dv, 0, 1e-4)
		if i > 0 && math.Abs(du-prev) > 1.05*peak*peak/2000 {
			t.Errorf("the gradient jumps from %v to %v at u = %v", prev, du, u)
		}
		prev = du
	}
}

func TestChannelsAndMean(t *testing.T) {
	im := NewImage(2, 1, 3, []float32{1, 2, 3, 3, 4, 5})
	m := FromImage(im, Clamp)
	if got, want := m.Mean(), (colour.RGB{2, 3, 4}); got != want {
		t.Errorf("mean: got %v, want %v", got, want)
	}
	g := FromImage(im.Channel(1), Clamp)
	if got, want := g.RGB(geom.UV{U: 0.5, V: 0.5}, 0), colour.Grey(3); got != want {
		t.Errorf("channel 1, half-way: got %v, want %v", got, want)
	}
	d := NewImage16(1, 1, 2, []uint16{65535, 0}, Signal16)
	if d.At(0, 0, 0) != 1 || d.At(0, 0, 1) != 0 {
		t.Error("16-bit texels are not decoded by their table")
	}
}

func TestLookUpsDoNotAllocate(t *testing.T) {
	m := FromImage(checker(16), Repeat)
	if n := testing.AllocsPerRun(100, func() {
		m.RGB(geom.UV{U: 0.3, V: 0.2}, 0.1)
		m.Grad(geom.UV{U: 0.3, V: 0.2}, 0.1)
	}); n != 0 {
		t.Errorf("%v allocations a look-up", n)
	}
}

func BenchmarkRGB(b *testing.B) {
	pix := make([]float32, 512*512*3)
	m := FromImage(NewImage(512, 512, 3, pix), Repeat)
	uvs := make([]geom.UV, 1024)
	r := rand.New(rand.NewPCG(5, 6))
	for i := range uvs {
		uvs[i] = geom.UV{U: r.Float64(), V: r.Float64()}
	}
	for _, c := range []struct {
		name string
		foot float64
	}{{"sharp", 0}, {"trilinear", 3.0 / 512}} {
		b.Run(c.name, func(b *testing.B) {
			i := 0
			for b.Loop() {
				m.RGB(uvs[i&1023], c.foot)
				i++
			}
		})
	}
}

func BenchmarkGrad(b *testing.B) {
	m := FromImage(checker(512), Repeat)
	i := 0
	for b.Loop() {
		m.Grad(geom.UV{U: float64(i) * 0.618034, V: float64(i) * 0.414214}, 0)
		i++
	}
}
