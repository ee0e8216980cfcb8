// Package atlas lays a mesh out in the picture of its texture coordinates, for what is baked or carried over.
//
//	Sheet    one tile of texture space as texels, drawn in blocks of Side x Side; each texel has N x N samples
//	Block    the places of the mesh that a block's samples lie on
//	Tiles    the tiles that a mesh's coordinates lie on
//	Padding  the nearest covered texel of each texel (exact), and how the rest of a picture is filled
//	Dither   values as whole numbers, with triangular noise of a code
//
// A sample on an edge that two triangles share belongs to exactly one of them. Texture coordinates run to the right and down, as
// everywhere here. Results depend on mesh and sizes alone.
//
// Sources: exact distances, Felzenszwalb and Huttenlocher, Distance Transforms of Sampled Functions, Theory of Computing 8 (2012);
// filling the rest from smaller copies, Gortler et al., The Lumigraph, SIGGRAPH 1996, section 3.4; triangular noise, Lipshitz,
// Wannamaker and Vanderkooy, Quantization and Dither, JAES 40 (1992).
package atlas
