package lids

import (
	"errors"
	"fmt"
	"strings"

	"catchlight/scene/colour"
)

// Params describes a pair of lids; lengths in mm, angles in radians. Defaults is a grown person, Check states the ranges.
type Params struct {
	Width  float64 // of the opening, corner to corner
	Height float64 // of the opening over the middle of the eye, between the rims' inner edges, seen from the front
	Cover  float64 // how far the upper rim covers the iris
	Iris   float64 // radius of the iris that is seen
	Tilt   float64 // how far the outer corner lies above the inner one
	Rim    float64 // thickness of the lids' edge
	Gap    float64 // between lid and globe, where tears are

	Crease float64 // height of the upper lid's crease above the rim; 0 is none
	Fold   float64 // how far the skin above the crease stands out over it
	Age    float64 // 0 smooth to 1 lined: depth of fine creases and bags

	Colour colour.RGB // of the skin, linear

	UpperLash   float64 // length of the upper lashes in the middle
	LowerLash   float64
	LashDensity float64 // 1 is 120 upper and 75 lower ones
	LashWidth   float64 // diameter at the root
	LashCurl    float64 // how far an upper lash turns from root to tip, degrees
	LashEu      float64 // eumelanin and pheomelanin, as of a strand.Set
	LashPh      float64

	BrowDensity float64 // 1 is 350 hairs a side; 0 is none
	BrowLength  float64 // of the hairs in the brow's body
	BrowThick   float64 // diameter of a hair at its root
	BrowWidth   float64 // of the brow at its widest
	BrowHeight  float64 // of its middle over the middle of the eye
	BrowArch    float64 // how far its peak stands above its head
	BrowEu      float64
	BrowPh      float64

	DownDensity float64 // of fine hair: 1 is 170 a cm^2; 0 is none
	DownLength  float64
	DownThick   float64 // diameter of a hair at its root
	DownBare    float64 // no hair stands nearer the opening than this
	DownEu      float64
	DownPh      float64

	Tears float64 // height of the strip of tears; 0 is none

	Asymmetry float64 // how far left and right of a pair differ: 1 as people's do, 0 not but for seeds

	Spacing float64 // between the eyes of a pair; 0 is one eye
	Seed    uint64
	Detail  float64 // length of the skin's facets near the rim
}

// Defaults returns a grown person's lids; see the package comment for sources.
func Defaults() Params {
	return Params{
		Width: 30, Height: 10, Cover: 1.5, Iris: 5.85, Tilt: 1.5, Rim: 2, Gap: 0.05,
		Crease: 4, Fold: 1.1, Age: 0.4,
		Colour:    colour.RGB{0.45, 0.295, 0.225},
		UpperLash: 9, LowerLash: 6, LashDensity: 1, LashWidth: 0.09, LashCurl: 70, LashEu: 6,
		BrowDensity: 1, BrowLength: 8.5, BrowThick: 0.07, BrowWidth: 9, BrowHeight: 20.5, BrowArch: 4, BrowEu: 5, DownDensity: 1, DownLength: 1.25, DownThick: 0.022, DownBare: 1.2, DownEu: 0.05,
		Tears: 0.24, Asymmetry: 1, Seed: 1, Detail: 0.12,
	}
}

// ParamError says what is wrong with one parameter or with several taken together.
type ParamError struct {
	Names []string // fields of Params, the one to change first
	Text  string
}

func (e *ParamError) Error() string { return strings.Join(e.Names, ", ") + ": " + e.Text }

// Check reports every parameter outside its range, joined, or nil.
func (p *Params) Check() error {
	var errs []error
	in := func(name, unit string, v, lo, hi float64) {
		if !(v >= lo && v <= hi) { // also catches NaN
			errs = append(errs, &ParamError{[]string{name}, fmt.Sprintf("%g is outside [%g, %g]%s", v, lo, hi, unit)})
		}
	}
	in("Width", " mm", p.Width, 20, 40)
	in("Height", " mm", p.Height, 2, 16)
	in("Cover", " mm", p.Cover, -3, 6)
	in("Iris", " mm", p.Iris, 4, 8)
	in("Tilt", " mm", p.Tilt, -4, 6)
	in("Rim", " mm", p.Rim, 1, 3.5)
	in("Gap", " mm", p.Gap, 0.02, 0.5)
	in("Crease", " mm", p.Crease, 0, 10)
	in("Fold", " mm", p.Fold, 0, 3)
	in("Age", "", p.Age, 0, 1)
	for i, v := range p.Colour {
		in(fmt.Sprintf("Colour[%d]", i), "", v, 0.01, 0.9)
	}
	in("UpperLash", " mm", p.UpperLash, 0, 16)
	in("LowerLash", " mm", p.LowerLash, 0, 12)
	in("LashDensity", "", p.LashDensity, 0, 3)
	in("LashWidth", " mm", p.LashWidth, 0.02, 0.3)
	in("LashCurl", " degrees", p.LashCurl, 0, 84)
	in("LashEu", "", p.LashEu, 0, 30)
	in("LashPh", "", p.LashPh, 0, 30)
	in("BrowDensity", "", p.BrowDensity, 0, 3)
	in("BrowLength", " mm", p.BrowLength, 0, 16)
	in("BrowThick", " mm", p.BrowThick, 0.02, 0.3)
	in("BrowWidth", " mm", p.BrowWidth, 2, 20)
	in("BrowHeight", " mm", p.BrowHeight, 14, 30)
	in("BrowArch", " mm", p.BrowArch, -4, 10)
	in("BrowEu", "", p.BrowEu, 0, 30)
	in("BrowPh", "", p.BrowPh, 0, 30)
	in("DownDensity", "", p.DownDensity, 0, 6)
	in("DownLength", " mm", p.DownLength, 0, 12)
	in("DownThick", " mm", p.DownThick, 0.01, 0.1)
	in("DownBare", " mm", p.DownBare, 0.5, 6)
	in("DownEu", "", p.DownEu, 0, 30)
	in("DownPh", "", p.DownPh, 0, 30)
	in("Tears", " mm", p.Tears, 0, 0.8)
	in("Asymmetry", "", p.Asymmetry, 0, 3)
	if p.Spacing != 0 {
		in("Spacing", " mm", p.Spacing, 50, 90)
	}
	in("Detail", " mm", p.Detail, 0.05, 1)
	if up := p.Iris - p.Cover; up > highest || up-p.Height > lowerMost || up-p.Height < -highest {
		errs = append(errs, &ParamError{[]string{"Height", "Cover"}, fmt.Sprintf(
			"a height of %g and a cover of %g mm put the margins at %+.3g and %+.3g mm from the middle of the eye; the upper one may stand at most at %g, the lower one from %g to %g",
			p.Height, p.Cover, up, up-p.Height, highest, -highest, lowerMost)})
	}
	return errors.Join(errs...)
}
