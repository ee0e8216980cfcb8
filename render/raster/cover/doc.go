// Package cover turns triangles into covered samples: it clips, projects, and finds for each sample of a picture the nearest
// triangle, with its place in that triangle. It knows no materials and no lights.
//
//	View (world to clip) --Add (clip, snap)--> Pass (triangles) --Draw (tiles)--> Buffer (depth and triangle of each sample)
//	Pass.At (triangle, film position) --> the source triangle's barycentrics and how they change from pixel to pixel
//
// Film positions are those of package camera: pixels from the top left. Coverage is decided in whole numbers of 1/256 pixel, so
// triangles that share an edge share its samples out without gaps or doubles: a sample on the edge goes to the triangle whose top or
// left edge it is. Depth is reversed (1 at the near plane, 0 infinitely far) and affine over the picture.
//
// Sources: Pineda, A Parallel Algorithm for Polygon Rasterization, SIGGRAPH 1988 (edge functions); Blinn and Newell, Clipping Using
// Homogeneous Coordinates, SIGGRAPH 1978; Heckbert and Moreton, Interpolation for Polygon Texture Mapping and Shading, 1991
// (perspective-correct attributes); Lapidous and Jiao, Optimal Depth Buffer for Low-Cost Graphics Hardware, 1999 (reversed depth);
// Burns and Hunt, The Visibility Buffer, JCGT 2(2), 2013.
package cover
