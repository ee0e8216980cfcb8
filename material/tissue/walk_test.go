package tissue

import (
	"math"
	"math/rand/v2"
	"sort"
)

// exit is how one walk left a half-space: after n collisions, r mean free paths from where it went in.
type exit struct {
	r float64
	n int
}

// walks lets count walks without absorption into the half-space z > 0 of isotropic scatterers, mean free path 1, at the
// origin, straight down or with cosine-distributed directions, and returns those that came out again within limit
// collisions. With the single-scattering albedo alpha an exit after n collisions weighs alpha^n, so one set of
// walks serves all albedos. This is the plain analogue method, on purpose.
func walks(rng *rand.Rand, count, limit int, normal bool) []exit {
	out := make([]exit, 0, count)
	for range count {
		mu := 1.0
		if !normal {
			mu = math.Sqrt(1 - rng.Float64())
		}
		s := math.Sqrt(1 - mu*mu)
		sp, cp := math.Sincos(2 * math.Pi * rng.Float64())
		var x, y, z float64
		dx, dy, dz := s*cp, s*sp, mu
		for n := 0; ; n++ {
			t := rng.ExpFloat64()
			if z+t*dz < 0 {
				t = -z / dz
				out = append(out, exit{math.Hypot(x+t*dx, y+t*dy), n})
				break
			}
			if n == limit {
				break
			}
			x, y, z = x+t*dx, y+t*dy, z+t*dz
			dz = 2*rng.Float64() - 1
			s := math.Sqrt(1 - dz*dz)
			sp, cp := math.Sincos(2 * math.Pi * rng.Float64())
			dx, dy = s*cp, s*sp
		}
	}
	return out
}

// reflectance returns the share of count walks that came back, for alpha, and its standard error.
func reflectance(e []exit, count int, alpha float64) (mean, se float64) {
	var sum, sum2 float64
	for _, v := range e {
		w := math.Pow(alpha, float64(v.n))
		sum += w
		sum2 += w * w
	}
	n := float64(count)
	mean = sum / n
	return mean, math.Sqrt(max(0, sum2/n-mean*mean) / n)
}

// quantile returns the exit radius below which the share q of the returning weight lies, for alpha, and its standard
// error (from the density of weight about it and the variance of the share). total is the weight of all that
// returns, and counts what the limit on collisions cut off as farther out; 0 takes the sum. e must be sorted by r.
func quantile(e []exit, alpha, q, total float64) (r, se float64) {
	w := make([]float64, len(e))
	sum := 0.0
	for i, v := range e {
		w[i] = math.Pow(alpha, float64(v.n))
		sum += w[i]
	}
	if total == 0 {
		total = sum
	}
	at := func(q float64) float64 {
		acc := 0.0
		for i := range e {
			acc += w[i]
			if acc >= q*total {
				return e[i].r
			}
		}
		return math.Inf(1)
	}
	r = at(q)
	// Variance of the weighted share below r.
	v := 0.0
	for i := range e {
		d := -q
		if e[i].r <= r {
			d = 1 - q
		}
		v += w[i] * w[i] * d * d
	}
	const dq = 0.02
	slope := (at(q+dq) - at(q-dq)) / (2 * dq)
	return r, math.Sqrt(v) / total * slope
}

func sortByRadius(e []exit) { sort.Slice(e, func(i, j int) bool { return e[i].r < e[j].r }) }
