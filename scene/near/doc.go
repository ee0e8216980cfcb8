// Package near answers questions about places beside a mesh: which of its triangles is nearest to a point and on which side of the
// surface that lies, which one a line meets first, and where the edges of one mesh pierce another.
//
//	Tree       a hierarchy of boxes over the triangles of a mesh, in float64; New makes it
//	Nearest    the nearest point, with the side
//	Ray        the first triangle along a line
//	Crossings  the places where two meshes pass through each other
//
// It serves measures, where every digit counts and no more than some million questions are asked; pictures have render/accel.
// Lengths are in the unit of the mesh. A Tree is not written to after New, so any number of goroutines may ask.
package near
