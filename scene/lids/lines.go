package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// Skin is a net of fine lines with small plates between them. The net is the Voronoi diagram of places that lie at least a radius
// apart, in a measure stretched along the flow of the skin; lines aslant to the flow, which cross each other, are the deep ones.
//
// Sizes: spacing 0.3 to 0.6 mm on the cheek and 0.2 to 0.4 on the lid, common practice, no published source; depth 20 to 200 um over
// all (lines of the forearm by age: J. Soc. Cosmet. Chem. 34, from memory), here what keeps the slope below that of the shine: 10 to
// 18 um on the lid and 20 to 35 on the cheek.

// plate is one place of the net.
type plate struct {
	p, dir [3]float32 // the flow's direction, unit
	lean   [3]float32 // slope of the plate
	shrink float32    // of lengths along the flow: 1 over the square of the stretch
	r      float32    // least distance to the next, mm
	deep   float32    // multiplies the depth of its lines
}

// square returns the square of the net's distance from the plate to a point.
func (q *plate) square(p *[3]float32) float32 {
	x, y, z := p[0]-q.p[0], p[1]-q.p[1], p[2]-q.p[2]
	a := x*q.dir[0] + y*q.dir[1] + z*q.dir[2]
	return x*x + y*y + z*z - (1-q.shrink)*a*a
}

// raised returns how high a point lies above the plate's middle as it leans, mm.
func (q *plate) raised(p *[3]float32) float64 {
	return float64((p[0]-q.p[0])*q.lean[0] + (p[1]-q.p[1])*q.lean[1] + (p[2]-q.p[2])*q.lean[2])
}

// net is the plates of a grain, and by texel the three nearest of them.
type net struct {
	plates []plate
	near   [][3]int32
	far    [][3]float32 // squares of their distances
}

// spacing returns the least distance of plates at a spot.
func spacing(q *spot) float64 {
	return 0.2 + 0.12*geom.Smoothstep(4, 14, q.d) + 0.1*geom.Smoothstep(11, 18, q.d)
}

// newNet lays the plates: places are tried in a random order and taken where no plate is near.
func (g *grain) newNet() *net {
	n := &net{near: make([][3]int32, len(g.p)), far: make([][3]float32, len(g.p))}
	taken := make([]bool, len(g.p))
	for i := range n.far {
		n.near[i] = [3]int32{-1, -1, -1}
		n.far[i] = [3]float32{math.MaxFloat32, math.MaxFloat32, math.MaxFloat32}
	}
	for try := range len(g.p) / 5 {
		i := int(noise.Mix64(g.seed^uint64(try)*0x9e3779b97f4a7c15) % uint64(len(g.p)))
		if taken[i] {
			continue
		}
		x, y := i%g.w, i/g.w
		q := g.spotAt(x, y)
		if k := g.vertex(x, y); q.skin == 0 || max(g.du[k], g.dv[k]) > 0.13 {
			continue // or texels are too coarse
		}
		g.lay(n, taken, x, y, q)
	}
	return n
}

// lay puts a plate on a texel: others keep away from it, and those about it learn how near it is.
func (g *grain) lay(n *net, taken []bool, x, y int, s *spot) {
	i := y*g.w + x
	along, away := g.frame(x, y)
	a := flow(s, g.place(i), g.seed)
	sin, cos := math.Sincos(a)
	d := along.Mul(cos).Mad(sin, away)
	stretch := 1.9 - 0.5*geom.Smoothstep(4, 12, s.d)
	q := plate{p: g.p[i], dir: [3]float32{float32(d.X), float32(d.Y), float32(d.Z)}, shrink: float32(1 / (stretch * stretch))}
	c := g.place(i)
	q.deep = float32(1 + 0.5*noise.Space(g.seed+65, 0.2*c.X, 0.2*c.Y, 0.2*c.Z) + 0.25*noise.Space(g.seed+66, 0.7*c.X, 0.7*c.Y, 0.7*c.Z))
	for k := range q.lean {
		q.lean[k] = float32(0.09 * normalOf(g.seed, i, uint64(131+2*k)))
	}
	q.r = float32(spacing(s) * (0.8 + 0.4*random(g.seed, i, 61)))
	id := int32(len(n.plates))
	n.plates = append(n.plates, q)
	const reach = 1.9
	k := g.vertex(x, y)
	wide := reach * float64(q.r)
	rx := int(min(wide*(1+(stretch-1)*math.Abs(cos))/float64(g.du[k])+1, 60))
	ry := int(min(wide*(1+(stretch-1)*math.Abs(sin))/float64(g.dv[k])+1, 60))
	r2 := q.r * q.r
	for v := max(0, y-ry); v <= min(g.h-1, y+ry); v++ {
		for u := x - rx; u <= x+rx; u++ {
			j := v*g.w + (u+g.w)%g.w
			e := q.square(&g.p[j])
			if e < r2 {
				taken[j] = true
			}
			f, b := &n.far[j], &n.near[j]
			if e >= f[2] || e > reach*reach*r2 {
				continue
			}
			switch {
			case e < f[0]:
				*f, *b = [3]float32{e, f[0], f[1]}, [3]int32{id, b[0], b[1]}
			case e < f[1]:
				*f, *b = [3]float32{f[0], e, f[1]}, [3]int32{b[0], id, b[1]}
			default:
				f[2], b[2] = e, id
			}
		}
	}
}

