// Package accel finds where rays meet triangle meshes. Build makes a bounding volume hierarchy once; Closest and
// Occluded then answer for any number of workers at a time, each with its own Scratch.
//
// The tree has up to eight children a node, found by collapsing a binary tree of the binned surface area heuristic
// at the least cost (sah.go). A leaf holds up to four pairs of triangles that share an edge (pair.go). Nodes and
// leaves are blocks of 256 bytes in one arena without pointers (arena.go).
//
// Traversal runs in single precision in a frame of its own, centred on the mesh and scaled by a power of two so that
// no coordinate exceeds 1. A ray that starts outside is first moved to the mesh's box in double precision, so that
// the precision of a hit does not depend on how far away the camera stands. The hit of the nearest triangle is then
// computed once more in double precision from the caller's own vertices (ray.go).
//
// Closed meshes do not leak. The triangle test projects along the ray and takes the signs of three edge functions
// whose two products are rounded alike for both triangles at an edge, so a ray cannot slip between them (Woop, Benthin
// and Wald, Watertight Ray/Triangle Intersection, JCGT 2(1), 2013; edges count as inside for both triangles, which
// makes the paper's double-precision fallback needless). Boxes are inflated by more than the rounding error of the
// box test (boxPad in arena.go has the sum).
//
// Two kernels walk the same arena: AVX2 assembly (kernel_amd64.s), where the processor has AVX2, FMA and BMI1, and
// plain Go (kernel_go.go) everywhere else and under the build tag purego. They agree but for the last bits.
package accel
