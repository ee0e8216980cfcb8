package eye

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"catchlight/scene/colour"
)

// Params describes an eye; lengths in mm. Defaults is a full-grown eye, Check states the ranges.
type Params struct {
	GlobeRadius  float64 // scleral sphere
	CorneaRadius float64 // radius of curvature at the corneal apex
	Asphericity  float64 // conic constant Q of the cornea; 0 is a sphere, negative flattens toward the rim

	LimbusRadius float64 // half chord at which cornea and sclera would meet if they were not blended
	LimbusWidth  float64 // width of the blend, measured in half chord

	LimbusReach float64 // how far the opaque white reaches in over the cornea above and below; 0.3 of it at the sides

	IrisDepth     float64 // pupil plane behind the corneal apex
	IrisConvexity float64 // how far the pupil margin stands forward of the iris root
	IrisRelief    float64 // height between ridges and the floors of crypts

	PupilDiameter float64    // physical; seen through the cornea it is about 1.13 times as wide
	PupilOffset   [2]float64 // centre of the pupil, x and y
	PupilShape    Pupil      // round, or a slit or bar
	PupilAspect   float64    // long over short axis of a slit or bar; PupilDiameter is the long one
	PupilClosed   bool       // covers the pupil with iris tissue; for energy checks
	PupilRagged   float64    // departure of the pupil margin from a circle, as a share of its radius

	ShellGap float64 // depth of the inner shell below the outer one in the sclera zone

	WobbleSlopeCornea float64 // root-mean-square slope of the outer shell's displacement
	WobbleSlopeSclera float64
	WobbleSize        float64 // longest wavelength of the displacement; shorter octaves carry less slope

	Pattern IrisPattern
	Sector  Sector
	Zones   Grades // how zones of the iris depart from it

	ScleraColour colour.RGB // colour of the sclera as seen under diffuse light, linear
	Redness      float64    // how much the sclera reddens away from the limbus, 0 to 1
	Mottling     float64    // how uneven the sclera is, 0 to 2
	Veins        float64    // strength of the vessels: 0 none, 1 rested, 2 tired, 3 bloodshot
	Generic      float64    // 0 to 1: tones vessels and mottling down, for an eye that many faces share
	Arcus        float64    // 0 to 1: pale arc within the rim of the iris, as age brings
	Cloud        float64    // 0 to 1: a clouded cornea, as a veil over the iris
	Left         bool       // a left eye: its nose side is -X

	Paint []Layer // what is painted, in order
	Own   *Own    // strands of one's own in the iris; nil for the built ones

	Seed       uint64  // of every random choice
	MeshDetail float64 // target edge length of the outer shell; the iris is eight times as fine
	MapSize    int     // edge of the square colour map, pixels
	IrisShare  float64 // radius of the limbus in the map as a share of the map's radius
}

// Pupil is the shape of a pupil.
type Pupil uint8

// The shapes: a circle, an upright slit with pointed ends (cats), a bar that lies level (goats).
const (
	Round Pupil = iota
	Slit
	Bar
)

// PupilShape returns the shape of that name, or an error.
func PupilShape(name string) (Pupil, error) {
	switch name {
	case "round":
		return Round, nil
	case "slit":
		return Slit, nil
	case "bar":
		return Bar, nil
	}
	return Round, fmt.Errorf("pupil shape: %q is unknown (known: round, slit, bar)", name)
}

// DetailFor returns the edge length (mm) at which facets on a sphere of the given radius (mm) lie at most silhouette mm
// inside it: a chord l sags l^2/(8 R), and the longest is the diagonal of a square of that edge.
func DetailFor(silhouette, radius float64) float64 { return math.Sqrt(4 * radius * silhouette) }

// Defaults returns a full-grown human eye with a hazel iris.
//
// Those that a scene file has a key for are its defaults; the tags of the description say where each comes from. The
// others (convexity, ragged pupil, gap between the shells, edge length) are our own, by eye.
func Defaults() Params {
	hazel, _ := Pattern("hazel")
	return Params{
		GlobeRadius:       12,
		CorneaRadius:      7.8,
		Asphericity:       -0.26,
		LimbusRadius:      5.85,
		LimbusWidth:       0.9,
		LimbusReach:       0.55,
		IrisDepth:         3.6,
		IrisConvexity:     0.2,
		IrisRelief:        0.2,
		PupilDiameter:     3.6,
		PupilOffset:       [2]float64{0.2, 0.05},
		PupilRagged:       0.022,
		PupilAspect:       3,
		ShellGap:          0.04,
		WobbleSlopeCornea: 0.012,
		WobbleSlopeSclera: 0.02,
		WobbleSize:        4,
		Pattern:           hazel,
		Zones:             EvenZones(),
		ScleraColour:      colour.RGB{0.70, 0.64, 0.60},
		Redness:           0.5,
		Mottling:          1,
		Veins:             1,
		Paint:             DefaultPaint(),
		Seed:              1,
		MeshDetail:        0.2,
		MapSize:           2048,
		IrisShare:         0.5,
	}
}

