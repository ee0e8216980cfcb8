// Package noise makes smooth random fields that depend on a seed and a place alone: the same on every machine and for any
// number of workers. They shape what is grown: the eye's patterns, and the skin about it.
//
//	Line     along a line; within [-1, 1]
//	Space    in space, with features one unit across; about within [-1, 1], 0 at whole coordinates
//	Slope    Space with its gradient
//	Octaves  Space summed at finer and finer scales; mostly within [-1, 1], at most twice what Space reaches
//	Lattice  one value for a whole number, in [-1, 1), without smoothness
//	Mix64    the hash beneath them all
//
// Coordinates have no unit: the caller scales mm to the size of the features that it wants. These are no random numbers for
// estimates; those are package sampler's.
//
// Sources: Perlin, Improving Noise, ACM TOG 21 (2002); Steele, Lea and Flood, Fast Splittable Pseudorandom Number
// Generators, OOPSLA 2014.
package noise

import "math"

// Mix64 is the finaliser of SplitMix64, a bijective hash.
//
// Source: Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014, with the constants of
// Stafford's variant 13.
func Mix64(x uint64) uint64 {
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// Lattice returns a value in [-1, 1) for an integer place on a line.
func Lattice(seed uint64, i int64) float64 {
	return float64(int64(Mix64(seed+uint64(i)*0x9e3779b97f4a7c15))) * (1.0 / (1 << 63))
}

// Line is value noise on a line: random values at the integers, joined by fifth-degree steps; within [-1, 1].
func Line(seed uint64, x float64) float64 {
	f := math.Floor(x)
	t := x - f
	i := int64(f)
	a, b := Lattice(seed, i), Lattice(seed, i+1)
	return a + (b-a)*t*t*t*(10+t*(6*t-15))
}

// Space is gradient noise in space, about within [-1, 1], with features one unit across.
// Source: Perlin, Improving Noise, ACM TOG 21 (2002); gradients come from a hash here, not from his table.
func Space(seed uint64, x, y, z float64) float64 {
	fx, fy, fz := math.Floor(x), math.Floor(y), math.Floor(z)
	x, y, z = x-fx, y-fy, z-fz
	h := seed + uint64(int64(fx))*0x9e3779b97f4a7c15 + uint64(int64(fy))*0xc2b2ae3d27d4eb4f + uint64(int64(fz))*0x165667b19e3779f9
	const dx, dy, dz = 0x9e3779b97f4a7c15, 0xc2b2ae3d27d4eb4f, 0x165667b19e3779f9
	u := x * x * x * (10 + x*(6*x-15))
	v := y * y * y * (10 + y*(6*y-15))
	w := z * z * z * (10 + z*(6*z-15))
	g000, g100 := grad(h, x, y, z), grad(h+dx, x-1, y, z)
	g010, g110 := grad(h+dy, x, y-1, z), grad(h+dx+dy, x-1, y-1, z)
	g001, g101 := grad(h+dz, x, y, z-1), grad(h+dx+dz, x-1, y, z-1)
	g011, g111 := grad(h+dy+dz, x, y-1, z-1), grad(h+dx+dy+dz, x-1, y-1, z-1)
	g00, g10 := g000+u*(g100-g000), g010+u*(g110-g010)
	g01, g11 := g001+u*(g101-g001), g011+u*(g111-g011)
	a, b := g00+v*(g10-g00), g01+v*(g11-g01)
	return a + w*(b-a)
}

// grad returns the product of (x, y, z) with one of the twelve directions to the middles of a cube's edges.
func grad(h uint64, x, y, z float64) float64 {
	h = Mix64(h) >> 60
	u, v := x, y
	if h >= 8 {
		u = y
	}
	if h >= 4 {
		v = z
		if h == 12 || h == 14 {
			v = x
		}
	}
	if h&1 != 0 {
		u = -u
	}
	if h&2 != 0 {
		v = -v
	}
	return u + v
}

// Octaves sums octaves of Space, each half as strong and half as wide as the one before; mostly within [-1, 1], at most twice
// what Space reaches.
func Octaves(seed uint64, x, y, z float64, octaves int) float64 {
	sum, amp := 0.0, 1.0
	for o := range octaves {
		sum += amp * Space(seed+uint64(o)*0x632be59bd9b4e019, x, y, z)
		amp *= 0.5
		x, y, z = 2*x+5.3, 2*y+1.7, 2*z+9.1
	}
	return sum
}

// Slope is Space with its gradient, by the place.
func Slope(seed uint64, x, y, z float64) (v, dx, dy, dz float64) {
	fx, fy, fz := math.Floor(x), math.Floor(y), math.Floor(z)
	x, y, z = x-fx, y-fy, z-fz
	h := seed + uint64(int64(fx))*0x9e3779b97f4a7c15 + uint64(int64(fy))*0xc2b2ae3d27d4eb4f + uint64(int64(fz))*0x165667b19e3779f9
	u, du := step(x)
	s, ds := step(y)
	w, dw := step(z)
	for i := range uint64(8) {
		a, b, c := i&1, i>>1&1, i>>2
		// The gradient at the corner, and the corner's weight with its derivatives.
		gx, gy, gz := direction(h + a*0x9e3779b97f4a7c15 + b*0xc2b2ae3d27d4eb4f + c*0x165667b19e3779f9)
		g := gx*(x-float64(a)) + gy*(y-float64(b)) + gz*(z-float64(c))
		wx, ex := side(a, u, du)
		wy, ey := side(b, s, ds)
		wz, ez := side(c, w, dw)
		k := wx * wy * wz
		v += k * g
		dx += k*gx + ex*wy*wz*g
		dy += k*gy + wx*ey*wz*g
		dz += k*gz + wx*wy*ez*g
	}
	return v, dx, dy, dz
}

// step is the fifth-degree step and its slope.
func step(t float64) (v, d float64) {
	return t * t * t * (10 + t*(6*t-15)), 30 * t * t * (t - 1) * (t - 1)
}

// side returns the weight of the near (0) or far (1) side and its slope.
func side(far uint64, v, d float64) (float64, float64) {
	if far == 1 {
		return v, d
	}
	return 1 - v, -d
}

// direction returns the vector whose product with a place grad takes.
func direction(h uint64) (x, y, z float64) {
	h = Mix64(h) >> 60
	a, b := 1.0, 1.0
	if h&1 != 0 {
		a = -1
	}
	if h&2 != 0 {
		b = -1
	}
	switch {
	case h >= 12 && h&1 == 0: // 12, 14
		return b, a, 0
	case h >= 8: // u is y
		return 0, a, b
	case h >= 4: // v is z
		return a, 0, b
	}
	return a, b, 0
}
