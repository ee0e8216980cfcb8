package view

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"catchlight/scene/colour"
)

var all = []Transform{Reinhard, Neutral, Filmic, Clip}

func near(t *testing.T, what string, got, want colour.RGB, tolerance float64) {
	t.Helper()
	for i := range got {
		if !(math.Abs(got[i]-want[i]) <= tolerance) {
			t.Errorf("%s: %v, want %v", what, got, want)
			return
		}
	}
}

// The sRGB signal, IEC 61966-2-1:1999: values computed from the standard's formula.
func TestSignal(t *testing.T) {
	v := View{Transform: Clip}
	for x, want := range map[float64]float64{0.0031308: 0.040450, 0.01: 0.099853, 0.18: 0.461356, 0.5: 0.735357, 0: 0, 1: 1, 7: 1, -1: 0} {
		near(t, fmt.Sprint(x), v.Signal(colour.Grey(x)), colour.Grey(want), 1e-6)
	}
}

// Neutral, by hand from the published formula: colours from .08 on lose .04 and stay as they are up to a peak of .76; a
// grey of .04 becomes 6.25 x^2; above, p' = 1 - .0576/(p - .52).
func TestNeutral(t *testing.T) {
	v := View{Transform: Neutral}
	for _, c := range []struct{ in, want colour.RGB }{
		{colour.RGB{.3, .2, .1}, colour.RGB{.26, .16, .06}},
		{colour.RGB{.8, .5, .08}, colour.RGB{.76, .46, .04}},
		{colour.Grey(.04), colour.Grey(.01)},
		{colour.RGB{}, colour.RGB{}},
		{colour.Grey(1.04), colour.Grey(.88)},
		{colour.RGB{2.04, 1.04, .54}, colour.RGB{.961081, .545331, .337454}},
	} {
		near(t, fmt.Sprint(c.in), v.Display(c.in), c.want, 1e-6)
	}
}

// Filmic: values computed from Narkowicz's formula, .18 -> .266899 and 1 -> .803797.
func TestFilmic(t *testing.T) {
	v := View{Transform: Filmic}
	near(t, ".18", v.Display(colour.Grey(.18)), colour.Grey(.266899), 1e-6)
	near(t, "1", v.Display(colour.Grey(1)), colour.Grey(.803797), 1e-6)
}

// Extended Reinhard, equation 4: 1 -> (1 + 1/16)/2; the white point goes to 1; ratios of the channels stay while the
// colour fits; one that does not fit keeps the luminance of the curve.
func TestReinhard(t *testing.T) {
	v := View{}
	near(t, "1", v.Display(colour.Grey(1)), colour.Grey(0.53125), 1e-15)
	near(t, "white", v.Display(colour.Grey(White)), colour.Grey(1), 1e-15)
	low := View{White: 1.5}
	near(t, "low white", low.Display(colour.Grey(1.5)), colour.Grey(1), 1e-15)
	near(t, "below a low white", low.Display(colour.Grey(0.5)), colour.Grey(0.5*(1+0.5/2.25)/1.5), 1e-15)
	in := colour.RGB{.05, .03, .015}
	out := v.Display(in)
	near(t, "ratios", out.Scale(in[0]/out[0]), in, 1e-15)
	lamp := colour.RGB{6, .6, .2}
	got, l := v.Display(lamp), lamp.Luminance()
	if want := l * (1 + l/16) / (1 + l); math.Abs(got.Luminance()-want) > 1e-12 || got.Max() > 1 || got[2] < 0 {
		t.Errorf("saturated lamp %v: luminance %v, want %v", got, got.Luminance(), want)
	}
}

