package shading

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Harmonics are the coefficients of light from all directions in the real spherical harmonics up to order 2, in the sequence
// L00, L1-1, L10, L11, L2-2, L2-1, L20, L21, L22. They add.
type Harmonics [9]colour.RGB

// Basis returns the nine functions at a direction.
//
// Source: Ramamoorthi and Hanrahan, An Efficient Representation for Irradiance Environment Maps, SIGGRAPH 2001, equation 3.
func Basis(d geom.Vec) [9]float64 {
	return [9]float64{
		0.282095,
		0.488603 * d.Y, 0.488603 * d.Z, 0.488603 * d.X,
		1.092548 * d.X * d.Y, 1.092548 * d.Y * d.Z, 0.315392 * (3*d.Z*d.Z - 1), 1.092548 * d.X * d.Z, 0.546274 * (d.X*d.X - d.Y*d.Y),
	}
}

// Add adds light of radiance l from a solid angle sr about d.
func (h *Harmonics) Add(d geom.Vec, l colour.RGB, sr float64) {
	for i, b := range Basis(d) {
		h[i] = h[i].Add(l.Scale(b * sr))
	}
}

// Cut returns the coefficients up to an order in [0, 2].
func (h *Harmonics) Cut(order int) Harmonics {
	out := *h
	for i := (order + 1) * (order + 1); i < len(out); i++ {
		out[i] = colour.RGB{}
	}
	return out
}

// Turned returns the light of a frame whose directions to turns into those of the old one.
func (h *Harmonics) Turned(to func(d geom.Vec) geom.Vec) (out Harmonics) {
	// Exact for products of two functions of order 2: three points of Gauss in z, five directions about it.
	z := math.Sqrt(0.6)
	for i, w := range [3]float64{5.0 / 9, 8.0 / 9, 5.0 / 9} {
		z := float64(i-1) * z
		r := math.Sqrt(1 - z*z)
		for j := range 5 {
			s, c := math.Sincos(2 * math.Pi * float64(j) / 5)
			d := geom.Vec{X: r * c, Y: r * s, Z: z}
			var l colour.RGB
			for q, b := range Basis(to(d).Unit()) {
				l = l.Add(h[q].Scale(b))
			}
			out.Add(d, l, w*2*math.Pi/5)
		}
	}
	return out
}

// Irradiance returns what falls on a surface of normal n. The series may dip below 0 against one hot light; it is held there.
//
// Source: Ramamoorthi and Hanrahan 2001, equation 13.
func (h *Harmonics) Irradiance(n geom.Vec) (e colour.RGB) {
	const c1, c2, c3, c4, c5 = 0.429043, 0.511664, 0.743125, 0.886227, 0.247708
	x, y, z := n.X, n.Y, n.Z
	w := [9]float64{c4, 2 * c2 * y, 2 * c2 * z, 2 * c2 * x, 2 * c1 * x * y, 2 * c1 * y * z, c3*z*z - c5, 2 * c1 * x * z, c1 * (x*x - y*y)}
	for i := range h {
		e = e.Add(h[i].Scale(w[i]))
	}
	for c := range e {
		e[c] = max(0, e[c])
	}
	return e
}

// solidAngle returns that of a texel of an octahedral picture of side n at the point p of the octahedron: its square has sqrt(3) 4/n^2 on
// the tilted face, which is seen at the distance |p| under the cosine 1/(sqrt(3) |p|).
func solidAngle(n int, p geom.Vec) float64 {
	l := p.Len()
	return 4 / (float64(n) * float64(n) * l * l * l)
}
