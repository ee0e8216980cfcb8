package bake

import (
	"math"
	"math/bits"

	"catchlight/render/accel"
	"catchlight/scene/atlas"
	"catchlight/scene/geom"
)

// sobol are the first two dimensions of Sobol's points, as 32-bit fractions.
func sobol(n int) [][2]uint32 {
	out := make([][2]uint32, n)
	for i := range out {
		second := uint32(0)
		for k, v := uint32(i), uint32(1)<<31; k != 0; k >>= 1 {
			if k&1 != 0 {
				second ^= v
			}
			v ^= v >> 1
		}
		out[i] = [2]uint32{bits.Reverse32(uint32(i)), second}
	}
	return out
}

// unit is the number in [0, 1) in the middle of a 32-bit fraction's cell.
func unit(x uint32) float64 { return (float64(x) + 0.5) / (1 << 32) }

// shift is a pair of words that points are shifted by, for a texel and a purpose.
func shift(seed uint64, x, y int, purpose uint64) (a, b uint32) {
	h := atlas.Mix(atlas.Mix(atlas.Mix(seed, purpose), uint64(x)), uint64(y))
	return uint32(h >> 32), uint32(h)
}

// start is how far off its facet a ray begins, as a share of the solid's size: a ten-thousandth of a mm for an eye of 24 mm.
const start = 2.4e-6

// Occlusion is how free a place stands.
type Occlusion struct {
	Rays  int     // a texel
	Reach float64 // mm; what is further away does not count; 0: none is too far
}

// Thickness is how far it is to the other side.
type Thickness struct {
	Rays  int     // a texel
	Angle float64 // radians, half of the cone's, up to a right angle
	Reach float64 // mm; a ray that meets nothing so far counts as this
}

// tally is how many of some rays got out, or how far they came.
type tally struct{ sum, n float64 }

// free counts those of some points, as rays spread by the cosine about the normal of a place, that get out. Rays that begin below the
// facet are left out of the count, else coarse meshes would darken by their facets.
func (s *Solid) free(k *accel.Scratch, q *Spot, points [][2]uint32, a, b uint32, eps, far float64) (t tally) {
	f := geom.NewFrame(q.N)
	o := q.P.Mad(eps, q.Facet)
	for _, p := range points {
		d := f.World(geom.CosineHemisphere(unit(p[0]^a), unit(p[1]^b)))
		if d.Dot(q.Facet) <= 0 {
			continue
		}
		t.n++
		if !s.bvh.Occluded(k, o, d, 0, far) {
			t.sum++
		}
	}
	return t
}

// through adds up how far rays of a cone about the inward normal come, spread by the cosine within it.
func (s *Solid) through(k *accel.Scratch, q *Spot, points [][2]uint32, a, b uint32, eps, sin2, far float64) (t tally, lost float64) {
	f := geom.NewFrame(q.N.Neg())
	o := q.P.Mad(-eps, q.Facet)
	var h accel.Hit
	for _, p := range points {
		r2 := sin2 * unit(p[0]^a)
		sin, cos := math.Sincos(2 * math.Pi * unit(p[1]^b))
		r := math.Sqrt(r2)
		d := f.World(geom.Vec{X: r * cos, Y: r * sin, Z: math.Sqrt(1 - r2)})
		if d.Dot(q.Facet) >= 0 {
			continue
		}
		t.n++
		if s.bvh.Closest(k, o, d, 0, far, &h) {
			t.sum += h.T + eps
		} else {
			t.sum += far
			lost++
		}
	}
	return t, lost
}
