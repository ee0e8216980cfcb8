// Package film gathers samples into a picture of mean radiances with an error for each pixel.
//
// A pixel holds K independent replicates; sample i belongs to replicate i mod K. Each replicate has float64 sums, to
// which samples are added in the order of their index; replicates are put together, in order, only by Develop. So the
// bits of a picture depend on neither the number of workers nor on how replicates were spread over machines. A worker
// owns whole tiles of 16 x 16 pixels, so nothing is locked. Samples land in the pixel they were drawn for: the
// reconstruction filter is a Filter, from which offsets within the picture are drawn.
//
// Or pixels share them (Config.Splat): a sample is laid into all pixels that the filter reaches, as far as they would have drawn it (Spread). A
// tile's block then holds what its own samples laid, in its pixels and in a rim about them, so nobody writes to another's tile; Hold puts a tile
// together from its block and the rims of its neighbours. Each replicate is a picture of its own still, so error bars are true for each pixel, but the
// errors of neighbours go together (Picture.Alike, Grain).
//
// A contribution comes in by one method, Sample.Add, which says what light it came from and what kind of path brought
// it. The whole picture has a sum of its own; layers that pick contributions by light or by class have others, and
// exist only when asked for, so asking changes no bit of the picture.
package film
