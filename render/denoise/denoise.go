package denoise

import (
	"fmt"
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

const (
	reach   = 7    // pixels to either side whose colours count: 15 x 15
	patch   = 2    // pixels to either side of a patch: 5 x 5
	strict  = 0.5  // how far patches may differ, in standard deviations of noise (k of Rousselle et al.)
	ridge   = 2e-3 // of the summed weight, on features scaled to a variance of one: keeps fits with few neighbours tame
	unsure  = 4    // times the variance of its surroundings that a pixel may have and count in full
	around  = 3    // pixels to either side of those surroundings: 7 x 7
	hold    = 0.1  // added to that: a few neighbours alone give no slope
	tile    = 32   // pixels
	least   = 1e-9 // added to variances, as a share of the picture's own mean square
	maxDims = 12   // features
)

// Input is a picture in two independent halves, rows of W pixels from the top left.
type Input struct {
	W, H     int
	Half     [2][]colour.RGB // mean of either half of the samples
	Var      [2][]colour.RGB // variance of either mean by channel, told by that half's own samples
	Features [][]float32     // planes of W x H with little or no noise; at most 12
	Alpha    [2][]float64    // mean coverage of either half, to be filtered with the colours' weights; nil for none
	Covered  []float32       // what Alpha is in the mean, with noise of its own: the filter is for the difference; nil takes 0
	Trust    float64         // of Covered: its samples a pixel over those of a half
}

func (in *Input) check() error {
	n := in.W * in.H
	if in.W < 1 || in.H < 1 || len(in.Half[0]) != n || len(in.Half[1]) != n || len(in.Var[0]) != n || len(in.Var[1]) != n {
		return fmt.Errorf("denoise: %d x %d pixels, but halves of %d and %d and variances of %d and %d", in.W, in.H, len(in.Half[0]), len(in.Half[1]), len(in.Var[0]), len(in.Var[1]))
	}
	for k, a := range in.Alpha {
		if len(a) != len(in.Alpha[0]) || len(a) != 0 && len(a) != n {
			return fmt.Errorf("denoise: %d x %d pixels, but half %d has a coverage of %d", in.W, in.H, k, len(a))
		}
	}
	if len(in.Covered) != 0 && len(in.Covered) != n {
		return fmt.Errorf("denoise: %d x %d pixels, but %d expected coverages", in.W, in.H, len(in.Covered))
	}
	if len(in.Features) > maxDims {
		return fmt.Errorf("denoise: %d features, at most %d", len(in.Features), maxDims)
	}
	for i, f := range in.Features {
		if len(f) != n {
			return fmt.Errorf("denoise: feature %d has %d pixels, not %d", i, len(f), n)
		}
	}
	return nil
}

// Clean returns the picture without grain, and what the filter alone had taken off the picture's mean, which is back in it. The
// bits do not depend on the number of workers.
func Clean(in *Input, workers int) (out []colour.RGB, taken colour.RGB, err error) {
	out, _, taken, err = WithAlpha(in, workers)
	return out, taken, err
}

// WithAlpha is Clean, and also returns the coverage without grain where the input has one.
func WithAlpha(in *Input, workers int) (out []colour.RGB, alpha []float64, taken colour.RGB, err error) {
	if err := in.check(); err != nil {
		return nil, nil, taken, err
	}
	c := &cleaner{Input: in, out: make([]colour.RGB, in.W*in.H), alpha: make([]float64, len(in.Alpha[0]))}
	for k := range 2 {
		c.variance[k] = c.spread(in.Var[k], 1)
		c.usual[k] = c.spread(in.Var[k], around)
	}
	c.floor()
	c.scale()
	nx, ny := (in.W+tile-1)/tile, (in.H+tile-1)/tile
	parallel.With(nx*ny, workers, func() *worker { return newWorker(len(in.Features)) }, func(b *worker, i int) {
		if len(c.alpha) > 0 && b.cover == nil {
			b.cover = make([]float64, tile*tile*b.dims)
		}
		for half := range 2 {
			c.tile(b, i%nx*tile, i/nx*tile, half)
		}
	})
	taken = c.giveBack()
	c.keepCoverage()
	return c.out, c.alpha, taken, nil
}

type cleaner struct {
	*Input
	variance [2][]colour.RGB // mean of Var over 3 x 3 pixels
	usual    [2][]colour.RGB // mean of Var over the surroundings
	features []float32       // [pixel][feature], scaled to a variance of one
	eps      float64
	out      []colour.RGB
	alpha    []float64 // empty without coverage
}

// spread returns the variances' means over windows that reach r pixels to either side: few replicates tell a pixel's own to no
// better than a factor of two.
func (c *cleaner) spread(of []colour.RGB, r int) []colour.RGB {
	out := make([]colour.RGB, c.W*c.H)
	for y := range c.H {
		for x := range c.W {
			var s colour.RGB
			n := 0.0
			for v := max(0, y-r); v <= min(c.H-1, y+r); v++ {
				for u := max(0, x-r); u <= min(c.W-1, x+r); u++ {
					if q := of[v*c.W+u]; !math.IsNaN(q[0] + q[1] + q[2]) {
						s = s.Add(q)
						n++
					}
				}
			}
			out[y*c.W+x] = s.Scale(1 / max(1, n))
		}
	}
	return out
}

// floor sets what is added to variances.
func (c *cleaner) floor() {
	sum := 0.0
	for _, a := range c.Half[0] {
		sum += a[0]*a[0] + a[1]*a[1] + a[2]*a[2]
	}
	c.eps = least*sum/float64(3*c.W*c.H) + 1e-30
}

// scale lays the features out pixel by pixel, each with a variance of one over the picture.
func (c *cleaner) scale() {
	d := len(c.Features)
	c.features = make([]float32, d*c.W*c.H)
	for k, f := range c.Features {
		var s, q float64
		for _, v := range f {
			s += float64(v)
			q += float64(v) * float64(v)
		}
		n := float64(len(f))
		dev := math.Sqrt(max(0, q/n-s*s/(n*n)))
		inv := 0.0
		if dev > 1e-6 {
			inv = 1 / dev
		}
		for i, v := range f {
			c.features[i*d+k] = float32(float64(v) * inv)
		}
	}
}

// worker is the memory that one worker has for itself.
type worker struct {
	dims   int       // unknowns: one and the features
	dist   []float64 // [tile and patch rims]
	row    []float64 // the same, summed along rows
	matrix []float64 // [pixel of the tile][upper triangle]
	right  []float64 // [pixel of the tile][unknown][channel]
	weight []float64 // [pixel of the tile]
	cover  []float64 // [pixel of the tile][unknown], of the coverage; empty without one
}

func newWorker(features int) *worker {
	m := features + 1
	e := tile + 2*patch
	return &worker{dims: m, dist: make([]float64, e*e), row: make([]float64, e*e),
		matrix: make([]float64, tile*tile*m*(m+1)/2), right: make([]float64, tile*tile*m*3), weight: make([]float64, tile*tile)}
}

// tile filters one half in a tile and adds half of the result to the picture.
func (c *cleaner) tile(b *worker, x0, y0, half int) {
	clear(b.matrix)
	clear(b.right)
	clear(b.weight)
	clear(b.cover)
	x1, y1 := min(x0+tile, c.W), min(y0+tile, c.H)
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			c.distances(b, x0, y0, x1, y1, dx, dy, 1-half)
			c.gather(b, x0, y0, x1, y1, dx, dy, half)
		}
	}
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			i := y*c.W + x
			if c.sure(i) {
				c.out[i] = c.Half[0][i]
				if b.cover != nil {
					c.alpha[i] += 0.5 * c.Alpha[half][i]
				}
				continue
			}
			at := (y-y0)*tile + x - x0
			v := b.solve(at, b.right[3*at*b.dims:3*(at+1)*b.dims], 0)
			if b.cover != nil {
				c.alpha[i] += 0.5 * max(0, min(1, c.covered(i)+b.coverage(at, c.Trust)))
			}
			if min(v[0], v[1], v[2]) < 0 {
				// Light has no negative: too few neighbours carry the fit, and their mean stands in.
				r := b.right[3*at*b.dims:]
				v = colour.RGB{r[0], r[1], r[2]}.Scale(1 / b.weight[at])
			}
			c.out[i] = c.out[i].Add(v.Scale(0.5))
		}
	}
}

