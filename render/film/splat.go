package film

import (
	"math"
	"math/bits"
)

// Spread is where in their pixels the samples of one index lie, and what share of each goes to the pixels about. All pixels of a
// picture have the same, so the shares that a pixel gets sum to 1 however few samples there are.
type Spread struct {
	DX, DY float64 // from a pixel's middle, in [-0.5, 0.5] pixels
	reach  int
	light  []float64 // [row][column] of the pixels about, rows and columns -reach to reach; they sum to 1
	cover  []int64   // the same in units of coverUnit, with a sum of exactly 1
}

// coverUnit is the unit of coverages that are shared.
const coverUnit = 0x1p-40

// Reach returns how many pixels to either side of its own a sample may reach: of those whose middles lie nearer than the radius.
func (f Filter) Reach() int { return max(0, int(math.Ceil(f.radius+0.5))-1) }

// Spread maps u0, u1 in [0, 1] to a Spread.
//
// A sample drawn from the filter about some pixel's middle lies in the picture with a density that is the sum of the filters about all
// middles; given the place, what it was drawn for is the pixel p with a probability of p's filter there over that sum. Spread draws
// the place from the sum, and gives each pixel its probability in place of one pixel all: the same mean, with less variance (the theorem of Rao and
// Blackwell).
//
// Source: own derivation. Kollig and Keller, Efficient Multidimensional Sampling, Computer Graphics Forum 21 (2002), 557, for samples
// that pixels share; from memory.
func (f Filter) Spread(u0, u1 float64) *Spread {
	a := f.Reach()
	n := 2*a + 1
	s := &Spread{DX: f.fold(u0), DY: f.fold(u1), reach: a, light: make([]float64, n*n), cover: make([]int64, n*n)}
	wx, wy := f.shares(s.DX), f.shares(s.DY)
	rest := int64(1 / coverUnit)
	for y, v := range wy {
		for x, u := range wx {
			s.light[y*n+x] = u * v
			s.cover[y*n+x] = int64(u * v / coverUnit)
			rest -= s.cover[y*n+x]
		}
	}
	s.cover[a*n+a] += rest
	return s
}

// shares returns what the pixels -reach to reach have of a sample at d pixels from the middle of pixel 0.
func (f Filter) shares(d float64) []float64 {
	a := f.Reach()
	w := make([]float64, 2*a+1)
	sum := 0.0
	for k := range w {
		_, w[k] = f.along(d - float64(k-a))
		sum += w[k]
	}
	if !(sum > 0) { // at the very edge of a filter that reaches no further than its pixel
		w[a], sum = 1, 1
	}
	for k := range w {
		w[k] /= sum
	}
	return w
}

