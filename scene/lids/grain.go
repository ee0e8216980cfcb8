package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// spot is a vertex of the sheet of skin as its relief and its colour see it. Lengths are in mm.
type spot struct {
	t     float64 // 0 at the outer corner, 1 at the inner one
	upper float64 // 1 above, 0 below, smooth about the corners
	d     float64 // way from the opening over the skin
	skin  float64 // 1 on skin, 0 on the rim, beneath the lid and on the far edge
}

// spot returns what relief and colour need of a place.
func (v *place) spot() spot {
	q := spot{t: v.t, upper: v.upper, d: max(0, v.e)}
	if v.part == skin || v.part == outland {
		q.skin = geom.Smoothstep(0.1, 1.2, q.d) * v.land
	}
	return q
}

// grain is a grid of texels over the sheet of skin, finer than its vertices: acrossTexels to each step along the rim and downTexels to each
// step away from it. Columns close upon themselves. A texel's place is that of the flat quad between vertices that it lies in.
type grain struct {
	w, h   int          // texels
	vw, vh int          // vertices, each column once
	p      [][3]float32 // of texels
	at     func(i, j int) (geom.Vec, *spot)
	du, dv []float32 // size of a texel at each vertex, along the rim and away from it
	seed   uint64
}

// Texels to a vertex, along the rim and away from it: rows of vertices lie farther apart on the cheek.
const acrossTexels, downTexels = 4, 4

// newGrain lays the texels over a sheet of vw by vh vertices.
func newGrain(vw, vh int, seed uint64, at func(i, j int) (geom.Vec, *spot)) *grain {
	g := &grain{w: vw * acrossTexels, h: vh * downTexels, vw: vw, vh: vh, at: at, seed: seed}
	g.p = make([][3]float32, g.w*g.h)
	row := make([]geom.Vec, vw)
	for y := range g.h {
		j, f := g.down(y)
		for i := range row {
			a, _ := at(i, j)
			b, _ := at(i, j+1)
			row[i] = geom.Lerp(a, b, f)
		}
		for x := range g.w {
			i, k, e := g.across(x)
			q := geom.Lerp(row[i], row[k], e)
			g.p[y*g.w+x] = [3]float32{float32(q.X), float32(q.Y), float32(q.Z)}
		}
	}
	g.du, g.dv = make([]float32, vw*vh), make([]float32, vw*vh)
	for j := range vh {
		for i := range vw {
			a, _ := at(i, j)
			b, _ := at((i+1)%vw, j)
			c, _ := at(i, min(j+1, vh-1))
			e, _ := at(i, max(j-1, 0))
			g.du[j*vw+i] = float32(max(b.Sub(a).Len(), 1e-4) / acrossTexels)
			g.dv[j*vw+i] = float32(max(c.Sub(e).Len()/2, 1e-4) / downTexels)
		}
	}
	return g
}

// down returns the row of vertices before texel row y and how far beyond it that lies, in [0, 1].
func (g *grain) down(y int) (j int, f float64) {
	v := max(0, min((float64(y)+0.5)/downTexels-0.5, float64(g.vh-1)))
	j = min(int(v), g.vh-2)
	return j, v - float64(j)
}

// across returns the columns of vertices about texel column x.
func (g *grain) across(x int) (i, k int, f float64) {
	u := (float64(x)+0.5)/acrossTexels - 0.5
	n := math.Floor(u)
	i = (int(n) + g.vw) % g.vw
	return i, (i + 1) % g.vw, u - n
}

// vertex returns the index of the vertex nearest to a texel.
func (g *grain) vertex(x, y int) int { return y/downTexels*g.vw + x/acrossTexels }

// spotAt returns the spot of the vertex nearest to a texel.
func (g *grain) spotAt(x, y int) *spot {
	_, q := g.at(x/acrossTexels, y/downTexels)
	return q
}

// place returns a texel's place.
func (g *grain) place(i int) geom.Vec {
	q := &g.p[i]
	return geom.Vec{X: float64(q[0]), Y: float64(q[1]), Z: float64(q[2])}
}

// frame returns unit vectors along the rim and away from it at a texel, square to each other.
func (g *grain) frame(x, y int) (along, away geom.Vec) {
	l, r := (x+g.w-1)%g.w, (x+1)%g.w
	a, b := max(y-1, 0), min(y+1, g.h-1)
	along = g.place(y*g.w + r).Sub(g.place(y*g.w + l))
	away = g.place(b*g.w + x).Sub(g.place(a*g.w + x))
	if along.Len2() < 1e-12 || away.Len2() < 1e-12 {
		return geom.Vec{X: 1}, geom.Vec{Y: 1}
	}
	along = along.Unit()
	away = away.Mad(-away.Dot(along), along)
	if away.Len2() < 1e-12 {
		return along, geom.Vec{Z: 1}
	}
	return along, away.Unit()
}

// flow returns the angle from the rim's direction toward the way away from it in which lines of skin run: along the rim near it, a fan
// at the outer corner, and any way far off.
func flow(q *spot, p geom.Vec, seed uint64) float64 {
	wild := 1.6 * noise.Space(seed+51, p.X*0.11, p.Y*0.11, p.Z*0.11) * (0.25 + 2*geom.Smoothstep(5, 18, q.d))
	fan := geom.Smoothstep(0.2, 0.03, q.t) * geom.Smoothstep(1, 4, q.d)
	// Lines have no head: angles are blended at twice their size.
	s, c := math.Sincos(2 * wild)
	return 0.5 * math.Atan2((1-fan)*s, (1-fan)*c-fan)
}

// random returns a number in [0, 1) for an index and a purpose.
func random(seed uint64, i int, purpose uint64) float64 {
	return float64(noise.Mix64(seed^noise.Mix64(uint64(i)*0x9e3779b97f4a7c15+purpose))>>11) * 0x1p-53
}

// normalOf returns a number of the standard normal distribution, by Box and Muller.
func normalOf(seed uint64, i int, purpose uint64) float64 {
	return math.Sqrt(-2*math.Log(1-random(seed, i, purpose))) * math.Cos(2*math.Pi*random(seed, i, purpose+1))
}
