package lids

import (
	"errors"
	"fmt"
	"strings"

	"catchlight/scene/colour"
)

// Params describes a pair of lids; lengths in mm, angles in radians. Defaults is a grown person, Check states the ranges.
type Params struct {
	Outer  float64 // how far the outer corner lies from the middle of the eye, seen from the front; 0 is by age and globe
	Inner  float64 // how far the inner one does; 0 is by age and globe
	Height float64 // of the opening over the middle of the eye, between the rims' inner edges, seen from the front; 0 is by age
	Cover  float64 // how far the upper rim covers the iris
	Iris   float64 // radius of the iris that is seen
	Tilt   float64 // how far the outer corner lies above the inner one
	Rim    float64 // thickness of the lids' edge
	Gap    float64 // between lid and globe, where tears are
	Blink  float64 // 0 open to 1 closed

	UpperPeak float64 // how far nasal of the middle of the eye the upper rim is highest
	LowerPeak float64 // how far nasal of it the lower rim is lowest
	Globe     float64 // radius of the globe for Check, 0 where nobody knows; Build measures it

	Crease float64 // height of the upper lid's crease above the rim; 0 is none
	Fold   float64 // how far the skin above the crease stands out over it
	Age    float64 // 0 smooth to 1 lined: depth of fine creases and bags

	Colour   colour.RGB // of the skin, linear: corners take after it
	Lines    float64    // depth of the net of fine lines against that of a grown person; 0 is none
	Pores    float64    // number and depth of pores, likewise
	Freckles float64    // 0 to 1: share of places, some 2.4 mm apart, that have one

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
	DownReach   float64 // nor farther from it than this; it thins out over the last two fifths
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
		Cover: 1.5, Iris: 5.85, Tilt: 1.5, Rim: 2, Gap: 0.03, UpperPeak: 0.8, LowerPeak: -1.5, Globe: 12,
		Crease: 4, Fold: 1.1, Age: 0.4,
		Colour: colour.RGB{0.45, 0.295, 0.225}, Lines: 1, Pores: 1, Freckles: 0.06,
		UpperLash: 9, LowerLash: 6, LashDensity: 1, LashWidth: 0.09, LashCurl: 70, LashEu: 6,
		BrowDensity: 1, BrowLength: 8.5, BrowThick: 0.07, BrowWidth: 9, BrowHeight: 20.5, BrowArch: 4, BrowEu: 5, DownDensity: 1, DownLength: 1.25, DownThick: 0.022, DownBare: 1.2, DownReach: 15, DownEu: 0.05,
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
	if p.Outer != 0 {
		in("Outer", " mm", p.Outer, 5, 16)
	}
	if p.Inner != 0 {
		in("Inner", " mm", p.Inner, 8, 24)
	}
	if p.Height != 0 {
		in("Height", " mm", p.Height, 2, 16)
	}
	in("Blink", "", p.Blink, 0, 1)
	in("UpperPeak", " mm", p.UpperPeak, -2, 2)
	in("LowerPeak", " mm", p.LowerPeak, -2, 2)
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
	in("Lines", "", p.Lines, 0, 2)
	in("Pores", "", p.Pores, 0, 2)
	in("Freckles", "", p.Freckles, 0, 1)
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
	in("DownReach", " mm", p.DownReach, 1, 60)
	in("DownEu", "", p.DownEu, 0, 30)
	in("DownPh", "", p.DownPh, 0, 30)
	in("Tears", " mm", p.Tears, 0, 0.8)
	in("Asymmetry", "", p.Asymmetry, 0, 3)
	if p.Spacing != 0 {
		in("Spacing", " mm", p.Spacing, 50, 90)
	}
	in("Detail", " mm", p.Detail, 0.05, 1)
	if up, height := p.Iris-p.Cover, p.height(); up > highest || up-height > lowerMost || up-height < -highest {
		errs = append(errs, &ParamError{[]string{"Height", "Cover"}, fmt.Sprintf(
			"a height of %.4g and a cover of %g mm put the margins at %+.3g and %+.3g mm from the middle of the eye; the upper one may stand at most at %g, the lower one from %g to %g",
			height, p.Cover, up, up-height, highest, -highest, lowerMost)})
	}
	if p.Globe > 0 {
		if err := p.onGlobe(p.Globe); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// mostOuter is how far out on a globe, as a share of its radius, lids can still lie on it; leastInner is where the inner
// corner must have left it.
const mostOuter, leastInner = 0.97, 1.05

// onGlobe reports corners that a globe of radius r mm has no place for, or nil.
func (p *Params) onGlobe(r float64) error {
	outer, inner := p.corners(r)
	switch {
	case outer > mostOuter*r*(1+1e-9):
		return &ParamError{[]string{"Outer"}, fmt.Sprintf("%g mm is more than %.4g mm: lids lie on the globe, so the outer corner stands at most %g of its radius of %.4g mm from its middle", outer, mostOuter*r, mostOuter, r)}
	case inner < leastInner*r*(1-1e-9):
		return &ParamError{[]string{"Inner"}, fmt.Sprintf("%g mm is less than %.4g mm: the inner corner lies beside the globe, at least %g of its radius of %.4g mm from its middle", inner, leastInner*r, leastInner, r)}
	case inner > 2*r:
		return &ParamError{[]string{"Inner"}, fmt.Sprintf("%g mm is more than %.4g mm, twice the globe's radius", inner, 2*r)}
	}
	return nil
}
