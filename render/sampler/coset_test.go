package sampler

import (
	"math"
	"math/bits"
	"testing"
)

// The words of the parts by division of polynomials over the integers modulo 2, bit k the coefficient of z^k. A dimension that
// depends on n modulo powers of p sees r/(z^3+z^2+1) as the polynomial that the quotient is modulo a high power of p.
func TestCosets(t *testing.T) {
	times := func(a, b uint64) (r uint64) {
		for ; b > 0; a, b = a<<1, b>>1 {
			r ^= a * (b & 1)
		}
		return r
	}
	modulo := func(a, m uint64) uint64 {
		for bits.Len64(a) >= bits.Len64(m) {
			a ^= m << (bits.Len64(a) - bits.Len64(m))
		}
		return a
	}
	const poles = 0b1101
	for d, p := range []uint64{0b10, 0b11, 0b111, 0b1011} {
		m := uint64(1)
		for bits.Len64(times(m, p)) <= 33 {
			m = times(m, p)
		}
		// 1/poles = poles^(q-2), where q-1 is a multiple of the order of poles: (2^6-1) 2^5 holds for p of degree 1 to 3 and
		// powers up to 32 (the units modulo p^n have order (2^e-1) 2^(e(n-1)), and a unit that is 1 modulo p has an order of at most 32).
		inverse := uint64(1)
		for range 63*32 - 1 {
			inverse = modulo(times(inverse, poles), m)
		}
		if one := modulo(times(inverse, poles), m); one != 1 {
			t.Fatalf("dimension %d: the inverse times its number is %b", d, one)
		}
		for r := range cosets {
			n := modulo(times(inverse, uint64(r)), m)
			want := uint32(n)
			if d > 0 {
				v, x := directions(d-1), uint32(0)
				for k := range v {
					if n>>k&1 == 1 {
						x ^= v[k]
					}
				}
				want = bits.Reverse32(x)
			}
			if got := cosets[r][d]; got != want {
				t.Errorf("part %d, dimension %d: %#x, want %#x", r, d, got, want)
			}
		}
	}
}

// The first 2^k samples of eight replicates are one net: in dimensions 0 and 1 every elementary interval of area 2^-(k+3) holds one
// point. Eight nets of their own would leave a third of the intervals empty.
func TestReplicatesAreOneNet(t *testing.T) {
	s := New(3)
	for _, first := range []uint32{0, 16} {
		for k := range 7 {
			n := Cosets << k
			for a := 1; a <= n; a *= 2 {
				seen := map[[2]int]bool{}
				for i := range n {
					s.Start(77, first+uint32(i%Cosets), uint32(i/Cosets))
					u0, u1 := s.D2(3, BSDF, 9)
					seen[[2]int{int(u0 * float64(a)), int(u1 * float64(n/a))}] = true
				}
				if len(seen) != n {
					t.Fatalf("%d points, %d by %d: %d intervals hold a point", n, a, n/a, len(seen))
				}
			}
		}
	}
}

// Every two parts of a net stand to each other as any other two do, on the average over sets: of eight points in eight equal
// intervals the numbers of two have the correlation -(1 - 1/64)/7. The bound is 4.5 standard errors, and what a thousand
// random orders differ from all.
func TestPartsAreAlike(t *testing.T) {
	const n = 20000
	for a := range uint32(Cosets) {
		for b := range a {
			for d := range 4 {
				c := 0.0
				for i := range uint64(n) {
					c += 12 * (at(1, i, a, 0, 1, BSDF, 0)[d] - 0.5) * (at(1, i, b, 0, 1, BSDF, 0)[d] - 0.5) / n
				}
				if want := -(1 - 1.0/64) / 7; !(math.Abs(c-want) < 4.5/math.Sqrt(n)+4.5*0.5/math.Sqrt(1024)) {
					t.Errorf("parts %d and %d, dimension %d: correlation %g, want %g", a, b, d, c, want)
				}
			}
		}
	}
}
