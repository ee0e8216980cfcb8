package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// pores adds pits where lines meet: 0.05 to 0.25 mm wide, every 0.4 to 0.6 mm on the cheek and hardly any on the lids. Pits from 0.25 mm
// are called visible (Flament et al., Clin. Cosmet. Investig. Dermatol. 8 (2015), 85, from memory); the rest is common practice, no
// published source. gain multiplies their number and depth.
func (g *grain) pores(n *net, height []float32, gain float64) {
	if gain <= 0 {
		return
	}
	taken := make([]bool, len(g.p))
	for try := range len(g.p) / 12 {
		i := int(noise.Mix64(g.seed^0x706f7265^uint64(try)*0x9e3779b97f4a7c15) % uint64(len(g.p)))
		s := g.spotAt(i%g.w, i/g.w)
		k := g.vertex(i%g.w, i/g.w)
		if taken[i] || s.skin == 0 || n.near[i][2] < 0 || max(g.du[k], g.dv[k]) > 0.1 {
			continue // or texels are too coarse
		}
		want := geom.Smoothstep(5, 13, s.d) + 0.04
		if random(g.seed, i, 71) > want*min(1, gain) {
			continue
		}
		i = g.meeting(n, i)
		if taken[i] {
			continue
		}
		g.pit(taken, height, i, gain)
	}
}

// meeting returns the texel near i where three plates are most nearly as far.
func (g *grain) meeting(n *net, i int) int {
	best, least := i, float32(math.MaxFloat32)
	x, y := i%g.w, i/g.w
	for v := max(0, y-4); v <= min(g.h-1, y+4); v++ {
		for u := x - 6; u <= x+6; u++ {
			j := v*g.w + (u+g.w)%g.w
			if n.near[j][2] < 0 {
				continue
			}
			if e := n.far[j][2] - n.far[j][0]; e < least {
				best, least = j, e
			}
		}
	}
	return best
}

// pit sinks a pore about texel i and keeps others away from it.
func (g *grain) pit(taken []bool, height []float32, i int, gain float64) {
	x, y := i%g.w, i/g.w
	k := g.vertex(x, y)
	along, away := g.frame(x, y)
	r := 0.5 * (0.06 + 0.16*math.Pow(random(g.seed, i, 73), 1.6)) // half its width
	r = max(r, 1.1*float64(max(g.du[k], g.dv[k])))
	depth := 0.45 * r * (0.6 + 0.8*random(g.seed, i, 75)) * min(gain, 2)
	// Gravity and hairs draw pits out, most the wide ones.
	long := 1 + 0.6*random(g.seed, i, 77)
	sin, cos := math.Sincos(2 * math.Pi * random(g.seed, i, 79))
	axis := along.Mul(cos).Mad(sin, away)
	const apart = 0.4
	rx, ry := int(apart/float64(g.du[k]))+1, int(apart/float64(g.dv[k]))+1
	c := g.place(i)
	for v := max(0, y-ry); v <= min(g.h-1, y+ry); v++ {
		for u := x - rx; u <= x+rx; u++ {
			j := v*g.w + (u+g.w)%g.w
			d := g.place(j).Sub(c)
			l2, a := d.Len2(), d.Dot(axis)
			if l2 < apart*apart {
				taken[j] = true
			}
			if e := (l2 - a*a*(1-1/(long*long))) / (r * r); e < 1 {
				height[j] -= float32(depth * (1 - e) * (1 - e))
			}
		}
	}
}
