package light

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// NewDisc makes a flat round light of the given radius in mm about centre. It shines along N of the frame, or from
// both faces, with the same radiance in all directions.
func NewDisc(name string, frame geom.Frame, centre geom.Vec, radius float64, radiance colour.RGB, twoSided bool, opts ...FlatOption) (*Light, error) {
	c := checker{name: name}
	c.frame(frame)
	c.point("centre", centre)
	c.length("radius", radius)
	c.radiance("radiance", radiance)
	l := &Light{Name: name, Kind: Disc, TwoSided: twoSided, radiance: radiance, frame: frame, centre: centre,
		radius: radius, area: math.Pi * radius * radius}
	for _, o := range opts {
		o(l, &c)
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	return l, nil
}

// sampleDisc is uniform in area.
func (l *Light) sampleDisc(ref geom.Vec, u0, u1 float64) (s Sample, ok bool) {
	if l.behind(ref) {
		return s, false
	}
	x, y := geom.ConcentricDisc(u0, u1)
	s.P = l.centre.Mad(x*l.radius, l.frame.S).Mad(y*l.radius, l.frame.T)
	v := s.P.Sub(ref)
	s.Dist = v.Len()
	s.Wi = v.Mul(1 / s.Dist)
	var c float64
	s.N, c, ok = l.facing(s.Wi)
	if !ok {
		return s, false
	}
	s.L = l.radiance
	s.PdfArea = 1 / l.area
	s.Pdf = s.PdfArea * s.Dist * s.Dist / c
	return s, true
}

func (l *Light) hitDisc(o, d geom.Vec, tmin, tmax float64) (t float64, p, n geom.Vec, ok bool) {
	t, p, n, ok = l.hitPlane(o, d, tmin, tmax)
	return t, p, n, ok && p.Sub(l.centre).Len2() <= l.radius*l.radius
}

func (l *Light) pdfDisc(ref, d geom.Vec) float64 {
	t, _, n, ok := l.hitDisc(ref, d, 0, math.Inf(1))
	if !ok {
		return 0
	}
	if l.face != nil {
		return l.face.pdf(l.onFace(ref.Mad(t, d))) * t * t / -d.Dot(n)
	}
	return t * t / (l.area * -d.Dot(n))
}

// solidAngleDisc returns about the solid angle of the disc in sr: that of a square of the same area and centre with a
// side towards ref. It is within a tenth everywhere, and right far away.
func (l *Light) solidAngleDisc(ref geom.Vec) float64 {
	if l.behind(ref) {
		return 0
	}
	v := ref.Sub(l.centre)
	z := v.Dot(l.frame.N)
	a := math.Sqrt(max(0, v.Len2()-z*z)) // off the axis
	z = -math.Abs(z)
	s := 0.5 * math.Sqrt(l.area)
	return 2 * (corner(a+s, s, z) - corner(a-s, s, z))
}