// sure says that a pixel has no grain: both halves agree to the bit and no pixel beside it varies, as where no object is. (A
// dark pixel whose few samples all met nothing agrees too, but its neighbours vary.)
func (c *cleaner) sure(i int) bool {
	return c.Half[0][i] == c.Half[1][i] && c.variance[0][i] == colour.RGB{} && c.variance[1][i] == colour.RGB{}
}

// distances fills dist, on the tile and a rim, with the excess of the squared differences between each pixel and the
// one at (dx, dy) over what noise makes, in units of noise. Pairs that leave the picture are NaN. Values and variances are those
// of one half: were the other one's variances in it, pixels that came out too dark would seem sure, keep to themselves and stay
// dark, while too bright ones would be evened out, and the picture would darken.
func (c *cleaner) distances(b *worker, x0, y0, x1, y1, dx, dy, half int) {
	u, variance := c.Half[half], c.variance[half]
	const e = tile + 2*patch
	for y := y0 - patch; y < y1+patch; y++ {
		for x := x0 - patch; x < x1+patch; x++ {
			at := (y-y0+patch)*e + x - x0 + patch
			xq, yq := x+dx, y+dy
			if x < 0 || y < 0 || x >= c.W || y >= c.H || xq < 0 || yq < 0 || xq >= c.W || yq >= c.H {
				b.dist[at] = math.NaN()
				continue
			}
			p, q := y*c.W+x, yq*c.W+xq
			vp, vq := &variance[p], &variance[q]
			s := 0.0
			for k := range 3 {
				d := u[p][k] - u[q][k]
				s += (d*d - (vp[k] + min(vp[k], vq[k]))) / (c.eps + strict*strict*(vp[k]+vq[k]))
			}
			b.dist[at] = s / 3
		}
	}
}

