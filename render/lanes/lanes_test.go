package lanes

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// The exponentials have the bits of math.Exp: for numbers of all sizes, at both ends, and where the twin takes over.
func TestExpHasTheBitsOfMath(t *testing.T) {
	n := 100_000
	if os.Getenv("CATCHLIGHT_LONG") != "" {
		n = 10_000_000
	}
	r := rand.New(rand.NewPCG(1, 2))
	special := []float64{0, math.Copysign(0, -1), -700, 700, -700.1, 700.1, -745, -746, 710, math.Inf(1), math.Inf(-1), math.NaN(),
		5e-324, -5e-324, math.Ln2, -math.Ln2, math.Ln2 / 2, -math.Ln2 / 2, math.MaxFloat64}
	draw := func(i int) float64 {
		switch k := r.IntN(64); {
		case i < 100 || k == 0:
			return special[r.IntN(len(special))]
		case k < 32:
			return -math.Exp(r.Float64()*46 - 40)
		}
		return r.Float64()*1400 - 700
	}
	same := func(x, got float64) {
		if want := math.Exp(x); math.Float64bits(got) != math.Float64bits(want) && !(got != got && want != want) {
			t.Fatalf("exp(%g) is %g (%x), math.Exp %g (%x)", x, got, math.Float64bits(got), want, math.Float64bits(want))
		}
	}
	for i := 0; i < n; i += 15 {
		var a, x [12]float64
		var b, y [3]float64
		for k := range a {
			a[k] = draw(i)
			if i%2 == 0 && k > 0 { // one alone is out of reach
				a[k] = -r.Float64()
			}
		}
		for k := range b {
			b[k] = draw(i)
		}
		x, y = a, b
		z := [8]float64(a[:8])
		Exp8(&z)
		for k := range z {
			same(a[k], z[k])
		}
		Exp12(&x)
		Exp3(&y)
		for k := range a {
			same(a[k], x[k])
		}
		for k := range b {
			same(b[k], y[k])
		}
	}
}

func BenchmarkExp(b *testing.B) {
	var x [12]float64
	b.Run("lanes", func(b *testing.B) {
		for i := range b.N {
			for k := range x {
				x[k] = -float64(i&7) * 0.1 * float64(k)
			}
			Exp12(&x)
		}
	})
	b.Run("math", func(b *testing.B) {
		for i := range b.N {
			for k := range x {
				x[k] = math.Exp(-float64(i&7) * 0.1 * float64(k))
			}
		}
	})
	b.Run("three", func(b *testing.B) {
		for i := range b.N {
			y := [3]float64{-float64(i&7) * 0.1, -float64(i&3) * 0.2, -0.4}
			Exp3(&y)
			x[0] += y[0]
		}
	})
}
