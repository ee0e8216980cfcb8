package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// Wrinkles are grooves along the flow of the skin, each with two ends of its own: none closes a ring about the opening. Lengths 2 to 8
// mm (log-normal), widths 0.1 to 0.4 mm, depths to 0.25 mm in the old; at the outer corner a fan of five to nine, to 20 mm long.
// Common practice, no published source.

// wrinkles adds them to a height in mm; age is 0 to 1. It returns which wrinkle each texel lies in or beside, from 1; 0 is none.
func (g *grain) wrinkles(height []float32, age float64) (owner []int32) {
	owner = make([]int32, len(g.p))
	fan := 5 + int(4*age*random(g.seed, 0, 81)+0.5)
	for k := range fan {
		t := (float64(k) + 0.2 + 0.6*random(g.seed, k, 83)) / float64(fan)
		if i := g.find(func(s *spot) float64 {
			// The fan leaves the corner between the brow's end and the cheek.
			return math.Abs(s.d-3-2*random(g.seed, k, 85)) + 60*math.Abs(s.t-0.005-0.05*math.Abs(2*t-1)) + 4*math.Abs(s.upper-t)
		}); i >= 0 {
			g.groove(height, owner, i, k+1, (8+14*random(g.seed, k, 87))*(0.4+0.6*age), 0.15+0.15*random(g.seed, k, 89), age*(0.04+0.06*random(g.seed, k, 91)))
		}
	}
	for k, made := fan, 0; k < 4000 && made < 40+int(80*age); k++ {
		i := int(noise.Mix64(g.seed^0x77726e6b^uint64(k)*0x9e3779b97f4a7c15) % uint64(len(g.p)))
		s := g.spotAt(i%g.w, i/g.w)
		// Most lie on the lids and below the lower one.
		want := geom.Smoothstep(0.8, 2, s.d) * (1 - 0.75*geom.Smoothstep(6, 14, s.d)) * (1 - geom.Smoothstep(18, 30, s.d)) * s.skin
		// Texels lie closer where the sheet is finer; count by area.
		v := g.vertex(i%g.w, i/g.w)
		want *= min(1, float64(g.du[v]*g.dv[v])/0.0015)
		if random(g.seed, k, 93) > want || owner[i] != 0 {
			continue
		}
		made++
		l := max(1.5, min(11, 4*math.Exp(0.5*normalOf(g.seed, k, 95))))
		w := 0.06 + 0.14*math.Pow(random(g.seed, k, 97), 1.5)
		deep := (0.025 + 0.1*math.Pow(random(g.seed, k, 99), 2)) * (0.25 + 1.4*age) * min(1, w/0.09)
		g.groove(height, owner, i, k+1, l, w, deep)
	}
	return owner
}

// find returns the texel in the middle of the vertex whose spot costs least.
func (g *grain) find(cost func(*spot) float64) int {
	best, least := -1, math.Inf(1)
	for j := 0; j < g.vh; j += 2 {
		for i := 0; i < g.vw; i += 2 {
			_, s := g.at(i, j)
			if s.skin < 0.5 {
				continue
			}
			if c := cost(s); c < least {
				best, least = (j*downTexels+downTexels/2)*g.w+i*acrossTexels+acrossTexels/2, c
			}
		}
	}
	return best
}

// groove follows the flow from texel i both ways and sinks a groove of the given length, half width and depth, that ends where it comes
// near another.
func (g *grain) groove(height []float32, owner []int32, i, id int, long, wide, deep float64) {
	off := 0.25 * normalOf(g.seed, id, 101) // it keeps aslant to the flow
	var line [2][][2]float64
	for side := range line {
		x, y := float64(i%g.w)+0.5, float64(i/g.w)+0.5
		last := geom.Vec{}
		for step := 0; float64(step)*0.08 < long/2; step++ {
			u, v := (int(x)+g.w)%g.w, int(y)
			if v < 1 || v >= g.h-1 {
				break
			}
			s := g.spotAt(u, v)
			at := v*g.w + u
			if o := owner[at]; s.skin < 0.5 || s.d < 0.9 || o != 0 && o != int32(id) {
				break
			}
			line[side] = append(line[side], [2]float64{x, y})
			along, away := g.frame(u, v)
			p := g.place(at)
			a := flow(s, p, g.seed) + off + 0.35*noise.Space(g.seed+53, p.X*0.7, p.Y*0.7, p.Z*0.7)
			sin, cos := math.Sincos(a)
			d := along.Mul(cos).Mad(sin, away)
			if step == 0 && side == 1 || step > 0 && d.Dot(last) < 0 {
				d, sin, cos = d.Neg(), -sin, -cos
			}
			last = d
			k := g.vertex(u, v)
			x, y = x+0.08*cos/float64(g.du[k]), y+0.08*sin/float64(g.dv[k])
		}
	}
	// One line from end to end.
	var all [][2]float64
	for k := len(line[1]) - 1; k > 0; k-- {
		all = append(all, line[1][k])
	}
	all = append(all, line[0]...)
	for k, q := range all {
		f := (float64(k) + 0.5) / float64(len(all))
		taper := math.Sin(math.Pi*f) * (0.75 + 0.25*noise.Line(g.seed+uint64(id), f*long))
		g.sink(height, owner, q, id, wide*(0.6+0.4*math.Sqrt(math.Sin(math.Pi*f))), deep*taper)
	}
}

// sink lowers what lies within the half width wide of a place in texels to a round bottom of that depth, and marks the place as taken.
func (g *grain) sink(height []float32, owner []int32, q [2]float64, id int, wide, deep float64) {
	x, y := int(math.Floor(q[0])), int(q[1])
	k := g.vertex((x+g.w)%g.w, y)
	du, dv := float64(g.du[k]), float64(g.dv[k])
	mark := max(wide, 0.3)
	rx, ry := int(mark/du)+1, int(mark/dv)+1
	for v := max(0, y-ry); v <= min(g.h-1, y+ry); v++ {
		for u := x - rx; u <= x+rx; u++ {
			j := v*g.w + (u+g.w)%g.w
			a, b := (float64(u)+0.5-q[0])*du, (float64(v)+0.5-q[1])*dv
			r := math.Sqrt(a*a + b*b)
			if r < mark && owner[j] == 0 {
				owner[j] = int32(id)
			}
			if r < wide {
				c := math.Cos(math.Pi / 2 * r / wide)
				height[j] = min(height[j], float32(-deep*c*c))
			}
		}
	}
}
