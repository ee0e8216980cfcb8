package imgcmp

import (
	"math"
	"testing"

	"catchlight/scene/colour"
)

func grey(n int, at func(i int) float64) []colour.RGB {
	out := make([]colour.RGB, n)
	for i := range out {
		out[i] = colour.Grey(colour.DecodeSRGB(at(i)))
	}
	return out
}

// Closed forms of Wang et al. 2004, equations 6 to 13, on signals: two even greys leave the luminance part (2xy + C1)/(x^2 +
// y^2 + C1); a picture against itself is 1; a stripe pattern against its own negative about the mean has the structure -1, so
// all is (C2 - 2v)/(C2 + 2v) with the window's variance v.
func TestSSIMForms(t *testing.T) {
	at := func(a, b []colour.RGB) float64 {
		t.Helper()
		m, err := SSIM(a, b, 15)
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsNaN(m[0]) || !math.IsNaN(m[4*15+7]) || math.IsNaN(m[5*15+5]) {
			t.Error("only windows that fit count")
		}
		return m[7*15+7]
	}
	x, y := grey(225, func(int) float64 { return 0.3 }), grey(225, func(int) float64 { return 0.5 })
	near(t, "two greys", at(x, y), (2*0.15+1e-4)/(0.09+0.25+1e-4), 1e-9)
	near(t, "itself", at(y, y), 1, 1e-12)
	stripe := func(s float64) []colour.RGB {
		return grey(225, func(i int) float64 { return 0.5 + s*0.2*float64(2*(i%15%2)-1) })
	}
	// Weights of the odd columns less those of the even ones, over all.
	odd, all := 0.0, 0.0
	for i := -5; i <= 5; i++ {
		g := math.Exp(-float64(i*i) / 4.5)
		all += g
		odd += g * float64(1-2*(i&1))
	}
	d := 0.2 * odd / all
	v := 0.04 - d*d
	near(t, "negative", at(stripe(1), stripe(-1)), (2*(0.25-d*d)+1e-4)/(2*(0.25+d*d)+1e-4)*(9e-4-2*v)/(9e-4+2*v), 1e-9)
}

// The pictures of TestFLIPNumbers with scikit-image 0.19.3 (structural_similarity, gaussian_weights, sigma 1.5, population
// covariance).
func TestSSIMNumbers(t *testing.T) {
	a, b := marsh(28, 22)
	m, err := SSIM(decode(a), decode(b), 28)
	if err != nil {
		t.Fatal(err)
	}
	mean, _, _, n := Pool(m, nil)
	if n != 18*12 {
		t.Errorf("%d windows fit", n)
	}
	near(t, "mean", mean, 0.5963590, 1e-6)
	near(t, "middle", m[11*28+14], 0.5261999, 1e-6)
	near(t, "another", m[8*28+6], 0.3212167, 1e-6)
	near(t, "first", m[5*28+5], 0.7379690, 1e-6)
}

func TestPool(t *testing.T) {
	v := []float64{5, math.NaN(), 1, 2, 9}
	mean, median, high, n := Pool(v, Mask{true, true, true, true, false})
	if mean != 8.0/3 || median != 2 || high != 5 || n != 3 {
		t.Error(mean, median, high, n)
	}
	if mean, _, _, n := Pool(v, make(Mask, 5)); !math.IsNaN(mean) || n != 0 {
		t.Error("the mean of nothing", mean, n)
	}
	if v[0] != 5 {
		t.Error("the map was sorted")
	}
}

// Light half as strong, with errors of a tenth and a twentieth: the ratio is 0.5, its error the root of the sum of the
// squared shares, over one pixel.
func TestRatio(t *testing.T) {
	a := Image{1, 1, []colour.RGB{{1, 1, 1}}, []colour.RGB{{0.1, 0.1, 0.1}}, 0}
	b := Image{1, 1, []colour.RGB{{2, 2, 2}}, []colour.RGB{{0.1, 0.1, 0.1}}, 0}
	c, l, e := Ratio(a, b, nil)
	near(t, "red", c[0], 0.5, 0)
	near(t, "luminance", l, 0.5, 1e-15)
	near(t, "error", e, 0.5*math.Hypot(0.1, 0.05), 1e-15)
	if _, l, _ := Ratio(a, Image{1, 1, make([]colour.RGB, 1), nil, 0}, nil); !math.IsNaN(l) {
		t.Error("light over none", l)
	}
}

// Colours of a chart's patches differ by what the table of their L*a*b* says, and lightness is L*.
func TestColours(t *testing.T) {
	a := []colour.RGB{colour.Grey(1), colour.Grey(0.18)}
	b := []colour.RGB{colour.Grey(1), colour.Grey(0)}
	d, l := Colours(a, b), Lightness(a, b)
	near(t, "white", d[0], 0, 1e-9)
	near(t, "L* of 18 %", l[1], 116*math.Cbrt(0.18)-16, 1e-6) // CIE 15
	if d[1] < 30 {
		t.Error("grey and black", d[1])
	}
}