// Every curve rises with a grey's light from 0 to 1 and never falls, never leaves [0, 1] and stays finite whatever
// comes in. For a warm light the same holds of its luminance.
func TestMonotoneAndFinite(t *testing.T) {
	for _, tr := range all {
		for _, tint := range []colour.RGB{{1, 1, 1}, {1, .6, .3}} {
			last := -1.0
			for e := -20.0; e <= 100; e += 0.01 {
				c := View{Transform: tr, Exposure: 0}.Display(tint.Scale(math.Exp2(e)))
				y := c.Luminance()
				if !(y >= last-1e-12) || !(y <= 1+1e-12) {
					t.Fatalf("%v, tint %v: %v after %v at 2^%v", tr, tint, y, last, e)
				}
				last = y
			}
			if last < 0.8 {
				t.Errorf("%v, tint %v ends at %v", tr, tint, last)
			}
		}
		inf, nan := math.Inf(1), math.NaN()
		for _, c := range []colour.RGB{{nan, 1, 2}, {inf, inf, inf}, {inf, 0, 0}, {-inf, -3, nan}, {1e308, 1e-320, 5}, {0, 0, 1e300}} {
			for _, ev := range []float64{-40, 0, 40, 2000} {
				for _, x := range (View{Transform: tr, Exposure: ev}).Display(c) {
					if !(x >= 0 && x <= 1) {
						t.Errorf("%v of %v at %v EV: %v", tr, c, ev, x)
					}
				}
			}
		}
	}
}

func TestExposure(t *testing.T) {
	c := colour.RGB{.1, .2, .3}
	for _, tr := range all {
		near(t, tr.String(), View{Transform: tr, Exposure: 1.5}.Display(c), View{Transform: tr, Exposure: 0}.Display(c.Scale(math.Exp2(1.5))), 1e-15)
	}
}

// The table of the package comment: exposure puts a white of .58 at 65 % of the signal; 8-bit levels of the iris beside it.
// Own computation. The default must keep its blue clear of black and its hue.
func TestDarkIris(t *testing.T) {
	iris := colour.RGB{.05, .03, .015}
	want := map[Transform][3]int{Reinhard: {62, 48, 32}, Clip: {51, 38, 25}, Filmic: {29, 17, 7}, Neutral: {45, 28, 2}}
	for _, tr := range all {
		lo, hi := -10.0, 10.0
		for i := 0; i < 60; i++ {
			m := (lo + hi) / 2
			if (View{Transform: tr, Exposure: m}).Signal(colour.Grey(.58))[0] < 0.65 {
				lo = m
			} else {
				hi = m
			}
		}
		s := View{Transform: tr, Exposure: lo}.Signal(iris)
		var got [3]int
		for i := range s {
			got[i] = int(math.Round(255 * s[i]))
		}
		t.Logf("%-9v EV %+.2f iris %v", tr, lo, got)
		if got != want[tr] {
			t.Errorf("%v: iris %v, documented %v", tr, got, want[tr])
		}
		if d := (View{Transform: tr, Exposure: lo}).Display(iris); tr == Default && (got[2] < 25 || math.Abs(d[2]/d[0]-0.3) > 0.006) {
			t.Errorf("the default view crushes a dark iris: %v", got)
		}
	}
}

func TestNames(t *testing.T) {
	for _, tr := range all {
		got, err := Parse(tr.String())
		if err != nil || got != tr {
			t.Errorf("%v: %v, %v", tr, got, err)
		}
	}
	if _, err := Parse("vivid"); err == nil || !strings.Contains(err.Error(), `"vivid"`) {
		t.Errorf("unknown name: %v", err)
	}
}

// The spread is the derivative of the signal times the error where that is small (sRGB's own derivative, 0.18: 1.055/2.4
// 0.18^(1/2.4 - 1)), and nothing in a blown highlight.
func TestSpread(t *testing.T) {
	v := View{Transform: Clip}
	want := 1.055 / 2.4 * math.Pow(0.18, 1/2.4-1) * 1e-4
	near(t, "grey", v.Spread(colour.Grey(.18), colour.Grey(1e-4)), colour.Grey(want), 1e-9)
	near(t, "blown", v.Spread(colour.Grey(50), colour.Grey(5)), colour.RGB{}, 0)
	if s := v.Spread(colour.Grey(1), colour.Grey(math.NaN())); !math.IsNaN(s[1]) {
		t.Errorf("unknown error: %v", s)
	}
}

// A backdrop shows where nothing covers it, whatever the exposure; a covered pixel is the view's own; light over
// light adds as Porter and Duff say.
func TestBackdrop(t *testing.T) {
	v := View{Exposure: 3}
	b := colour.RGB{.1, .2, .3}
	near(t, "bare", v.Backdrop(colour.RGB{}, 0, b), b, 0)
	c := colour.RGB{.5, .4, .3}
	near(t, "covered", v.Backdrop(c, 1, b), v.Display(c), 0)
	near(t, "half", v.Backdrop(c.Scale(.5), .5, b), colour.Lerp(v.Display(c), b, .5), 1e-15)
	near(t, "over", Over(c.Scale(.25), .25, b), colour.Lerp(b, c, .25), 1e-15)
	if m, k := Gradient(50, 20, 100, 40, .35), Gradient(0, 40, 100, 40, .35); m != 1 || math.Abs(k-.35) > 1e-15 {
		t.Errorf("gradient %v in the middle, %v in a corner", m, k)
	}
}