// gather averages distances over patches and adds the neighbours at (dx, dy) to each pixel's fit.
func (c *cleaner) gather(b *worker, x0, y0, x1, y1, dx, dy, half int) {
	const e = tile + 2*patch
	u, own, usual := c.Half[half], c.Var[half], c.usual[1-half]
	d := b.dims - 1
	tri := b.dims * (b.dims + 1) / 2
	var f [maxDims + 1]float64
	f[0] = 1
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			xq, yq := x+dx, y+dy
			if xq < 0 || yq < 0 || xq >= c.W || yq >= c.H || c.sure(y*c.W+x) {
				continue
			}
			sum, n := 0.0, 0.0
			for v := 0; v <= 2*patch; v++ {
				at := (y-y0+v)*e + x - x0
				for _, q := range b.dist[at : at+2*patch+1] {
					if q == q {
						sum += q
						n++
					}
				}
			}
			far := sum / n
			if far > 12 {
				continue
			}
			w := 1.0
			if far > 0 {
				w = math.Exp(-far)
			}
			p, q := y*c.W+x, yq*c.W+xq
			// One that is far less sure than the other half knows its surroundings to be holds a stray bright sample. The pixel in
			// the middle is no exception: where few others are like it, it would stand out alone.
			vs, vq := &usual[q], &own[q]
			if may, its := unsure*(vs[0]+vs[1]+vs[2]+c.eps), vq[0]+vq[1]+vq[2]; its > may {
				w *= may / its
			}
			fp, fq := c.features[p*d:p*d+d:p*d+d], c.features[q*d:q*d+d:q*d+d]
			for k := range fp {
				f[k+1] = float64(fq[k] - fp[k])
			}
			at := (y-y0)*tile + x - x0
			b.weight[at] += w
			m := b.matrix[at*tri : at*tri+tri : at*tri+tri]
			r := b.right[at*b.dims*3 : (at+1)*b.dims*3 : (at+1)*b.dims*3]
			col := &u[q]
			if b.cover != nil {
				a := w * (c.Alpha[half][q] - c.covered(q))
				for i, v := range f[:d+1] {
					b.cover[at*b.dims+i] += a * v
				}
			}
			k := 0
			for i := 0; i <= d; i++ {
				wf := w * f[i]
				for j := i; j <= d; j++ {
					m[k] += wf * f[j]
					k++
				}
				r[3*i] += wf * col[0]
				r[3*i+1] += wf * col[1]
				r[3*i+2] += wf * col[2]
			}
		}
	}
}

// solve returns the fitted colour at a pixel of the tile, the constant term of its normal equations, by Cholesky's method; r is their
// right side, [unknown][channel], and zeros so many neighbours of value 0 beside the pixel.
func (b *worker) solve(at int, r []float64, zeros float64) colour.RGB {
	n := b.dims
	tri := n * (n + 1) / 2
	m := b.matrix[at*tri : (at+1)*tri]
	var a [maxDims + 1][maxDims + 1]float64 // lower triangle
	k := 0
	for i := range n {
		for j := i; j < n; j++ {
			a[j][i] = m[k]
			k++
		}
		if i > 0 {
			a[i][i] += ridge*b.weight[at] + hold
		}
	}
	a[0][0] += zeros
	for i := range n {
		for j := 0; j <= i; j++ {
			s := a[i][j]
			for q := range j {
				s -= a[i][q] * a[j][q]
			}
			if i == j {
				a[i][i] = math.Sqrt(max(s, 1e-300))
			} else {
				a[i][j] = s / a[j][j]
			}
		}
	}
	// Only the first unknown is wanted; it comes last when solving backward.
	var out colour.RGB
	for c := range 3 {
		var y [maxDims + 1]float64
		for i := range n {
			s := r[3*i+c]
			for q := range i {
				s -= a[i][q] * y[q]
			}
			y[i] = s / a[i][i]
		}
		for i := n - 1; i >= 0; i-- {
			s := y[i]
			for q := i + 1; q < n; q++ {
				s -= a[q][i] * y[q]
			}
			y[i] = s / a[i][i]
		}
		out[c] = y[0]
	}
	return out
}
