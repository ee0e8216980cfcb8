package imgcmp

import (
	"math"
	"math/rand/v2"
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

// The mean over noise of known size is near the truth, and its error is the closed form sigma/sqrt(n).
func TestMeanOfNoise(t *testing.T) {
	const n, sigma = 20000, 0.5
	g := rand.New(rand.NewPCG(1, 2))
	a := Image{Width: n / 100, Height: 100, Pix: make([]colour.RGB, n), Error: make([]colour.RGB, n)}
	for i := range a.Pix {
		for c := range a.Pix[i] {
			a.Pix[i][c], a.Error[i][c] = 3+sigma*g.NormFloat64(), sigma
		}
	}
	mean, err, k := Mean(a, nil)
	if k != n || math.Abs(mean[1]-3) > 4.5*err[1] || math.Abs(err[1]-sigma/math.Sqrt(n)) > 1e-12 {
		t.Errorf("mean %v, error %v, %d pixels", mean, err, k)
	}
	a.Grain = 4 // pixels go together in fours
	if _, e, _ := Mean(a, nil); math.Abs(e[1]-2*err[1]) > 1e-12 {
		t.Errorf("error %v with a grain of 4 pixels, %v without", e, err)
	}
}

// A mean is over the mask's finite pixels alone.
func TestMeanOfMask(t *testing.T) {
	a := image(4, 1, 2, 3, math.NaN(), 5, 6, 7, 8)
	if mean, _, n := Mean(a, Mask{false, false, false, true, false, true, true, false}); n != 2 || mean[0] != 6.5 {
		t.Errorf("%v of %d", mean, n)
	}
	if _, _, n := Mean(a, Mask{false, false, false, true, false, false, false, false}); n != 0 {
		t.Error("a mean over a pixel that is not finite")
	}
}
