package light

import (
	"math"

	"catchlight/scene/colour"
)

// squareMetres turns mm^2 into m^2. It is the one place where the two units of this program meet: geometry in mm,
// radiometry in SI.
func squareMetres(area float64) float64 { return 1e-6 * area }

// PowerToRadiance returns the radiance, in W/(m^2 sr), of a surface that sends out the given power, in W, evenly from
// each face that shines and with the same radiance in all directions: power / (pi area). area is in mm^2, > 0, and
// counts both faces of a two-sided light.
func PowerToRadiance(power colour.RGB, area float64) colour.RGB {
	return power.Scale(1 / (math.Pi * squareMetres(area)))
}

// EmittingArea returns the area in mm^2 that a finite light shines from: both faces of a two-sided rectangle or disc,
// the outside of a sphere, without a window's bars; 0 for distant kinds.
func (l *Light) EmittingArea() float64 {
	a := l.area
	switch l.Kind {
	case Rectangle:
		a *= l.panes.open(l.w, l.h)
	case Sphere:
		return a
	}
	if l.TwoSided {
		a *= 2
	}
	return a
}

// Power returns what a finite light sends out, in W per channel (a sphere: on its outside); 0 for distant kinds.
func (l *Light) Power() colour.RGB {
	return l.radiance.Scale(math.Pi * squareMetres(l.EmittingArea()))
}
