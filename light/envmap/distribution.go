package envmap

import "math"

// distribution is a density over the sphere that is constant per steradian in each cell. The cells lie between texel
// centres, where a bilinear picture is one bilinear patch: w columns, the last across the seam, and h+1 rows, the
// first and last half as high and reaching the poles; of a part of a picture only those that touch it. So the density never meets a brighter texel than those it was
// built from: a sample's weight is bounded.
//
// A row is drawn by its weight, then a cell of the row, both by searching running sums (a monotone map of the unit
// square, which keeps low-discrepancy points apart), then a direction uniform over the cell's solid angle. At 2048 x 1024
// texels a sample takes 0.5 us, nearly all of it waiting for memory; a guide table for the search gained nothing.
type distribution struct {
	w     int // texels across the whole picture
	h     int
	at    window // the cells that have a density; elsewhere it is 0
	total float64
	row   []float64 // at.h running sums, the last exactly 1
	cell  []float64 // at.w running sums for each row, the last exactly 1
	cos   []float64 // at.h+1 cosines of the polar angle at the rows' upper and lower edges
	dens  []float64 // per row: its probability over the solid angle of one of its cells, 1/sr
}

// window is a part of a picture, or of the cells between its texels: w columns from x on, which may run across the
// seam, and h rows from y on.
type window struct{ x, y, w, h int }

// column returns which of the window's columns the picture's column x is, of full in all; ok is false outside.
func (a *window) column(x, full int) (int, bool) {
	if x -= a.x; x < 0 {
		x += full
	}
	return x, x < a.w
}

// newDistribution builds the density over the cells at that follows the texel weights, which must be finite and >= 0. A
// cell weighs its solid angle times the root mean square of the bilinear patch over it: of all densities that are
// constant in each cell, the one of least variance.
func newDistribution(w, h int, at window, weight func(x, y int) float64) distribution {
	d := distribution{w: w, h: h, at: at,
		row: make([]float64, at.h), cell: make([]float64, at.w*at.h),
		cos: make([]float64, at.h+1), dens: make([]float64, at.h)}
	for j := range d.cos {
		switch k := at.y + j; k {
		case 0:
			d.cos[j] = 1
		case h + 1:
			d.cos[j] = -1
		default:
			d.cos[j] = math.Cos(math.Pi * (float64(k) - 0.5) / float64(h))
		}
	}
	// The texels at the corners of the window's cells, one row above the cells and one below.
	up, low := make([]float64, at.w+1), make([]float64, at.w+1)
	read := func(to []float64, y int) {
		for i := range to {
			to[i] = weight((at.x+i)%w, min(max(y, 0), h-1))
		}
	}
	read(low, at.y-1)
	for j := range at.h {
		copy(up, low)
		read(low, at.y+j)
		c := d.cell[j*at.w : (j+1)*at.w]
		sum := 0.0
		for i := range c {
			sum += rms(up[i], up[i+1], low[i], low[i+1])
			c[i] = sum
		}
		finish(c, sum)
		d.total += sum * (d.cos[j] - d.cos[j+1])
		d.row[j] = d.total
		d.dens[j] = sum
	}
	finish(d.row, d.total)
	// dens: the row's probability over the solid angle of one cell. The cosines cancel.
	for j := range d.dens {
		if d.total > 0 {
			d.dens[j] *= float64(w) / (2 * math.Pi * d.total)
		}
	}
	return d
}

// finish scales running sums to end in exactly 1, and leaves zeros alone.
func finish(c []float64, sum float64) {
	if sum == 0 {
		return
	}
	for i := range c {
		c[i] /= sum
	}
}

// rms returns the root mean square over the unit square of the bilinear patch with these corner values.
func rms(a, b, c, d float64) float64 {
	return math.Sqrt((a*a + b*b + c*c + d*d + a*b + a*c + b*d + c*d + 0.5*(a*d+b*c)) / 9)
}

// search returns the first index whose running sum exceeds x, and where x lies within that step, in [0, 1).
func search(c []float64, x float64) (int, float64) {
	lo, hi := 0, len(c)-1
	for lo < hi {
		m := int(uint(lo+hi) >> 1)
		if c[m] > x {
			hi = m
		} else {
			lo = m + 1
		}
	}
	a := 0.0
	if lo > 0 {
		a = c[lo-1]
	}
	return lo, min((x-a)/(c[lo]-a), 1-0x1p-53)
}

// sample maps (u0, u1) in [0, 1) to the picture's u, the cosine of the polar angle, and the density there in 1/sr.
func (d *distribution) sample(u0, u1 float64) (u, cos, pdf float64) {
	j, fy := search(d.row, u1)
	c := d.cell[j*d.at.w : (j+1)*d.at.w]
	i, fx := search(c, u0)
	u = (float64(d.at.x+i) + 0.5 + fx) / float64(d.w)
	if u >= 1 {
		u--
	}
	cos = d.cos[j] + fy*(d.cos[j+1]-d.cos[j])
	return u, cos, d.density(i, j)
}

// pdf returns the density at (u, v), in 1/sr.
func (d *distribution) pdf(u, v float64) float64 {
	i := int(math.Floor(u*float64(d.w) - 0.5))
	if i < 0 {
		i = d.w - 1
	}
	i, ok := d.at.column(min(i, d.w-1), d.w)
	j := min(int(v*float64(d.h)+0.5), d.h) - d.at.y
	if !ok || j < 0 || j >= d.at.h {
		return 0
	}
	return d.density(i, j)
}

func (d *distribution) density(i, j int) float64 {
	c := d.cell[j*d.at.w : (j+1)*d.at.w]
	p := c[i]
	if i > 0 {
		p -= c[i-1]
	}
	return p * d.dens[j]
}