// Dithered 8-bit levels have the signal as their mean: 16 levels across the range, 200 000 pixels each. The variance of a
// triangular dither with rounding is a quarter of a step squared (Lipshitz et al. 1992: 1/12 + 1/6), so the mean
// has a standard error of 0.0011 steps; the bound is 0.005. Black and white stay exact.
func TestDitherMean(t *testing.T) {
	const n = 200000
	pix, dst := make([]colour.RGB, n), make([]byte, 3*n)
	for _, level := range []float64{0, 0.2, 0.5, 0.9, 1.3, 2.5, 3.99, 10.1, 77.77, 128.5, 200.25, 253.7, 254.4, 254.5, 254.9, 255} {
		for i := range pix {
			pix[i] = colour.Grey(colour.DecodeSRGB(level / 255))
		}
		Bytes(dst, pix, 7)
		sum, square := 0.0, 0.0
		for _, b := range dst[:n] {
			d := float64(b) - level
			sum, square = sum+d, square+d*d
		}
		if math.Abs(sum/n) > 0.005 {
			t.Errorf("level %v: mean off by %v", level, sum/n)
		}
		if level > 1 && level < 254 && math.Abs(square/n-0.25) > 0.01 {
			t.Errorf("level %v: variance %v", level, square/n)
		}
		if (level == 0 || level == 255) && square != 0 {
			t.Errorf("level %v is not exact", level)
		}
	}
}

// A gradient of one code over 256 pixels shows no edge: means of 8 columns, 4096 rows high, rise by an equal step.
// Noise is the same for the same seed, and other for another pixel, channel or seed.
func TestDitherBands(t *testing.T) {
	const w, h = 256, 1024
	pix, dst, other := make([]colour.RGB, w*h), make([]byte, 3*w*h), make([]byte, 3*w*h)
	for i := range pix {
		pix[i] = colour.Grey(colour.DecodeSRGB((3 + float64(i%w)/w) / 255))
	}
	Bytes(dst, pix, 1)
	Bytes(other, pix, 2)
	differ, channels := 0, 0
	sum := [w / 8]float64{}
	for i := range pix {
		sum[i%w/8] += float64(dst[3*i]) / (8 * h)
		if dst[3*i] != other[3*i] {
			differ++
		}
		if dst[3*i] != dst[3*i+1] {
			channels++
		}
	}
	for i := range sum {
		if want := 3 + (8*float64(i)+3.5)/w; math.Abs(sum[i]-want) > 4.5*0.5/math.Sqrt(8*h) {
			t.Errorf("columns %d to %d: %v, want %v", 8*i, 8*i+7, sum[i], want)
		}
	}
	if differ < w*h/4 || channels < w*h/4 {
		t.Errorf("only %d pixels change with the seed, %d with the channel", differ, channels)
	}
	Bytes(other, pix, 1)
	if string(dst) != string(other) {
		t.Error("the same seed gives another picture")
	}
}

// Sixteen bits: exact at the ends and at the standard's value for .18 (.461356 x 65535 = 30235).
func TestWords(t *testing.T) {
	dst := make([]uint16, 9)
	Words(dst, []colour.RGB{{0, 1, .18}, {2, -1, 0}, {}})
	if dst[0] != 0 || dst[1] != 65535 || dst[2] != 30235 || dst[3] != 65535 || dst[4] != 0 {
		t.Errorf("%v", dst)
	}
}

func BenchmarkBytes(b *testing.B) {
	pix, dst := make([]colour.RGB, 4096), make([]byte, 3*4096)
	v := View{}
	for b.Loop() {
		for i := range pix {
			pix[i] = v.Display(colour.RGB{float64(i) / 4096, .2, .1})
		}
		Bytes(dst, pix, 0)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/4096, "ns/pixel")
}

// String returns the transform's name in scene files.
func (t Transform) String() string {
	if int(t) < len(names) {
		return names[t]
	}
	return fmt.Sprintf("transform(%d)", uint8(t))
}