// fold inverts the distribution of a sample's place in its pixel, [-0.5, 0.5], by halving.
func (f Filter) fold(u float64) float64 {
	a := f.Reach()
	below := func(d float64) (p float64) {
		for k := -a; k <= a; k++ {
			to, _ := f.along(float64(k) + d)
			from, _ := f.along(float64(k) - 0.5)
			p += to - from
		}
		return p
	}
	lo, hi := -0.5, 0.5
	for range 48 {
		if mid := (lo + hi) / 2; below(mid) < u {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// along returns the distribution and the density of one offset, at x pixels.
func (f Filter) along(x float64) (cdf, pdf float64) {
	x /= f.radius
	switch {
	case x <= -1:
		return 0, 0
	case x >= 1:
		return 1, 0
	}
	switch f.kind {
	case Gaussian:
		cdf, pdf = 0.5+math.Erf(3*x/math.Sqrt2)/(2*inside), 3*math.Exp(-4.5*x*x)/(math.Sqrt(2*math.Pi)*inside)
	case Hann:
		cdf, pdf = hannAt(x)
	case Tent:
		pdf = 1 - math.Abs(x)
		if cdf = pdf * pdf / 2; x > 0 {
			cdf = 1 - cdf
		}
	default:
		cdf, pdf = (1+x)/2, 0.5
	}
	return cdf, pdf / f.radius
}

// alike returns how far the errors of pixels in a row go together where samples are shared: the correlation of those 0, 1, 2 ... pixels
// apart, of light that is equally noisy all over. Across rows it is the same, and that of any two pixels is the product. kept is the
// variance of a pixel over that of one whose samples are not shared, were they independent.
func (f Filter) alike() (r []float64, kept float64) {
	const steps = 64
	r = make([]float64, 2*f.Reach()+1)
	for i := range steps {
		d := (float64(i)+0.5)/steps - 0.5
		w, density := f.shares(d), 0.0
		for k := -f.Reach(); k <= f.Reach(); k++ {
			_, p := f.along(d - float64(k))
			density += p
		}
		for j := range r {
			for k := j; k < len(w); k++ {
				r[j] += density * w[k] * w[k-j] / steps
			}
		}
	}
	kept = r[0] * r[0]
	for j := len(r) - 1; j >= 0; j-- {
		r[j] /= r[0]
	}
	return r, kept
}

// Turn begins the samples of one index, of all pixels of a tile and, at the picture's edge, of those beyond it that reach into the picture; each must
// follow, by BeginAt and End. Indices of a replicate must come in order.
func (s *Sample) Turn(tile int, replicate uint32, w *Spread) {
	if s.block == nil || s.tile != tile {
		s.Release()
		s.Held = s.film.hold(tile, true)
	}
	b := s.block
	b.counts[replicate]++
	m := b.mass[int(replicate)*len(w.light):]
	for i, v := range w.light {
		m[i] += v
	}
}

// Sources returns the pixels of a tile whose samples Turn wants: x0 <= x < x1, y0 <= y < y1. Some may lie beyond the picture's edge.
func (f *Film) Sources(tile int) (x0, y0, x1, y1 int) {
	x0, y0, x1, y1 = f.Tile(tile)
	if x0 == 0 {
		x0 -= f.reach
	}
	if y0 == 0 {
		y0 -= f.reach
	}
	if x1 == f.width {
		x1 += f.reach
	}
	if y1 == f.height {
		y1 += f.reach
	}
	return x0, y0, x1, y1
}

// BeginAt starts a sample of the tile of the last Turn; x and y are its pixel.
func (s *Sample) BeginAt(x, y int, replicate uint32, w *Spread) {
	s.spread, s.replicate = w, int(replicate)
	s.x, s.y = x-s.X0, y-s.Y0
	s.begin()
}

// splat lays the sample begun into all pixels that it reaches.
func (s *Sample) splat() {
	b, w, side := s.block, s.spread, s.film.side
	a := w.reach
	n := 2*a + 1
	whole := len(s.film.layers)
	half := s.replicate & 1 * b.cells
	// Pixels of the block, from reach before the tile on; those beyond it are beyond the picture.
	for y := max(-a, s.y-a); y <= min(TileSize+a-1, s.y+a); y++ {
		for x := max(-a, s.x-a); x <= min(TileSize+a-1, s.x+a); x++ {
			cell, k := (y+a)*side+x+a, (y-s.y+a)*n+x-s.x+a
			v := w.light[k]
			b.cover[half+cell] += int64(s.alpha * float64(w.cover[k]))
			at := (s.replicate*b.cells + cell) * 3
			p := b.sums[at : at+3 : at+3]
			p[0] += v * s.sum[0]
			p[1] += v * s.sum[1]
			p[2] += v * s.sum[2]
			for u := s.used; u != 0; u &= u - 1 {
				i := bits.TrailingZeros64(u)
				l := &s.layer[i]
				if i < whole {
					q := b.layers[i][at : at+3 : at+3]
					q[0] += v * l[0]
					q[1] += v * l[1]
					q[2] += v * l[2]
					continue
				}
				i -= whole
				q := b.passes[i][cell*3 : cell*3+3 : cell*3+3]
				for c := range q {
					q[c].add(v * l[c])
				}
				if j := s.film.squares[i]; j >= 0 {
					root := math.Sqrt(v)
					q := b.squares[j][cell*3 : cell*3+3 : cell*3+3]
					for c := range q {
						q[c].addSquare(root * l[c])
					}
				}
			}
		}
	}
}

// Shared reports whether pixels share samples.
func (f *Film) Shared() bool { return f.splat != nil }