// line returns how far a texel lies from the line between its nearest plate and its k-th one, in mm, and how much that line runs aslant
// to the flow, 0 to 1.
func (n *net) line(i, k int) (e, slant float64) {
	a, b := &n.plates[n.near[i][0]], &n.plates[n.near[i][k]]
	x, y, z := b.p[0]-a.p[0], b.p[1]-a.p[1], b.p[2]-a.p[2]
	c := (x*a.dir[0] + y*a.dir[1] + z*a.dir[2]) * (1 - a.shrink)
	// The gradient of the difference of the squares.
	x, y, z = x-c*a.dir[0], y-c*a.dir[1], z-c*a.dir[2]
	l := math.Sqrt(float64(x*x + y*y + z*z))
	if l == 0 {
		return math.Inf(1), 0
	}
	cos := float64(x*a.dir[0]+y*a.dir[1]+z*a.dir[2]) / l
	return float64(n.far[i][k]-n.far[i][0]) / (2 * l), 2 * math.Abs(cos) * math.Sqrt(max(0, 1-cos*cos))
}

// lines adds the net's lines to a height in mm.
func (g *grain) lines(n *net, height []float32, gain float64) {
	for y := range g.h {
		for x := range g.w {
			i := y*g.w + x
			if n.near[i][1] < 0 {
				continue
			}
			s := g.spotAt(x, y)
			if s.skin == 0 {
				continue
			}
			k := g.vertex(x, y)
			a := n.near[i][0]
			r := float64(n.plates[a].r)
			cheek := geom.Smoothstep(4, 14, s.d)
			depth := (0.02 + 0.013*cheek) * gain * float64(n.plates[a].deep)
			wide := 0.055 + 0.03*cheek + 0.035*geom.Smoothstep(11, 18, s.d) // half of a line's
			// Lines finer than the texels would be steps.
			depth *= geom.Smoothstep(1.1, 0.6, float64(max(g.du[k], g.dv[k]))/wide)
			deepest, nearest := 0.0, math.Inf(1)
			for q := 1; q < 3 && n.near[i][q] >= 0; q++ {
				e, slant := n.line(i, q)
				nearest = min(nearest, e)
				if e >= wide {
					continue
				}
				b := n.near[i][q]
				pair := int(min(a, b))<<24 ^ int(max(a, b))
				v := math.Exp(1.4*(random(g.seed, pair, 63)-0.5)) * (0.25 + 0.75*geom.Smoothstep(0.2, 0.75, slant))
				c := math.Cos(math.Pi / 2 * e / wide)
				deepest = max(deepest, v*c*c)
			}
			// A plate is a low pillow, and leans a little.
			round := max(0, 1-nearest/(0.75*r))
			round *= round
			height[i] += float32(gain*(1-round)*n.plates[a].raised(&g.p[i]) - depth*(0.5*deepest+round))
		}
	}
}

// creases adds the finest lines, 0.1 to 0.2 mm apart and a third as deep as the others.
func (g *grain) creases(height []float32, gain float64) {
	const size = 0.16
	for y := range g.h {
		for x := range g.w {
			i := y*g.w + x
			s := g.spotAt(x, y)
			k := g.vertex(x, y)
			t := float64(max(g.du[k], g.dv[k])) / size
			if s.skin == 0 || t > 0.36 {
				continue
			}
			p := &g.p[i]
			v := math.Abs(noise.Space(g.seed+67, float64(p[0])/size, float64(p[1])/size, float64(p[2])/size))
			if v < 0.3 {
				v = 1 - v/0.3
				height[i] -= float32(0.009 * gain * v * v * geom.Smoothstep(0.36, 0.24, t))
			}
		}
	}
}
