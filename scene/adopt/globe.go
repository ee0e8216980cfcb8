package adopt

import "catchlight/scene/geom"

// Globe is the size and place of an eye, in mm after unit and factor and in the file's axes.
type Globe struct {
	Centre geom.Vec // on the axis
	Radius float64  // of the sphere that most of it lies on
	Axis   geom.Vec // unit, out of the cornea
	Limbus float64  // its radius
	Length float64  // along the axis, front pole to back pole
	Apex   float64  // height of the front pole above Centre
}
