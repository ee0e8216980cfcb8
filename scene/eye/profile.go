package eye

import "math"

// profile is the meridian of the undisplaced outer shell: a conic about the axis, the scleral circle, and between
// half chords a and b a curve whose slope is blended from one to the other. The blend is of fifth degree, so the
// meridian has three continuous derivatives, and as it blends slopes it has no ripple: the limbus is one soft bend.
type profile struct {
	globe, radius, q1 float64 // q1 is 1 + asphericity
	a, b              float64 // half chords at which the blend begins and ends
	apex              float64 // z of the corneal apex
}

func newProfile(p *Params) *profile {
	f := &profile{globe: p.GlobeRadius, radius: p.CorneaRadius, q1: 1 + p.Asphericity,
		a: p.LimbusRadius - p.LimbusWidth/2, b: p.LimbusRadius + p.LimbusWidth/2}
	za := f.blended(f.a)
	f.apex = za + f.sag(f.a)
	return f
}

// sag returns the depth of the conic below its apex at half chord r.
// Source: the conic section r^2 + (1+Q) s^2 - 2 R s = 0, as in Navarro et al., JOSA A 2 (1985), 1273.
func (f *profile) sag(r float64) float64 {
	return r * r / (f.radius + math.Sqrt(f.radius*f.radius-f.q1*r*r))
}

// slopes returns dz/dr and d2z/dr2 at half chord r <= b.
func (f *profile) slopes(r float64) (d1, d2 float64) {
	dc := f.radius*f.radius - f.q1*r*r
	ds := f.globe*f.globe - r*r
	c1, s1 := -r/math.Sqrt(dc), -r/math.Sqrt(ds)
	c2, s2 := -f.radius*f.radius/(dc*math.Sqrt(dc)), -f.globe*f.globe/(ds*math.Sqrt(ds))
	t, dt := quintic((r - f.a) / (f.b - f.a))
	dt /= f.b - f.a
	return c1 + t*(s1-c1), c2 + t*(s2-c2) + dt*(s1-c1)
}

// blended returns z at half chord r in [a, b] by integrating the slope inward from the sphere.
func (f *profile) blended(r float64) float64 {
	mid, half := (f.b+r)/2, (f.b-r)/2
	sum := 0.0
	for i, x := range gaussX {
		d0, _ := f.slopes(mid - half*x)
		d1, _ := f.slopes(mid + half*x)
		sum += gaussW[i] * (d0 + d1)
	}
	return math.Sqrt(f.globe*f.globe-f.b*f.b) - half*sum
}

// at returns z, dz/dr and d2z/dr2 on the front of the eye at half chord r in [0, globe radius).
func (f *profile) at(r float64) (z, d1, d2 float64) {
	if r > f.b {
		s := f.globe*f.globe - r*r
		return math.Sqrt(s), -r / math.Sqrt(s), -f.globe * f.globe / (s * math.Sqrt(s))
	}
	d1, d2 = f.slopes(r)
	if r > f.a {
		return f.blended(r), d1, d2
	}
	return f.apex - f.sag(r), d1, d2
}

// station is a point of the meridian with its outward normal (nr, nz) and principal curvatures in 1/mm, positive where
// the surface bends away from its normal.
type station struct{ r, z, nr, nz, km, kp float64 }

// front returns the station at half chord r in [0, globe radius), on the front of the eye.
func (f *profile) front(r float64) station {
	z, d1, d2 := f.at(r)
	s := math.Sqrt(1 + d1*d1)
	st := station{r: r, z: z, nr: -d1 / s, nz: 1 / s, km: -d2 / (s * s * s)}
	if r > 0 {
		st.kp = st.nr / r
	} else {
		st.kp = st.km
	}
	return st
}

// sphere returns the station of the scleral sphere at polar angle phi from the optical axis.
func (f *profile) sphere(phi float64) station {
	s, c := math.Sincos(phi)
	k := 1 / f.globe
	return station{r: f.globe * s, z: f.globe * c, nr: s, nz: c, km: k, kp: k}
}

// quintic returns the fifth-degree step from 0 at t = 0 to 1 at t = 1 and its derivative; both are clamped outside.
func quintic(t float64) (v, dv float64) {
	if t <= 0 {
		return 0, 0
	}
	if t >= 1 {
		return 1, 0
	}
	u := 1 - t
	return t * t * t * (10 + t*(6*t-15)), 30 * t * t * u * u
}

// Half of the nodes and weights of Gauss-Legendre quadrature of order 16 on [-1, 1].
// Source: Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.4.
var (
	gaussX = [8]float64{0.0950125098376374, 0.2816035507792589, 0.4580167776572274, 0.6178762444026438,
		0.7554044083550030, 0.8656312023878318, 0.9445750230732326, 0.9894009349916499}
	gaussW = [8]float64{0.1894506104550685, 0.1826034150449236, 0.1691565193950025, 0.1495959888165767,
		0.1246289712555339, 0.0951585116824928, 0.0622535239386479, 0.0271524594117541}
)