// ParamError says what is wrong with one parameter or with several taken together.
type ParamError struct {
	Names []string // fields of Params, the one to change first
	Text  string
}

func (e *ParamError) Error() string { return strings.Join(e.Names, ", ") + ": " + e.Text }

// checker gathers errors of parameters.
type checker struct{ errs []error }

// in wants v within [lo, hi]; name is a field of Params, unit may be empty.
func (c *checker) in(name, unit string, v, lo, hi float64) {
	if !(v >= lo && v <= hi) { // also catches NaN
		if unit != "" {
			unit = " " + unit
		}
		c.fail([]string{name}, "%g is outside [%g, %g]%s", v, lo, hi, unit)
	}
}

func (c *checker) fail(names []string, format string, a ...any) {
	c.errs = append(c.errs, &ParamError{names, fmt.Sprintf(format, a...)})
}

// Check reports every parameter outside its range, joined, or nil. It also rejects parameters that are each in range
// but would let the shells touch.
//
// Long: a list of ranges, then one relation after the other.
func (p *Params) Check() error {
	var c checker
	c.in("GlobeRadius", "mm", p.GlobeRadius, 5, 30)
	c.in("CorneaRadius", "mm", p.CorneaRadius, 3.5, 16)
	c.in("Asphericity", "", p.Asphericity, -0.9, 0.5)
	c.in("LimbusRadius", "mm", p.LimbusRadius, 2.5, 14)
	c.in("LimbusWidth", "mm", p.LimbusWidth, 0.4, 2.5)
	c.in("LimbusReach", "mm", p.LimbusReach, 0, 1)
	c.in("IrisDepth", "mm", p.IrisDepth, 1.5, 7)
	c.in("IrisConvexity", "mm", p.IrisConvexity, 0, 0.6)
	c.in("IrisRelief", "mm", p.IrisRelief, 0, 0.3)
	c.in("PupilDiameter", "mm", p.PupilDiameter, 1.5, 8)
	c.in("PupilOffset[0]", "mm", p.PupilOffset[0], -0.6, 0.6)
	c.in("PupilOffset[1]", "mm", p.PupilOffset[1], -0.6, 0.6)
	c.in("PupilRagged", "", p.PupilRagged, 0, 0.05)
	c.in("ShellGap", "mm", p.ShellGap, 0.01, 0.3)
	c.in("WobbleSize", "mm", p.WobbleSize, 0.5, 10)
	// Slopes above 0.01 per mm of wavelength fold the picture seen through the cornea: common practice.
	c.in("WobbleSlopeCornea", "", p.WobbleSlopeCornea, 0, 0.01*p.WobbleSize)
	c.in("WobbleSlopeSclera", "", p.WobbleSlopeSclera, 0, 0.01*p.WobbleSize)
	for i, v := range p.ScleraColour {
		c.in(fmt.Sprintf("ScleraColour[%d]", i), "", v, 0.02, 0.95)
	}
	c.in("Redness", "", p.Redness, 0, 1)
	c.in("Mottling", "", p.Mottling, 0, 2)
	c.in("Veins", "", p.Veins, 0, 3)
	c.in("Generic", "", p.Generic, 0, 1)
	c.in("Arcus", "", p.Arcus, 0, 1)
	c.in("Cloud", "", p.Cloud, 0, 1)
	c.in("PupilAspect", "", p.PupilAspect, 1, 10)
	c.in("PupilShape", "", float64(p.PupilShape), float64(Round), float64(Bar))
	c.in("IrisShare", "", p.IrisShare, 0.3, 0.8)
	c.in("MeshDetail", "mm", p.MeshDetail, 0.08, 2)
	c.in("MapSize", "px", float64(p.MapSize), 64, 8192)
	p.Pattern.check(&c, "Pattern")
	p.checkPaint(&c)
	if p.Own != nil {
		if err := p.Own.Check(); err != nil {
			c.errs = append(c.errs, err)
		}
	}
	if c.in("Sector.Width", "degrees", p.Sector.Width, 0, 360); p.Sector.Width > 0 {
		c.in("Sector.At", "degrees", p.Sector.At, -360, 360)
		p.Sector.Pattern.check(&c, "Sector.Pattern")
	}
	if len(c.errs) > 0 {
		return errors.Join(c.errs...)
	}

	end := p.LimbusRadius + p.LimbusWidth/2
	if end > 0.85*p.GlobeRadius {
		c.fail([]string{"LimbusRadius", "LimbusWidth", "GlobeRadius"}, "a limbus that ends %.4g mm from the axis does not fit on a globe of radius %g mm: 0.85 of it at most", end, p.GlobeRadius)
	}
	if lim := p.CorneaRadius * 0.95; math.Sqrt(1+p.Asphericity)*end > lim {
		c.fail([]string{"LimbusRadius", "LimbusWidth", "CorneaRadius", "Asphericity"}, "a cornea of radius %g mm and asphericity %g does not reach the limbus's end %.4g mm from the axis, but %.3g mm",
			p.CorneaRadius, p.Asphericity, end, lim/math.Sqrt(1+p.Asphericity))
	}
	rp := p.PupilDiameter / 2 * (1 + p.PupilRagged)
	if reach := rp + math.Hypot(p.PupilOffset[0], p.PupilOffset[1]); reach > p.irisRadius()-0.8 {
		c.fail([]string{"PupilDiameter", "PupilOffset"}, "the pupil reaches %.3g mm from the axis, but the iris ends at %.3g mm and needs 0.8 mm of width",
			reach, p.irisRadius())
	}
	if len(c.errs) > 0 {
		return errors.Join(c.errs...)
	}

	prof := newProfile(p)
	if prof.apex < p.GlobeRadius {
		c.fail([]string{"CorneaRadius", "GlobeRadius"}, "a cornea of radius %g mm is flatter than the globe: its apex lies %.3g mm inside", p.CorneaRadius, p.GlobeRadius-prof.apex)
	}
	if z := prof.apex - p.IrisDepth; z < 0.4*p.GlobeRadius {
		c.fail([]string{"IrisDepth"}, "%g mm puts the iris %.3g mm in front of the globe's centre, which wants 0.4 of the globe's radius, %.3g mm, at least", p.IrisDepth, z, 0.4*p.GlobeRadius)
	}
	// The iris nears the outer shell most at its margin or its root. Relief stands up by about 0.7 of IrisRelief and the
	// wobble dips by four standard deviations at most (own computation); fluid must be left between.
	dip := 4 * p.WobbleSlopeCornea * p.WobbleSize / (2 * math.Pi)
	for _, r := range []float64{0, p.PupilDiameter / 2, p.irisRadius()} {
		z, _, _ := prof.at(r)
		if room := z - (prof.apex - p.IrisDepth) - p.IrisRelief - dip; room < 0.3 {
			c.fail([]string{"IrisDepth", "IrisRelief", "WobbleSlopeCornea"}, "%g mm leaves only %.3g mm between iris and cornea at %.3g mm from the axis (at least 0.3 mm)", p.IrisDepth, room, r)
			break
		}
	}
	// Facets of edge l sag l^2/(8 R) below a surface of radius R; where the shells' facets differ, at the limbus, R is
	// about a third of the globe's.
	if sag := p.MeshDetail * p.MeshDetail / (8 * p.GlobeRadius / 3); sag > 0.5*p.ShellGap {
		c.fail([]string{"MeshDetail", "ShellGap"}, "facets of %.3g mm sag %.3g mm, more than half of the %g mm between the shells", p.MeshDetail, sag, p.ShellGap)
	}
	return errors.Join(c.errs...)
}

// nasal returns the x direction of the nose: +1 in a right eye, -1 in a left one.
func (p *Params) nasal() float64 {
	if p.Left {
		return -1
	}
	return 1
}

// irisRadius returns the radius at which the fibres of the iris end, 5.36 mm by default. The wall begins there or further in: it is
// kept gentle, as a steep one seen through the cornea is a hard line. The colour of the iris runs on up the wall, so the
// iris that is seen is wider, about 11.7 mm.
func (p *Params) irisRadius() float64 { return p.LimbusRadius - 0.55*p.LimbusWidth }

// lipRadius returns the radius at which the inner shell has come up to just below the outer one. Seen from aside it is the edge of the white, so
// it lies within the step of the colours: outside it that edge was a knife's.
func (p *Params) lipRadius() float64 { return p.LimbusRadius + 0.22*p.LimbusWidth }
