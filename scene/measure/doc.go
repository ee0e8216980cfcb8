// Package measure measures an eye's two shells: the globe, the cornea, the limbus, the pupil, the optical axis, the axial
// length, the gap between the shells, and which unit their lengths are likely in.
//
// Every result is a Value: a number with its standard error, the name of the definition by which it was measured, and
// how many vertices it rests on. What the mesh does not determine is "not held", with the reason, and has no number to
// lean on. Where two independent definitions measure one thing, both are given and so is whether they agree.
//
// Nothing here changes a mesh. Lengths are in the unit of the mesh; angles that are handed out are in degrees.
package measure
