// Package limbus finds from the outline of an eye's limbus in a picture where the camera stood. Film positions are in pixels
// from the top left, as in package camera; lengths are in mm.
//
//	points of the limbus (given, or Find) --Solve--> camera
package limbus
