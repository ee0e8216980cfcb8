// Package denoise takes the grain out of a rendered picture by regression on noise-free pictures of the same scene. It is an
// approximation: the result is smoother than the light transport alone can say, and no longer unbiased. Callers offer it as
// a named option and keep the raw picture.
//
// Sources: Rousselle, Knaus, Zwicker, Adaptive rendering with non-local means filtering, ACM TOG 31 (2012), article 195, for
// the weights: distances between small patches, less what noise alone would make, taken from one half of the samples to
// filter the other. Moon, Carr, Yoon, Adaptive rendering based on weighted local regression, ACM TOG 33 (2014), article 170,
// and Bitterli et al., Nonlinearly weighted first-order regression for denoising Monte Carlo renderings, Computer Graphics
// Forum 35 (2016), 107, for the fit: colour as a linear function of features (first hits' albedo, normals, coverage) about
// each pixel.
//
// A picture is filtered tile by tile (tile.go) on planes in single precision (planes.go), eight pixels of a row at once: the weights
// of a window's 225 neighbours, the moments of the features under them, from these the coefficients of each pixel's fit (solve.go,
// in double precision), and from the coefficients what each neighbour counts. The loops over pixels are in assembly for AVX2, and
// once more in Go. Layers take the picture's weights and add up to it (layers.go). A picture too large for the memory is filtered in
// parts with a halo, to the same bits; what is known of it as a whole is Whole, taken before, and Balance, after.
package denoise
