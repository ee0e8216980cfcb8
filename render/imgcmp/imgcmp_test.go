package imgcmp

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"catchlight/scene/colour"
)

func image(width int, values ...float64) Image {
	m := Image{Width: width, Height: len(values) / width}
	for _, v := range values {
		m.Pix = append(m.Pix, colour.Grey(v))
	}
	return m
}

func compare(t *testing.T, a, b Image, mask Mask, threshold float64) Report {
	t.Helper()
	r, err := Compare(a, b, mask, threshold)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Two pixels against 1 and 3 that are off by .3 and -.4, by hand: RMSE sqrt((.09 + .16)/2), relative
// (.09/1.01 + .16/9.01)/2, bias -.05.
func TestNumbers(t *testing.T) {
	a, b := image(2, 1.3, 2.6), image(2, 1, 3)
	r := compare(t, a, b, nil, 3)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"RMSE", r.RMSE, math.Sqrt(0.125)},
		{"RelMSE", r.RelMSE, (0.09/1.01 + 0.16/9.01) / 2},
		{"bias", r.Bias[2], -0.05},
		{"worst", r.Worst, 0.4},
		{"outliers", r.Outliers, 1},
	} {
		if math.Abs(c.got-c.want) > 1e-14 {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
	if !math.IsInf(r.Sigmas, 1) || r.AtX != 1 || r.AtY != 0 || r.Pixels != 2 || r.Judged != 6 {
		t.Errorf("%+v", r)
	}
	same := compare(t, b, b, nil, 3)
	if same != (Report{Pixels: 2, Judged: 6}) {
		t.Errorf("a picture against itself: %+v", same)
	}
	if err := same.Check(Limits{1e-9, 1e-9, 1e-9, 1e-9}); err != nil {
		t.Error(err)
	}
}

// Noise of known size in both pictures: a bias that is not there stays within 4 errors, its error is the closed form
// sigma sqrt(2/n), outliers are the normal share (erfc(2/sqrt 2) = .0455); a bias of .04 is found.
func TestBiasAgainstNoise(t *testing.T) {
	const n, sigma = 20000, 0.5
	g := rand.New(rand.NewPCG(1, 2))
	noisy := func(offset float64) Image {
		m := Image{Width: n / 100, Height: 100, Pix: make([]colour.RGB, n), Error: make([]colour.RGB, n)}
		for i := range m.Pix {
			for c := range m.Pix[i] {
				m.Pix[i][c], m.Error[i][c] = 3+offset+sigma*g.NormFloat64(), sigma
			}
		}
		return m
	}
	a, b, off := noisy(0), noisy(0), noisy(0.04)
	r := compare(t, a, b, nil, 2)
	if want := sigma * math.Sqrt(2.0/n); math.Abs(r.BiasError[0]-want) > 1e-12 || r.Sigmas > 4 {
		t.Errorf("bias %v, error %v, want %v", r.Bias, r.BiasError, want)
	}
	want := math.Erfc(2 / math.Sqrt2)
	if math.Abs(r.Outliers-want) > 4.5*math.Sqrt(want/(3*n)) {
		t.Errorf("outliers %v, want %v", r.Outliers, want)
	}
	if err := r.Check(Limits{Sigmas: 4}); err != nil {
		t.Error(err)
	}
	if r = compare(t, off, b, nil, 2); r.Sigmas < 5 || r.Check(Limits{Sigmas: 4}) == nil {
		t.Errorf("a bias of .04 reads as %v standard errors", r.Sigmas)
	}
	mean, err, k := Mean(a, nil)
	if k != n || math.Abs(mean[1]-3) > 4.5*err[1] || math.Abs(err[1]-sigma/math.Sqrt(n)) > 1e-12 {
		t.Errorf("mean %v, error %v, %d pixels", mean, err, k)
	}
}

// Student's t with 7 degrees beyond 2.365: 5 % (Abramowitz and Stegun, table 26.10).
func TestExpected(t *testing.T) {
	if got := Expected(2.365, 7); math.Abs(got-0.05) > 5e-5 {
		t.Error(got)
	}
}

// Pixels that are not finite, and errors that are unknown, are counted and fail nothing silently.
func TestNotFinite(t *testing.T) {
	a, b := image(3, 1, math.NaN(), 2), image(3, 1, 1, math.Inf(1))
	a.Error = []colour.RGB{colour.Grey(math.NaN()), {}, {}}
	r := compare(t, a, b, nil, 3)
	if r.Pixels != 1 || r.NonFinite != 2 || r.Judged != 0 || r.RMSE != 0 {
		t.Errorf("%+v", r)
	}
	if err := r.Check(Limits{}); err == nil || !strings.Contains(err.Error(), "2 pixels are not finite") {
		t.Error(err)
	}
	if _, err := Compare(a, b, Mask{false, true, false}, 3); err == nil || !strings.Contains(err.Error(), "no pixel") {
		t.Error(err)
	}
	if err := (Report{RMSE: math.NaN()}).Check(Limits{RMSE: 1}); err == nil {
		t.Error("NaN passed a limit")
	}
	if _, _, n := Mean(a, Mask{false, true, false}); n != 0 {
		t.Error("a mean over a pixel that is not finite")
	}
}

func TestMasks(t *testing.T) {
	a, b := image(4, 1, 2, 3, 4, 5, 6, 7, 8), image(4, 1, 2, 3, 4, 5, 6, 7, 9)
	if r := compare(t, a, b, Rectangle(4, 2, 0, 0, 3, 9), 3); r.Pixels != 6 || r.RMSE != 0 {
		t.Errorf("%+v", r)
	}
	if mean, _, n := Mean(a, Rectangle(4, 2, 1, 1, 3, 2)); n != 2 || mean[0] != 6.5 {
		t.Errorf("%v of %d", mean, n)
	}
	// The area of a ring is pi (r1^2 - r0^2), to the discretisation of its two rims.
	n := 0
	for _, in := range Ring(200, 150, 90.3, 70.7, 20, 50) {
		if in {
			n++
		}
	}
	if want := math.Pi * (2500 - 400); math.Abs(float64(n)-want) > 30 {
		t.Errorf("%d pixels in a ring of %v", n, want)
	}
}

func TestChange(t *testing.T) {
	a, b := image(4, 1, 2, 3, 1), image(4, 1, 1, 1, 1)
	a.Error = []colour.RGB{{}, colour.Grey(3), {}, colour.Grey(math.NaN())}
	b.Error = []colour.RGB{{}, colour.Grey(4), {}, {}}
	d, err := Change(a, b)
	if err != nil || d[0][0] != 0 || math.Abs(d[1][0]-0.2) > 1e-15 || !math.IsInf(d[2][0], 1) || !math.IsNaN(d[3][0]) {
		t.Errorf("%v %v", d, err)
	}
}

func TestShapes(t *testing.T) {
	a := image(2, 1, 2)
	for _, c := range []struct {
		b    Image
		mask Mask
		want string
	}{
		{image(1, 1, 2), nil, "2 x 1 pixels against 1 x 2"},
		{Image{Width: 2, Height: 1}, nil, "0 values for 2 x 1"},
		{Image{Width: 2, Height: 1, Pix: a.Pix, Error: a.Pix[:1]}, nil, "1 errors for 2"},
		{a, Mask{true}, "a mask of 1 for 2"},
	} {
		if _, err := Compare(a, c.b, c.mask, 3); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}
