package shading

import (
	"math"

	"catchlight/scene/geom"
)

// FormFactor returns the share of a cosine-weighted hemisphere about +Z that a polygon covers: its irradiance is pi times this times its
// radiance. Corners are given from the shaded point, in order round the polygon (either way), and need no unit length; what lies
// below the horizon is cut off. At most 24 corners.
//
// Source: Lambert, Photometria, 1760; Baum, Rushmeier and Winget, Improving Radiosity Solutions, SIGGRAPH 1989.
func FormFactor(p []geom.Vec) float64 {
	var buf [maxCorners + 1]geom.Vec
	q := horizon(p, buf[:0])
	if len(q) < 3 {
		return 0
	}
	for i := range q {
		q[i] = q[i].Unit()
	}
	sum := 0.0
	a := q[len(q)-1]
	for _, b := range q {
		sum += edge(a, b)
		a = b
	}
	return math.Abs(sum) / (2 * math.Pi)
}

// maxCorners bounds polygons, before the horizon cuts them.
const maxCorners = 24

// edge returns the z component of the edge's angle times the unit normal of its plane.
func edge(a, b geom.Vec) float64 {
	z := a.X*b.Y - a.Y*b.X
	c := a.Dot(b)
	// angle/sin(angle), from the half chord where the angle is small or near pi.
	s := a.Cross(b).Len()
	if s < 1e-9 {
		if c > 0 {
			return z
		}
		return 0
	}
	return math.Atan2(s, c) / s * z
}

// horizon cuts a polygon at z = 0.
func horizon(p, out []geom.Vec) []geom.Vec {
	n := len(p)
	for i := range p {
		a, b := p[i], p[(i+1)%n]
		if a.Z > 0 {
			out = append(out, a)
		}
		if (a.Z > 0) != (b.Z > 0) {
			c := a.Mad(a.Z/(a.Z-b.Z), b.Sub(a))
			c.Z = 0
			out = append(out, c)
		}
	}
	return out
}

// Lobe is a glossy reflection as a linearly transformed cosine.
//
// Source: Heitz, Dupuy, Hill and Neubelt, Real-Time Polygonal-Light Shading with Linearly Transformed Cosines, ACM TOG 35(4), 2016.
// Their matrices are fitted; for roughness that goes to 0 the matrix has a closed form (own derivation): seen in the plane across the
// mirrored direction r, a clamped cosine is 1/(pi (1+t^2)^2), which is also how GGX slopes fall off, and a slope s of the surface moves
// the reflected ray by 2 s in the plane of incidence and by 2 s cos across it. So the lobe is the cosine stretched by 2 alpha and
// 2 alpha cos. TestLobe says how good that is.
type Lobe struct {
	x, y, r geom.Vec // rows of the inverse matrix
	n       geom.Vec
}

// NewLobe makes the lobe of a surface of normal n, seen from wo (n.wo > 0), with GGX alpha > 0.
func NewLobe(wo, n geom.Vec, alpha float64) Lobe {
	r := geom.Reflect(wo, n)
	c := max(0.05, wo.Dot(n))
	y := n.Cross(r)
	if y.Len2() < 1e-12 {
		y = geom.NewFrame(r).T
	}
	y = y.Unit()
	return Lobe{x: y.Cross(r).Mul(1 / (2 * alpha)), y: y.Mul(1 / (2 * alpha * c)), r: r, n: n}
}

// Share returns the share of the lobe that a polygon covers, its corners given from the shaded point.
func (l *Lobe) Share(p []geom.Vec) float64 {
	var cut, q [maxCorners + 1]geom.Vec
	k := 0
	for i := range p { // what lies below the surface's own horizon first
		a, b := p[i], p[(i+1)%len(p)]
		da, db := l.n.Dot(a), l.n.Dot(b)
		if da > 0 {
			cut[k] = a
			k++
		}
		if (da > 0) != (db > 0) {
			cut[k] = a.Mad(da/(da-db), b.Sub(a))
			k++
		}
	}
	if k < 3 {
		return 0
	}
	for i := range k {
		q[i] = geom.Vec{X: l.x.Dot(cut[i]), Y: l.y.Dot(cut[i]), Z: l.r.Dot(cut[i])}
	}
	return FormFactor(q[:k])
}
