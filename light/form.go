package light

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Form is the shape of a light that is not the surroundings, for those who draw it instead of sampling it.
type Form struct {
	Kind     Kind
	TwoSided bool
	Radiance colour.RGB
	Frame    geom.Frame // as in the constructors; N of a Distant points towards it
	Centre   geom.Vec   // mm; unused by Distant
	W, H     float64    // Rectangle: mm
	Radius   float64    // Disc, Sphere: mm; Distant: angular radius in rad
	NX, NY   int        // Rectangle: panes, at least 1
	Bar      float64    // Rectangle: mm between panes
	face     *face
}

// Form returns the light's shape; ok is false for Environment and Constant, which have none.
func (l *Light) Form() (f Form, ok bool) {
	if l.Kind == Environment || l.Kind == Constant {
		return f, false
	}
	f = Form{l.Kind, l.TwoSided, l.radiance, l.frame, l.centre, l.w, l.h, l.radius, max(1, l.panes.nx), max(1, l.panes.ny), l.panes.bar, l.face}
	return f, true
}

// Open returns the share of a rectangle that is not bars; 1 for the others.
func (f *Form) Open() float64 {
	if f.Kind != Rectangle {
		return 1
	}
	return OpenArea(f.W, f.H, f.NX, f.NY, f.Bar) / (f.W * f.H)
}

// Pane returns the corners of pane i of NX x NY, row by row, counter-clockwise as seen from where the rectangle shines.
func (f *Form) Pane(i int) [4]geom.Vec {
	px, py := (f.W+f.Bar)/float64(f.NX), (f.H+f.Bar)/float64(f.NY) // a pane and the bar after it
	x, y := float64(i%f.NX)*px-f.W/2, float64(i/f.NX)*py-f.H/2
	at := func(x, y float64) geom.Vec { return f.Centre.Mad(x, f.Frame.S).Mad(y, f.Frame.T) }
	return [4]geom.Vec{at(x, y), at(x+px-f.Bar, y), at(x+px-f.Bar, y+py-f.Bar), at(x, y+py-f.Bar)}
}

// Profiled reports whether the radiance differs over the face.
func (f *Form) Profiled() bool { return f.face != nil }

// At returns what the radiance is multiplied by at x and y mm from the middle along S and T, held at the edges; bars are left aside.
func (f *Form) At(x, y float64) float64 {
	if f.face == nil {
		return 1
	}
	if f.Kind == Disc {
		if r := math.Hypot(x, y) / (f.Radius * (1 - 1e-9)); r > 1 {
			x, y = x/r, y/r
		}
		return f.face.on(x, y)
	}
	return f.face.on(min(max(x, -f.W/2), f.W/2), min(max(y, -f.H/2), f.H/2))
}

// Solid returns the solid angle of a Distant light, sr.
func (f *Form) Solid() float64 { return 2 * math.Pi * (1 - math.Cos(f.Radius)) }
