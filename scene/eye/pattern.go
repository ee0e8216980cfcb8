package eye

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// IrisPattern describes what an iris is made of. Its colour is layered: stroma scatters (more densely in fibres than
// between them) over a dark ground, and a brown pigment lies in and over it.
type IrisPattern struct {
	Stroma    float64    // scattering power of a full-thickness fibre, 0 to 2
	StromaHue colour.RGB // scattering by channel relative to its mean; short wavelengths scatter more
	Ground    colour.RGB // albedo of the dark layer beneath

	PupillaryPigment float64 // optical density (red) inside the collarette, 0 to 4
	CiliaryPigment   float64 // the same between collarette and outer ring
	OuterPigment     float64 // the same in the outermost millimetre
	PigmentHue       colour.RGB
	Patchiness       float64 // how unevenly pigment lies, 0 to 1
	Velvet           float64 // how far a pigmented border layer levels the fibres, 0 to 1

	LimbalRing float64 // darkening toward the root, 0 to 1
	Crypts     int     // openings in the upper deck, 0 to 80
	Furrows    int     // contraction furrows, 0 to 8
	Freckles   int     // pigment spots, 0 to 40
}

// Sector is a wedge of the iris with a pattern of its own, as in sectoral heterochromia.
type Sector struct {
	Pattern   IrisPattern
	At, Width float64 // middle, counter-clockwise from +X as seen from the front, and width; degrees; no width is none
}

// weight returns how much the sector's pattern counts at an angle; its sides are frayed along the fibres.
func (s *Sector) weight(theta, rho float64, seed uint64) float64 {
	if s.Width == 0 {
		return 0
	}
	sin, cos := math.Sincos(theta)
	fray := 0.10*noise3(seed+81, 5*cos, 5*sin, 1.3*rho) + 0.06*noise3(seed+82, 19*cos, 19*sin, 1.9*rho)
	off := math.Abs(turn(theta-geom.Radians(s.At))) - geom.Radians(s.Width)/2
	return geom.Smoothstep(0.06, -0.06, off+fray)
}

// Absorption of melanin by channel relative to red, at 620, 550 and 450 nm, from the power law of exponent -3.33.
// Source: Jacques and McAuliffe, Photochem. Photobiol. 53 (1991), 769.
var melanin = colour.RGB{1, 1.49, 2.91}

// The presets; their numbers are chosen by eye (common practice, no published source).
var patterns = map[string]IrisPattern{
	"hazel": {
		Stroma: 0.40, StromaHue: colour.RGB{1.0, 1.01, 0.92}, Ground: colour.RGB{0.024, 0.020, 0.018},
		PupillaryPigment: 1.2, CiliaryPigment: 0.48, OuterPigment: 0.36, PigmentHue: melanin, Patchiness: 0.6, Velvet: 0.15,
		LimbalRing: 0.75, Crypts: 26, Furrows: 4, Freckles: 5,
	},
	"grey-blue": {
		Stroma: 0.30, StromaHue: colour.RGB{0.84, 0.99, 1.15}, Ground: colour.RGB{0.022, 0.023, 0.026},
		PupillaryPigment: 0.14, CiliaryPigment: 0.02, OuterPigment: 0.02, PigmentHue: melanin, Patchiness: 0.5, Velvet: 0,
		LimbalRing: 0.8, Crypts: 30, Furrows: 3, Freckles: 2,
	},
	"brown": {
		Stroma: 0.6, StromaHue: colour.RGB{1.0, 1.0, 1.0}, Ground: colour.RGB{0.020, 0.015, 0.013},
		PupillaryPigment: 1.25, CiliaryPigment: 1.5, OuterPigment: 1.8, PigmentHue: melanin, Patchiness: 0.35, Velvet: 0.55,
		LimbalRing: 0.55, Crypts: 18, Furrows: 5, Freckles: 4,
	},
	"green": {
		Stroma: 0.4, StromaHue: colour.RGB{0.88, 1.04, 1.08}, Ground: colour.RGB{0.023, 0.022, 0.020},
		PupillaryPigment: 0.62, CiliaryPigment: 0.30, OuterPigment: 0.22, PigmentHue: melanin, Patchiness: 0.4, Velvet: 0.08,
		LimbalRing: 0.75, Crypts: 26, Furrows: 4, Freckles: 4,
	},
	"amber": {
		Stroma: 1.1, StromaHue: colour.RGB{1.0, 1.0, 1.0}, Ground: colour.RGB{0.045, 0.03, 0.018},
		PupillaryPigment: 0.62, CiliaryPigment: 0.45, OuterPigment: 0.6, PigmentHue: colour.RGB{0.35, 1.15, 4}, Patchiness: 0.4, Velvet: 0.35,
		LimbalRing: 0.4, Crypts: 8, Furrows: 3, Freckles: 0,
	},
}

// PatternNames returns the names that Pattern knows, sorted.
func PatternNames() []string {
	var names []string
	for n := range patterns {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// Pattern returns a preset by name, or an error that lists the names.
func Pattern(name string) (IrisPattern, error) {
	if p, ok := patterns[name]; ok {
		return p, nil
	}
	return IrisPattern{}, fmt.Errorf("iris pattern: %q is unknown (known: %s)", name, strings.Join(PatternNames(), ", "))
}

func (p *IrisPattern) check(c *checker, name string) {
	c.in(name+".Stroma", "", p.Stroma, 0, 2)
	for i := range 3 {
		c.in(fmt.Sprintf("%s.StromaHue[%d]", name, i), "", p.StromaHue[i], 0, 3)
		c.in(fmt.Sprintf("%s.Ground[%d]", name, i), "", p.Ground[i], 0, 0.2)
		c.in(fmt.Sprintf("%s.PigmentHue[%d]", name, i), "", p.PigmentHue[i], 0, 10)
	}
	c.in(name+".PupillaryPigment", "", p.PupillaryPigment, 0, 4)
	c.in(name+".CiliaryPigment", "", p.CiliaryPigment, 0, 4)
	c.in(name+".OuterPigment", "", p.OuterPigment, 0, 4)
	c.in(name+".Patchiness", "", p.Patchiness, 0, 1)
	c.in(name+".Velvet", "", p.Velvet, 0, 1)
	c.in(name+".LimbalRing", "", p.LimbalRing, 0, 1)
	c.in(name+".Crypts", "", float64(p.Crypts), 0, 80)
	c.in(name+".Furrows", "", float64(p.Furrows), 0, 8)
	c.in(name+".Freckles", "", float64(p.Freckles), 0, 40)
}
