package shading

import (
	"math"
	"sync"
)

// Bent returns how bright light from far away makes a scattering ball, as a share of what falls square on it: cos is the cosine between
// the normal and the light, d the spread's length over the ball's radius. It is the integral of max(0, cos) times the spread over
// the whole ball, by look-up; at d = 0 it is max(0, cos).
//
// Source: Penner and Borshukov, Pre-Integrated Skin Shading, GPU Pro 2, 2011. They integrate round a ring; here it is round the ball, where
// light that leaves at the chord c counts by the share of the spread within c.
func Bent(cos, d float64) float64 {
	t := bentTable()
	x := (max(-1, min(1, cos)) + 1) / 2 * (bentCosines - 1)
	y := math.Sqrt(max(0, min(1, d/bentMost))) * (bentSizes - 1)
	i, j := min(int(x), bentCosines-2), min(int(y), bentSizes-2)
	fx, fy := x-float64(i), y-float64(j)
	a, b := t[j][i]+fx*(t[j][i+1]-t[j][i]), t[j+1][i]+fx*(t[j+1][i+1]-t[j+1][i])
	return a + fy*(b-a)
}

const (
	bentCosines = 257
	bentSizes   = 24
	bentMost    = 0.25 // largest d over radius
)

var bentTable = sync.OnceValue(func() *[bentSizes][bentCosines]float64 {
	t := new([bentSizes][bentCosines]float64)
	for j := range t {
		q := float64(j) / (bentSizes - 1)
		for i := range t[j] {
			t[j][i] = bent(float64(i)/(bentCosines-1)*2-1, q*q*bentMost, 96, 64)
		}
	}
	return t
})

// bent integrates over n rings of equal share of the spread and m points round half of each.
func bent(cos, d float64, n, m int) float64 {
	if d == 0 {
		return max(0, cos)
	}
	sin := math.Sqrt(1 - cos*cos)
	all := unitWithin(2 / d) // the farthest chord is the diameter
	sum := 0.0
	for i := range n {
		c := d * unitRadius((float64(i)+0.5)/float64(n)*all)
		cg := 1 - c*c/2 // cosine of the angle that the chord spans
		sg := math.Sqrt(max(0, 1-cg*cg))
		for k := range m {
			phi := math.Pi * (float64(k) + 0.5) / float64(m)
			sum += max(0, cos*cg+sin*sg*math.Cos(phi))
		}
	}
	return sum / float64(n*m)
}
