// Package bake makes maps of a high mesh on the texture coordinates of a low one.
//
//	Part     a mesh of a file with the look that it has
//	Solid    parts that rays meet together
//	Base     a low mesh: its frames, and the way that rays are cast from it
//	Bake     what is cast on what, with which settings; Block makes one block of texels
//	Planes   a map's raw values on disk, block by block, so that work can stop, go on and be done again in parts
//	Code     how values become whole numbers
//
// A ray begins outside a place of the low mesh, by the cage's distance along the smooth normal of its surface, and runs inward as far
// beneath it; the first surface that faces it is the place of the high mesh. All maps are made from there. Each texel takes the mean over
// the samples that lie inside its island.
//
// Normals are those of glTF 2.0: decoded by mesh.Tangents, of whose Decode they are the exact inverse. Lengths are in mm, curvatures in 1/mm.
// The same meshes and settings give the same bits whatever the number of workers, stops and parts.
//
// Sources: the formulas of occlusion and thickness are integrals over a cosine; points of both are those of Sobol's first two dimensions
// (Sobol 1967), shifted by exclusive or (Kollig and Keller, Efficient Multidimensional Sampling, 2002).
package bake
