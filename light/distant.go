package light

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// minDiameter is the least angular diameter of a distant light: a point would have no density.
const minDiameter = 1e-4

// NewDistant makes a round light infinitely far away, such as the sun: direction points towards it (any length but 0),
// diameter is its angular diameter in radians, in [1e-4, pi], and its radiance is the same all over.
func NewDistant(name string, direction geom.Vec, diameter float64, radiance colour.RGB) (*Light, error) {
	c := checker{name: name}
	c.radiance("radiance", radiance)
	l := newDistant(&c, direction, diameter)
	if err := c.err(); err != nil {
		return nil, err
	}
	l.radiance = radiance
	return l, nil
}

// NewDistantIrradiance is NewDistant for a light known by the irradiance, in W/m^2, that it gives a surface facing it.
func NewDistantIrradiance(name string, direction geom.Vec, diameter float64, irradiance colour.RGB) (*Light, error) {
	c := checker{name: name}
	c.radiance("irradiance", irradiance)
	l := newDistant(&c, direction, diameter)
	if err := c.err(); err != nil {
		return nil, err
	}
	// A disc of uniform radiance L and angular radius a gives pi L sin^2 a.
	s := math.Sin(l.radius)
	l.radiance = irradiance.Scale(1 / (math.Pi * s * s))
	return l, nil
}

func newDistant(c *checker, direction geom.Vec, diameter float64) *Light {
	if n := direction.MaxAbs(); !direction.Finite() || !(n > 0) {
		c.fail("direction", direction, "finite and not zero")
		return nil
	} else if direction = direction.Mul(1 / n).Unit(); !(diameter >= minDiameter && diameter <= math.Pi) {
		c.fail("angular diameter", diameter, "in [1e-4, pi] radians")
		return nil
	}
	r := 0.5 * diameter
	h := math.Sin(0.5 * r)
	return &Light{Name: c.name, Kind: Distant, frame: geom.NewFrame(direction), radius: r, vers: 2 * h * h}
}

// sampleDistant is uniform over the cone.
func (l *Light) sampleDistant(u0, u1 float64) (Sample, bool) {
	x := u0 * l.vers
	sin := math.Sqrt(x * (2 - x))
	sp, cp := math.Sincos(2 * math.Pi * u1)
	d := l.frame.World(geom.Vec{X: sin * cp, Y: sin * sp, Z: 1 - x})
	return Sample{Wi: d, Dist: math.Inf(1), Pdf: 1 / (2 * math.Pi * l.vers), L: l.radiance}, true
}

// inCone reports whether the unit direction d points at the light: |d - axis|^2 = 2 (1 - cos) keeps its digits.
func (l *Light) inCone(d geom.Vec) bool { return d.Sub(l.frame.N).Len2() <= 2*l.vers }
