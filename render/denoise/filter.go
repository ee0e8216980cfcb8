package denoise

import (
	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

// Filter is a picture and the weights that took out its grain.
type Filter struct {
	*Input
	planes *planes
	out    []colour.RGB
	alpha  []float64 // empty without coverage
}

func newFilter(in *Input, workers int) *Filter {
	var all Whole
	all.Add(in, 0, in.H)
	return &Filter{Input: in, planes: newPlanes(in, &all, workers), out: make([]colour.RGB, in.W*in.H), alpha: make([]float64, len(in.Alpha[0]))}
}

// run filters tile by tile.
func (f *Filter) run(workers int) {
	nx, ny := (f.W+tileWidth-1)/tileWidth, (f.H+tileHeight-1)/tileHeight
	parallel.With(nx*ny, workers, func() *worker { return newWorker(len(f.Features)) }, func(b *worker, i int) {
		x0, y0 := i%nx*tileWidth, i/nx*tileHeight
		b.load(f.planes, x0, y0)
		for half := range 2 {
			b.weigh(f.planes, x0, y0, half)
			for strip := range tileHeight * perRow {
				f.strip(b, x0+strip%perRow*lanes, y0+strip/perRow, strip, half)
			}
		}
	})
}

// strip filters one half of a strip that begins at (x, y) and adds half of the result to the picture.
func (f *Filter) strip(b *worker, x, y, strip, half int) {
	if y >= f.H || x >= f.W {
		return
	}
	n := min(lanes, f.W-x)
	at := y*f.W + x
	grain := false
	for i := at; i < at+n; i++ {
		grain = grain || !f.planes.sure[i]
	}
	if grain {
		f.fit(b, x, y, n, strip, half)
	}
	for i := at; i < at+n; i++ {
		if f.planes.sure[i] {
			f.out[i] = f.Half[0][i]
			if len(f.alpha) > 0 {
				f.alpha[i] += 0.5 * f.Alpha[half][i]
			}
		}
	}
}

func (f *Filter) fit(b *worker, x, y, n, strip, half int) {
	at := y*f.W + x
	m := b.matrix
	b.moments(strip)
	var own [lanes][maxDims + 1]float64
	local := place(strip) + reach*(localWidth+1)
	var weight [lanes]float64
	for lane := range lanes {
		for i := 1; i < b.dims; i++ {
			own[lane][i] = float64(b.planes[i*plane+local+lane])
		}
		if lane < n {
			var a [maxDims + 1]float64
			a, weight[lane] = b.solve(m, lane, &own[lane], 0)
			b.set(lane, &a, &own[lane])
		}
	}
	s := b.total(b.counted(strip), b.colours(half), strip, 3)
	var v [lanes]colour.RGB
	negative := false
	for lane := range n {
		v[lane] = pixel(s, lane)
		negative = negative || min(v[lane][0], v[lane][1], v[lane][2]) < 0
	}
	if negative {
		// Light has no negative: too few neighbours carry the fit, and their mean stands in.
		s = b.total(b.weightOf(strip), b.colours(half), strip, 3)
		for lane := range n {
			if min(v[lane][0], v[lane][1], v[lane][2]) < 0 {
				v[lane] = pixel(s, lane).Scale(1 / weight[lane])
			}
		}
	}
	for lane := range n {
		if i := at + lane; !f.planes.sure[i] {
			f.out[i] = f.out[i].Add(v[lane].Scale(0.5 * f.planes.unit))
		}
	}
	if len(f.alpha) > 0 {
		f.fitCoverage(b, at, n, strip, half, m, &own)
	}
}
