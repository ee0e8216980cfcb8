// Package register compares two meshes that should lie on each other, and finds the motion that lays one on the other.
//
//	Sample    places spread over a mesh by area, with smooth normals
//	Apart     how far samples lie from a mesh
//	Fit       turn, shift and scale by point to plane, with what a round shape leaves undetermined
//	About     the turn about an axis from relief, which Fit can't see on a round shape
//	Cast      what rays from one mesh onto the other meet: what a bake would miss or hit wrongly
//
// Lengths are in the unit of the meshes, angles in radians. Results depend on the meshes and the number of samples alone.
//
// Sources: samples by area and distances both ways, Cignoni, Rocchini and Scopigno, Computer Graphics Forum 17 (1998), 167; point to
// plane, Chen and Medioni, Image and Vision Computing 10 (1992), 145; what is held by the eigenvalues of the normal equations,
// Gelfand, Ikemoto, Rusinkiewicz and Levoy, 3DIM 2003, 260.
package register
