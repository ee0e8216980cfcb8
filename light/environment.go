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

// WithHotSpots cuts compact hot spots out of the picture; they are lights of their own, see Spots. All together shine as
// the picture does.
func WithHotSpots() EnvironmentOption {
	return func(o *envmap.Options) { o.CutSpots = true }
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
	for _, s := range m.Spots() {
		l.spots = append(l.spots, &Light{Name: name, Kind: Environment, hot: true, radiance: gain, env: s, sin: l.sin, cos: l.cos,
			meanLum: gain.Mul(s.MeanRadiance()).Luminance()})
	}
	if m.Black() && len(l.spots) == 0 || gain.Black() {
		l.Note = "nothing shines: all texels are black, or the gain is 0"
	}
	return l, nil
}

// Even reports whether the light is so much the same in all directions that directions sampled without regard to it
// find it with little noise: a constant light, and an environment whose contrast (envmap.Map.Contrast) is at most most.
func (l *Light) Even(most float64) bool {
	return l.Kind == Constant || l.Kind == Environment && !l.hot && l.env.Contrast() <= most
}

// Spots returns the hot spots that WithHotSpots cut out of an environment, the strongest first: distant lights of kind
// Environment with its name, each black but for a few degrees, and not in the environment's own light any more.
func (l *Light) Spots() []*Light { return l.spots }

// Rotated returns a copy of an environment that was made at rotation 0, rotated as NewEnvironment says; other lights as they are. Tables are shared.
func (l *Light) Rotated(rotation float64) *Light {
	if l.Kind != Environment {
		return l
	}
	c := *l
	c.sin, c.cos = math.Sincos(rotation)
	c.spots = make([]*Light, len(l.spots))
	for i, s := range l.spots {
		c.spots[i] = s.Rotated(rotation)
	}
	return &c
}

// Picture returns the picture of an environment, without gain and rotation, the gain, and what turns directions in the scene into the picture's
// frame; m is nil for others.
func (l *Light) Picture() (m *envmap.Map, gain colour.RGB, toMap func(d geom.Vec) geom.Vec) {
	if l.Kind != Environment {
		return nil, gain, nil
	}
	return l.env, l.radiance, l.toMap
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
