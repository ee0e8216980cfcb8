package base

import (
	"math"

	"catchlight/scene/geom"
)

// spot is where a vertex goes: its place and its texture coordinates.
type spot struct {
	p  geom.Vec
	uv geom.UV
}

// ring is a closed row of vertices from +X on.
type ring struct{ p, uv []uint32 }

// builder gathers a mesh from the front pole, or the pit's floor, to the back.
type builder struct {
	m Mesh
	n int // sides of a ring: four times those of a grid
}

func (b *builder) place(p geom.Vec) uint32 {
	b.m.P = append(b.m.P, rounded(p))
	return uint32(len(b.m.P) - 1)
}

func (b *builder) coordinate(uv geom.UV) uint32 {
	b.m.UV = append(b.m.UV, uv)
	return uint32(len(b.m.UV) - 1)
}

// angle is that of the j-th vertex of a ring.
func (b *builder) angle(j int) float64 { return 2 * math.Pi * float64(j) / float64(b.n) }

// square is the point (u, v) of a square, each -1 to 1, laid into a disc: squares about the middle become rounder and rounder; those at
// the border are half-way to circles for round = 0.5 and circles for 1. So no quad is squeezed flat in a corner, and the rings
// outside have the rest of the turn to make. Angles go by Shirley and Chiu, JGT 2(3), 1997.
func square(u, v, round float64) (x, y float64) {
	m := max(math.Abs(u), math.Abs(v))
	if m == 0 {
		return 0, 0
	}
	var a float64
	switch {
	case u == m:
		a = v / u
	case v == m:
		a = 2 - u/v
	case u == -m:
		a = 4 + v/u
	default:
		a = 6 - u/v
	}
	sin, cos := math.Sincos(math.Pi / 4 * a)
	const side = 0.9
	w := round * m * m
	return (1-w)*side*u + w*m*cos, (1-w)*side*v + w*m*sin
}

// rim is the j-th point of n on the border of such a square.
func rim(j, n int, round float64) (x, y float64) {
	a := 8 * float64(j) / float64(n) // in eighths of a turn
	switch {
	case a <= 1:
		return square(1, a, round)
	case a <= 3:
		return square(2-a, 1, round)
	case a <= 5:
		return square(-1, 4-a, round)
	case a <= 7:
		return square(a-6, -1, round)
	}
	return square(1, a-8, round)
}

// grid appends a square of quads laid into a disc and returns its border. at says where a point of the unit disc goes. over turns the
// faces over: for the back.
func (b *builder) grid(round float64, over bool, at func(x, y float64) spot) ring {
	k := b.n / 4
	ix := make([]Corner, (k+1)*(k+1))
	for j := range k + 1 {
		for i := range k + 1 {
			x, y := square(2*float64(i)/float64(k)-1, 2*float64(j)/float64(k)-1, round)
			s := at(x, y)
			ix[j*(k+1)+i] = Corner{b.place(s.p), b.coordinate(s.uv)}
		}
	}
	for j := range k {
		for i := range k {
			q := [4]Corner{ix[j*(k+1)+i], ix[j*(k+1)+i+1], ix[(j+1)*(k+1)+i+1], ix[(j+1)*(k+1)+i]}
			if over {
				q[1], q[3] = q[3], q[1]
			}
			b.m.Quads = append(b.m.Quads, q)
		}
	}
	r := ring{make([]uint32, b.n), make([]uint32, b.n)}
	for j := range b.n {
		a := j * 8 / b.n // the side, in eighths
		h := k / 2
		var x, y int
		switch {
		case a < 1:
			x, y = k, h+j
		case a < 3:
			x, y = h+2*h-j, k
		case a < 5:
			x, y = 0, h+4*h-j
		case a < 7:
			x, y = j-6*h+h, 0
		default:
			x, y = k, j-8*h+h
		}
		c := ix[y*(k+1)+x]
		r.p[j], r.uv[j] = c.P, c.UV
	}
	return r
}

// row appends a ring and joins it to the one before.
func (b *builder) row(last ring, at func(j int, theta float64) spot) ring {
	r := ring{make([]uint32, b.n), make([]uint32, b.n)}
	for j := range b.n {
		s := at(j, b.angle(j))
		r.p[j], r.uv[j] = b.place(s.p), b.coordinate(s.uv)
	}
	b.join(last, r)
	return r
}

// join puts quads between two rings.
func (b *builder) join(a, c ring) {
	for j := range b.n {
		k := (j + 1) % b.n
		b.m.Quads = append(b.m.Quads, [4]Corner{{a.p[j], a.uv[j]}, {c.p[j], c.uv[j]}, {c.p[k], c.uv[k]}, {a.p[k], a.uv[k]}})
	}
}

// rows appends count rings from the last one on to share 1.
func (b *builder) rows(last ring, count int, at func(share float64, j int, theta float64) spot) ring {
	for i := 1; i <= count; i++ {
		share := float64(i) / float64(count)
		last = b.row(last, func(j int, theta float64) spot { return at(share, j, theta) })
	}
	return last
}

// reseam gives a ring other texture coordinates for the faces that follow.
func (b *builder) reseam(r ring, at func(j int, theta float64) geom.UV) ring {
	uv := make([]uint32, b.n)
	for j := range uv {
		uv[j] = b.coordinate(at(j, b.angle(j)))
	}
	return ring{r.p, uv}
}

// loop names a ring.
func (b *builder) loop(name string, r ring) { b.m.Loops = append(b.m.Loops, Loop{name, r.p}) }
