package light

import (
	"fmt"
	"math"

	"catchlight/light/envmap"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// EnvironmentOption changes an environment while it is made.
type EnvironmentOption func(*envmap.Options)

// WithoutCompensation lets the density follow the picture itself: for estimators that sample the light alone. By
// default it follows what stands out above the mean (see envmap.Options), which suits estimators that combine it with
// sampling the material; both are unbiased either way.
func WithoutCompensation() EnvironmentOption {
	return func(o *envmap.Options) { o.Compensate = false }
}

// NewEnvironment makes light from a latitude-longitude picture of 1 (grey) or 3 or 4 channels (the fourth is ignored),
// linear, laid out as package envmap says. rotation turns it about +Y, right-handed, in radians: at 0 the middle of the
// picture lies towards +Z, at pi/2 towards +X. gain turns its values into W/(m^2 sr). A picture without any light is
// not an error: Note says so, and the light gives nothing. NaN, infinite and negative texels are errors.
func NewEnvironment(name string, img *texture.Image, rotation float64, gain colour.RGB, opts ...EnvironmentOption) (*Light, error) {
	c := checker{name: name}
	c.radiance("gain", gain)
	if !(math.Abs(rotation) <= 1e6) {
		c.fail("rotation", rotation, "finite, within 1e6 radians")
	}
	if img == nil {
		c.fail("picture", "none", "given")
	} else if _, _, n := img.Size(); n == 2 {
		c.fail("picture", "2 channels", "of 1, 3 or 4 channels")
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	w, h, n := img.Size()
	pix := make([]float32, 3*w*h)
	for y := range h {
		for x := range w {
			for k := range 3 {
				from := k
				if n == 1 {
					from = 0
				}
				pix[3*(y*w+x)+k] = float32(img.At(x, y, from))
			}
		}
	}
	o := envmap.Options{Gain: gain, Compensate: true}
	for _, f := range opts {
		f(&o)
	}
	m, err := envmap.New(w, h, pix, o)
	if err != nil {
		return nil, fmt.Errorf("light %q: %w", name, err)
	}
	l := &Light{Name: name, Kind: Environment, radiance: gain, env: m}
	l.sin, l.cos = math.Sincos(rotation)
	l.meanLum = gain.Mul(m.MeanRadiance()).Luminance()
	if m.Black() || gain.Black() {
		l.Note = "nothing shines: all texels are black, or the gain is 0"
	}
	return l, nil
}

// toMap turns a direction in the scene into the picture's frame, back by the rotation.
func (l *Light) toMap(d geom.Vec) geom.Vec {
	return geom.Vec{X: l.cos*d.X - l.sin*d.Z, Y: d.Y, Z: l.sin*d.X + l.cos*d.Z}
}

// fromMap is the inverse of toMap.
func (l *Light) fromMap(d geom.Vec) geom.Vec {
	return geom.Vec{X: l.cos*d.X + l.sin*d.Z, Y: d.Y, Z: -l.sin*d.X + l.cos*d.Z}
}

func (l *Light) sampleEnvironment(u0, u1 float64) (Sample, bool) {
	d, pdf, c, ok := l.env.Sample(u0, u1)
	if !ok {
		return Sample{}, false
	}
	return Sample{Wi: l.fromMap(d), Dist: math.Inf(1), Pdf: pdf, L: l.radiance.Mul(c)}, true
}
