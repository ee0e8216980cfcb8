package light

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// NewSphere makes a ball of the given radius in mm about centre whose shell shines on both sides with the same
// radiance in all directions.
func NewSphere(name string, centre geom.Vec, radius float64, radiance colour.RGB) (*Light, error) {
	c := checker{name: name}
	c.point("centre", centre)
	c.length("radius", radius)
	c.radiance("radiance", radiance)
	if err := c.err(); err != nil {
		return nil, err
	}
	return &Light{Name: name, Kind: Sphere, TwoSided: true, radiance: radiance,
		frame:  geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}},
		centre: centre, radius: radius, area: 4 * math.Pi * radius * radius}, nil
}

// versine returns 1 - cos of the angular radius of the sphere seen from a distance whose square is d2 > radius^2.
func (l *Light) versine(d2 float64) float64 {
	s2 := l.radius * l.radius / d2
	return s2 / (1 + math.Sqrt(max(0, 1-s2)))
}

func (l *Light) solidAngleSphere(ref geom.Vec) float64 {
	d2 := l.centre.Sub(ref).Len2()
	if d2 <= l.radius*l.radius {
		return 4 * math.Pi
	}
	return 2 * math.Pi * l.versine(d2)
}

// sampleSphere is uniform over the cone that holds the sphere, or over all directions from inside.
func (l *Light) sampleSphere(ref geom.Vec, u0, u1 float64) (s Sample, ok bool) {
	v := l.centre.Sub(ref)
	d2 := v.Len2()
	if d2 <= l.radius*l.radius {
		s.Wi = geom.UniformSphere(u0, u1)
		s.Pdf = 1 / (4 * math.Pi)
		b := v.Dot(s.Wi)
		s.Dist = b + math.Sqrt(max(0, l.radius*l.radius-(d2-b*b)))
		out := s.Wi.Mul(s.Dist).Sub(v).Unit()
		s.P = l.centre.Mad(l.radius, out)
		s.N = out.Neg()
	} else {
		vers := l.versine(d2)
		d := math.Sqrt(d2)
		x := u0 * vers // 1 - cos of the angle off the axis
		sin2 := x * (2 - x)
		sin, cos := math.Sqrt(sin2), 1-x
		sp, cp := math.Sincos(2 * math.Pi * u1)
		f := geom.NewFrame(v.Mul(1 / d))
		s.Wi = f.World(geom.Vec{X: sin * cp, Y: sin * sp, Z: cos})
		s.Pdf = 1 / (2 * math.Pi * vers)
		// The near crossing: (d - r)(d + r) over the far root keeps its digits.
		s.Dist = (d - l.radius) * (d + l.radius) / (d*cos + math.Sqrt(max(0, l.radius*l.radius-d2*sin2)))
		s.N = s.Wi.Mul(s.Dist).Sub(v).Unit()
		s.P = l.centre.Mad(l.radius, s.N)
	}
	s.L = l.radiance
	s.PdfArea = s.Pdf * math.Abs(s.Wi.Dot(s.N)) / (s.Dist * s.Dist)
	return s, true
}

func (l *Light) hitSphere(o, d geom.Vec, tmin, tmax float64) (t float64, p, n geom.Vec, ok bool) {
	v := l.centre.Sub(o)
	b := v.Dot(d)
	r2 := l.radius * l.radius
	q := r2 - v.Mad(-b, d).Len2()
	if q < 0 {
		return 0, p, n, false
	}
	// The root of larger size directly, the other by the product of both, which keeps its digits.
	big := b + math.Copysign(math.Sqrt(q), b)
	small := 0.0
	if big != 0 {
		small = (v.Len2() - r2) / big
	}
	near, far := small, big
	if near > far {
		near, far = far, near
	}
	t = near
	if !(t > tmin) {
		t = far
	}
	if !(t > tmin && t < tmax) {
		return 0, p, n, false
	}
	n = d.Mul(t).Sub(v).Unit()
	p = l.centre.Mad(l.radius, n)
	if n.Dot(d) > 0 { // met from inside
		n = n.Neg()
	}
	return t, p, n, true
}

func (l *Light) pdfSphere(ref, d geom.Vec) float64 {
	v := l.centre.Sub(ref)
	d2 := v.Len2()
	r2 := l.radius * l.radius
	if d2 <= r2 {
		return 1 / (4 * math.Pi)
	}
	b := v.Dot(d)
	if b <= 0 || v.Mad(-b, d).Len2() > r2 {
		return 0
	}
	return 1 / (2 * math.Pi * l.versine(d2))
}

func (l *Light) pdfAreaSphere(ref, p geom.Vec) float64 {
	d2 := l.centre.Sub(ref).Len2()
	v := p.Sub(ref)
	n := p.Sub(l.centre)
	c := v.Dot(n) / l.radius
	w := 1 / (4 * math.Pi)
	if d2 > l.radius*l.radius {
		if c >= 0 { // the far side
			return 0
		}
		w = 1 / (2 * math.Pi * l.versine(d2))
	}
	q := v.Len2()
	return w * math.Abs(c) / (q * math.Sqrt(q))
}
