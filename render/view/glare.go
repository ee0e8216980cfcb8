package view

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

// Glare is how a lens spreads the light of a point: most of it stays, a share goes into a halo that falls off with the third power of
// the distance. The halo is 1/(2 pi a^2) (1 + (r/a)^2)^(-3/2) per px^2, whose integral over the plane is 1.
//
// Source: the profile of Moffat, A Theoretical Investigation of Focal Stellar Images in the Photographic Emulsion, Astron. Astrophys. 3
// (1969), 455, with the exponent 3/2, by which its tail falls as the first term, 10/theta^3, of the CIE equations for disability glare
// near the source (CIE 146:2002; from memory). Share and radius are common practice, no published source; lenses differ widely (Talvala et
// al., Veiling Glare in High Dynamic Range Imaging, SIGGRAPH 2007).
type Glare struct {
	Share  float64 // of the light, in the halo; [0, 1]
	Radius float64 // a, px, > 0
}

// scales are the Gaussians that the halo is made of: (1 + r^2/a^2)^(-3/2) is the integral over t of exp(-t (1 + r^2/a^2)) t^(1/2) over
// Gamma(3/2), and in it the Gaussian of sigma^2 = a^2/(2 t) has the energy t^(-1/2) exp(-t) dt / (2 Gamma(3/2)). The sum over
// powers of e^(1/2) of t leaves 0.2 % of the halo's energy beyond 500 radii, which its widest Gaussian takes.
func (g *Glare) scales() (sigma, weight []float64) {
	const step = 0.5
	sum := 0.0
	for u := -12.5; u <= 2; u += step {
		t := math.Exp(u)
		w := math.Sqrt(t) * math.Exp(-t)
		sigma, weight = append(sigma, g.Radius/math.Sqrt(2*t)), append(weight, w)
		sum += w
	}
	for i := range weight {
		weight[i] /= sum
	}
	return sigma, weight
}

// Spread returns what the lens makes of a linear picture, rows of width values from the top left, and of its coverage, by which it is
// multiplied. Beyond its borders the picture is taken to go on mirrored, so what leaves it comes back: the sum over the picture stays.
func (g *Glare) Spread(pic []colour.RGB, alpha []float64, width, workers int) ([]colour.RGB, []float64) {
	n, height := len(pic), len(pic)/width
	outPic, outAlpha := make([]colour.RGB, n), make([]float64, n)
	sigma, weight := g.scales()
	channel := func(get func(i int) float64, put func(i int, v float64)) {
		in, sum, tmp := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range in {
			in[i] = get(i)
			sum[i] = (1 - g.Share) * in[i]
		}
		// One after the other: a Gaussian of the next scale is that of the last, blurred by what is between them.
		now, var0 := append([]float64(nil), in...), 0.0
		for k := len(sigma) - 1; k >= 0; k-- {
			variance := sigma[k]*sigma[k] + 1./12 // a pixel is a square of that variance
			blur(now, tmp, width, height, variance-var0, workers)
			var0 = variance
			for i, v := range now {
				sum[i] += g.Share * weight[k] * v
			}
		}
		for i, v := range sum {
			put(i, v)
		}
	}
	for c := range 3 {
		channel(func(i int) float64 { return pic[i][c] }, func(i int, v float64) { outPic[i][c] = v })
	}
	channel(func(i int) float64 { return alpha[i] }, func(i int, v float64) { outAlpha[i] = v })
	return outPic, outAlpha
}

// blur blurs a picture by a kernel of the given variance in px^2 along each side, three boxes with ends of less than a pixel, mirrored at
// the borders. tmp is of the same size.
//
// Source: Gwosdek, Grewenig, Bruhn and Weickert, Theoretical Foundations of Gaussian Convolution by Extended Box Filtering, SSVM 2011.
func blur(p, tmp []float64, w, h int, variance float64, workers int) {
	const boxes = 3
	// Nothing is farther than a few picture sides away: a kernel that wide makes the picture even.
	r, end := extended(min(variance, 4*float64(w*w)) / boxes)
	s, endS := extended(min(variance, 4*float64(h*h)) / boxes)
	parallel.Each(h, workers, func(y int) {
		row, buf := p[y*w:(y+1)*w], tmp[y*w:(y+1)*w]
		for range boxes {
			box(row, buf, r, end)
			copy(row, buf)
		}
	})
	parallel.With(w, workers, func() *[2][]float64 { return &[2][]float64{make([]float64, h), make([]float64, h)} }, func(b *[2][]float64, x int) {
		for y := range h {
			b[0][y] = p[y*w+x]
		}
		for range boxes {
			box(b[0], b[1], s, endS)
			b[0], b[1] = b[1], b[0]
		}
		for y := range h {
			p[y*w+x] = b[0][y]
		}
	})
}

// extended returns the box of the given variance: 2 r + 1 values of weight 1 and one more at either end of the given smaller weight.
func extended(variance float64) (r int, end float64) {
	r = int((math.Sqrt(1+12*variance) - 1) / 2)
	f := float64(r)
	full := f * (f + 1) * (2*f + 1) / 3 // sum of squares within
	// (full + 2 end (r+1)^2)/(2 r + 1 + 2 end) = variance
	end = (variance*(2*f+1) - full) / (2 * ((f+1)*(f+1) - variance))
	return r, min(max(end, 0), 1)
}

// box writes the running mean of in, mirrored at both ends, to out.
func box(in, out []float64, r int, end float64) {
	n := len(in)
	at := func(i int) float64 { // the picture mirrored: ... 1 0 | 0 1 ... n-1 | n-1 n-2 ...
		i %= 2 * n
		if i < 0 {
			i += 2 * n
		}
		if i >= n {
			i = 2*n - 1 - i
		}
		return in[i]
	}
	sum := 0.0
	for i := -r; i <= r; i++ {
		sum += at(i)
	}
	scale := 1 / (float64(2*r+1) + 2*end)
	for i := range out {
		low, high := at(i-r-1), at(i+r+1)
		out[i] = max(0, (sum+end*(low+high))*scale)
		sum += high - at(i-r)
	}
}
