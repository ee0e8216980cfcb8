// Package layout lays an eye's shells out in the texture plane and carries maps from one set of texture coordinates to another.
//
//	Disc    the front of an eye as one disc: the iris by its plane, with a chosen share of the disc; the white about it
//	Isle    what the disc leaves out, the back of an eye, as a small disc of its own in a corner
//
// The front of a sphere can't lie flat without stretch. Of all maps of a cap that keep directions about the axis, with a share of the
// radius given to the iris, that with one ratio of the two stretches everywhere has the least worst one: the integrals of f'/f and of
// 1/sin(phi) over the cap are fixed by the share and the cover, so none can have a better ratio all over.
//
// Angles are in radians from the optical axis, lengths in mm, texture coordinates run to the right and down with the axis in the
// middle. Distances in the plane are in shares of its side.
package layout
