package light

import (
	"fmt"
	"math"

	"catchlight/light/envmap"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Kind tells what a Light is.
type Kind uint8

// The kinds of light.
const (
	Environment Kind = iota
	Constant
	Rectangle
	Disc
	Sphere
	Distant
)

// String returns the kind's name in lower case.
func (k Kind) String() string {
	switch k {
	case Environment:
		return "environment"
	case Constant:
		return "constant"
	case Rectangle:
		return "rectangle"
	case Disc:
		return "disc"
	case Sphere:
		return "sphere"
	case Distant:
		return "distant"
	}
	return fmt.Sprintf("Kind(%d)", uint8(k))
}

// Light is one emitter. Make it with one of the constructors; Name, Kind, TwoSided and Note are for reading.
type Light struct {
	Name     string
	Kind     Kind
	TwoSided bool   // Rectangle and Disc: shines from both faces
	Note     string // what its maker should know, such as "all texels are black"; empty for most

	radiance colour.RGB // gain of an Environment
	frame    geom.Frame // S, T along width and height, N where it shines; Distant: N towards the light
	centre   geom.Vec   // mm
	w, h     float64    // Rectangle: full width and height, mm
	radius   float64    // Disc, Sphere: mm; Distant: angular radius in rad
	area     float64    // mm^2
	vers     float64    // Distant: 1 - cos(radius)
	panes    panes
	face     *face // Rectangle, Disc: nil where it shines evenly
	env      *envmap.Map
	spots    []*Light // Environment: cut out of it
	hot      bool     // one of those
	sin, cos float64  // Environment: of its rotation
	meanLum  float64  // Environment: mean over the sphere of the luminance of its radiance
}

// Sample is a direction towards a light, as chosen from a point.
type Sample struct {
	Wi      geom.Vec   // unit, from the point to the light
	Dist    float64    // mm; +Inf for distant kinds
	Pdf     float64    // density of Wi per sr as seen straight from the point
	L       colour.RGB // radiance that arrives along Wi, W/(m^2 sr); black on a window's bars
	P, N    geom.Vec   // finite kinds: the point on the light, and its unit normal on the emitting side
	PdfArea float64    // finite kinds: density of P per mm^2; 0 for distant kinds
}

// Sample maps (u0, u1) to a direction from ref towards the light. ok is false where the light cannot shine on ref (ref
// is behind a one-sided light, in its plane, or nothing shines at all); such a sample counts as 0.
func (l *Light) Sample(ref geom.Vec, u0, u1 float64) (s Sample, ok bool) {
	switch l.Kind {
	case Environment:
		return l.sampleEnvironment(u0, u1)
	case Constant:
		return Sample{Wi: geom.UniformSphere(u0, u1), Dist: math.Inf(1), Pdf: 1 / (4 * math.Pi), L: l.radiance}, true
	case Rectangle:
		if l.face != nil {
			return l.sampleFace(ref, u0, u1)
		}
		return l.sampleRectangle(ref, u0, u1)
	case Disc:
		if l.face != nil {
			return l.sampleFace(ref, u0, u1)
		}
		return l.sampleDisc(ref, u0, u1)
	case Sphere:
		return l.sampleSphere(ref, u0, u1)
	case Distant:
		return l.sampleDistant(u0, u1)
	}
	return Sample{}, false
}

// Intersect returns the nearest hit of the ray o + t d, d of unit length, with a finite light for tmin < t < tmax: the
// distance, the point, and the unit normal on the emitting side that d meets. ok is false for distant kinds and for
// the dark face of a one-sided light.
func (l *Light) Intersect(o, d geom.Vec, tmin, tmax float64) (t float64, p, n geom.Vec, ok bool) {
	switch l.Kind {
	case Rectangle:
		return l.hitRectangle(o, d, tmin, tmax)
	case Disc:
		return l.hitDisc(o, d, tmin, tmax)
	case Sphere:
		return l.hitSphere(o, d, tmin, tmax)
	}
	return 0, geom.Vec{}, geom.Vec{}, false
}

// Radiance returns what a finite light sends from the point p on it in the unit direction wToViewer, in W/(m^2 sr);
// black for distant kinds.
func (l *Light) Radiance(p, wToViewer geom.Vec) colour.RGB {
	switch l.Kind {
	case Rectangle:
		if !l.TwoSided && wToViewer.Dot(l.frame.N) <= 0 {
			return colour.RGB{}
		}
		return l.radianceAt(p)
	case Disc:
		if !l.TwoSided && wToViewer.Dot(l.frame.N) <= 0 {
			return colour.RGB{}
		}
		return l.radianceAt(p)
	case Sphere:
		return l.radiance
	}
	return colour.RGB{}
}

// RadianceDir returns what arrives from the unit direction d (towards the light) out of a distant light, in
// W/(m^2 sr); black for finite kinds.
func (l *Light) RadianceDir(d geom.Vec) colour.RGB {
	switch l.Kind {
	case Environment:
		return l.radiance.Mul(l.env.Radiance(l.toMap(d)))
	case Constant:
		return l.radiance
	case Distant:
		if l.inCone(d) {
			return l.radiance
		}
	}
	return colour.RGB{}
}

// PdfDir returns the density, per sr, with which Sample(ref) chooses the unit direction d: 0 where it cannot, so for a
// finite light where the ray from ref along d misses it.
func (l *Light) PdfDir(ref, d geom.Vec) float64 {
	switch l.Kind {
	case Environment:
		return l.env.Pdf(l.toMap(d))
	case Constant:
		return 1 / (4 * math.Pi)
	case Rectangle:
		return l.pdfRectangle(ref, d)
	case Disc:
		return l.pdfDisc(ref, d)
	case Sphere:
		return l.pdfSphere(ref, d)
	case Distant:
		if l.inCone(d) {
			return 1 / (2 * math.Pi * l.vers)
		}
	}
	return 0
}

// PdfAreaAt returns the density, per mm^2, with which Sample(ref) chooses the point p on a finite light; 0 for distant
// kinds and for points that ref does not see. p is taken to lie on the light.
func (l *Light) PdfAreaAt(ref, p geom.Vec) float64 {
	switch l.Kind {
	case Rectangle:
		return l.pdfAreaRectangle(ref, p)
	case Disc:
		if l.behind(ref) {
			return 0
		}
		if l.face != nil {
			return l.face.pdf(l.onFace(p))
		}
		return 1 / l.area
	case Sphere:
		return l.pdfAreaSphere(ref, p)
	}
	return 0
}

// Finite reports whether the light is a surface in the scene.
func (l *Light) Finite() bool { return l.Kind == Rectangle || l.Kind == Disc || l.Kind == Sphere }

// Irradiance estimates the luminance of the light at ref, in W/m^2, visibility ignored: a quarter of the fluence (the
// integral of radiance over all directions), which is the irradiance in the mean over all orientations of a surface.
// It serves to choose between lights; a disc's solid angle is approximate.
func (l *Light) Irradiance(ref geom.Vec) float64 {
	lum := l.radiance.Luminance() / 4
	switch l.Kind {
	case Environment:
		return math.Pi * l.meanLum
	case Constant:
		return 4 * math.Pi * lum
	case Rectangle:
		return lum * l.panes.open(l.w, l.h) * l.solidAngleRectangle(ref)
	case Disc:
		return lum * l.solidAngleDisc(ref)
	case Sphere:
		return lum * l.solidAngleSphere(ref)
	case Distant:
		return lum * 2 * math.Pi * l.vers
	}
	return 0
}

// Scaled returns a copy of the light whose radiance is k times as much, k finite and at least 0. Tables are shared.
func (l *Light) Scaled(k float64) *Light {
	c := *l
	c.radiance, c.meanLum = l.radiance.Scale(k), k*l.meanLum
	c.spots = make([]*Light, len(l.spots))
	for i, s := range l.spots {
		c.spots[i] = s.Scaled(k)
	}
	return &c
}

// Exposed is Scaled for a factor that may be too large: the error says so as the constructors do.
func (l *Light) Exposed(k float64) (*Light, error) {
	c := checker{name: l.Name}
	c.radiance("gain", l.radiance.Scale(k))
	if err := c.err(); err != nil {
		return nil, err
	}
	return l.Scaled(k), nil
}

// behind reports whether ref is where a flat one-sided light does not shine, or in its plane.
func (l *Light) behind(ref geom.Vec) bool {
	z := ref.Sub(l.centre).Dot(l.frame.N)
	return z == 0 || z < 0 && !l.TwoSided
}

// facing returns the normal on the side of a flat light from which the unit direction d arrives, and minus the cosine
// between the two; ok is false for the dark face and for directions in the plane.
func (l *Light) facing(d geom.Vec) (n geom.Vec, cos float64, ok bool) {
	c := d.Dot(l.frame.N)
	if c < 0 {
		return l.frame.N, -c, true
	}
	return l.frame.N.Neg(), c, c > 0 && l.TwoSided
}

// hitPlane returns where the ray meets the plane of a flat light.
func (l *Light) hitPlane(o, d geom.Vec, tmin, tmax float64) (t float64, p, n geom.Vec, ok bool) {
	n, c, ok := l.facing(d)
	if !ok {
		return 0, p, n, false
	}
	t = o.Sub(l.centre).Dot(n) / c
	if !(t > tmin && t < tmax) {
		return 0, p, n, false
	}
	return t, o.Mad(t, d), n, true
}
