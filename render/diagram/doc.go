// Package diagram draws what a scene is made of, without light: its triangles, where its texels go, heights, normals,
// roughness, zones and colours, as the camera of the scene sees them. A hand-over shows these beside the finished picture.
//
//	Draw     one Kind of a frozen scene, as a Drawing
//	Drawing  linear tones with coverage, and what they mean in words and numbers
//	Facets   how long the edges of triangles are in the picture, to choose a window in which they can be seen
//
// Of an eye, what belongs to a shell (Wire, Texels, Height, Normal) shows the outer shell on the left half of the picture, and on
// the right one the inner shell with the outer one taken off. Zones and Albedo look through the cornea, along bent rays.
//
// Lengths are in mm, picture positions in pixels from the top left. Tones are linear Rec. 709 in [0, 1]; each pixel is the mean of
// nine rays.
package diagram
