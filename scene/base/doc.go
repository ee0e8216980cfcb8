// Package base makes a mesh to begin an eye with: clean quads at true scale whose order and texture coordinates are kept for ever, with
// loops where an eye bends or its colours change, and coarser meshes of the same loops for far shots.
//
//	Make     both shells, the tear strip and the occlusion strip of a level
//	Mesh     quads with places, normals and texture coordinates; Triangles cuts them along one diagonal that no shape changes
//	Outline  how far a level's edges lie inside the smooth eye
//
// A number, Version, names the order of vertices and faces and the texture coordinates: within one version they never change, whatever
// the eye's size. A level halves the sides of the one before; its vertices are a part of that one's, at the same places. The pupil, the
// collarette, the limbus, the equator and the seams are loops of every level.
//
// The front of both shells is a disc in the texture plane (package layout), the back of the eye and what lies behind the pupil are
// isles in its corners. The coordinates are those of the eye of the program's defaults.
//
// Lengths are in mm; the origin is the globe's centre, +Z out of the cornea, +Y up, the nose at +X in a right eye.
package base
