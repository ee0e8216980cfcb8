package denoise

import (
	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

// A picture may be filtered in parts of whole rows. Each part brings Halo rows of the picture above it and below, as far as there
// are any, and begins at a multiple of Step rows; the parts then have the bits of the whole.
const (
	Halo = rim + 1
	Step = tileHeight
)

// Filter is a picture, or a part of one, and the weights that took out its grain.
type Filter struct {
	*Input
	Mean  []colour.RGB // without grain, not yet balanced; 0 in rows that are not filtered
	Cover []float64    // coverage likewise; empty without one

	planes *planes
}

// New filters a picture or a part of one. The bits do not depend on the number of workers.
func New(in *Input, workers int) (*Filter, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	all := in.Whole
	if all == nil {
		all = new(Whole)
		all.Add(in, 0, in.H)
	}
	f := &Filter{Input: in, planes: newPlanes(in, all, workers), Mean: make([]colour.RGB, in.W*in.H), Cover: make([]float64, len(in.Alpha[0]))}
	for i := in.Top * in.W; i < (in.H-in.Bottom)*in.W; i++ {
		if f.planes.sure[i] {
			f.Mean[i] = in.Half[0][i]
			if len(f.Cover) > 0 {
				f.Cover[i] = (in.Alpha[0][i] + in.Alpha[1][i]) / 2
			}
		}
	}
	f.tiles(workers, 0, func(b *worker, x0, y0 int) {
		for half := range 2 {
			b.weigh(f.planes, x0, y0, half)
			f.strips(x0, y0, func(strip, x, y, n int) { f.strip(b, strip, y*f.W+x, n, half) })
		}
	})
	return f, nil
}

// Sure reports whether a pixel has no grain: it stays as it is, and takes no gain.
func (f *Filter) Sure(i int) bool { return f.planes.sure[i] }

// tiles calls do for every tile, loaded.
func (f *Filter) tiles(workers, layers int, do func(b *worker, x0, y0 int)) {
	nx, ny := (f.W+tileWidth-1)/tileWidth, (f.H-f.Top-f.Bottom+tileHeight-1)/tileHeight
	parallel.With(nx*ny, workers, func() *worker { return newWorker(len(f.Features), f.Order, layers) }, func(b *worker, i int) {
		x0, y0 := i%nx*tileWidth, f.Top+i/nx*tileHeight
		b.load(f.planes, x0, y0)
		do(b, x0, y0)
	})
}

// strips calls do for every strip of a tile that lies in the picture and has grain; n of its pixels lie in the picture.
func (f *Filter) strips(x0, y0 int, do func(strip, x, y, n int)) {
	for strip := range tileHeight * perRow {
		x, y := x0+strip%perRow*lanes, y0+strip/perRow
		if y >= f.H-f.Bottom || x >= f.W {
			continue
		}
		n := min(lanes, f.W-x)
		for i := y*f.W + x; i < y*f.W+x+n; i++ {
			if !f.planes.sure[i] {
				do(strip, x, y, n)
				break
			}
		}
	}
}

// raw returns the mean of both halves.
func (f *Filter) raw(i int) colour.RGB { return f.Half[0][i].Add(f.Half[1][i]).Scale(0.5) }

// strip filters one half of a strip that begins at pixel at and adds half of the result to the picture.
func (f *Filter) strip(b *worker, strip, at, n, half int) {
	own, v := f.fit(b, strip, n, half)
	for lane := range n {
		if i := at + lane; !f.planes.sure[i] {
			f.Mean[i] = f.Mean[i].Add(v[lane].Scale(0.5 * f.planes.unit))
		}
	}
	if len(f.Cover) > 0 {
		f.fitCoverage(b, at, n, strip, half, own)
	}
}

// fit leaves in b's kernel what each neighbour counts, and returns the pixels' features and fitted values.
func (f *Filter) fit(b *worker, strip, n, half int) (own *[lanes][maxDims + 1]float64, v [lanes]colour.RGB) {
	b.moments(strip)
	own = &b.own
	local := place(strip) + reach*(localWidth+1)
	var weight [lanes]float64
	for lane := range n {
		for i := 1; i < b.dims; i++ {
			own[lane][i] = float64(b.planes[i*plane+local+lane])
		}
		var a [maxDims + 1]float64
		a, weight[lane] = b.solve(b.matrix, lane, &own[lane], 0)
		b.set(lane, &a, &own[lane])
	}
	s := b.total(b.counted(strip), b.colours(half), strip, 3)
	negative := false
	for lane := range n {
		v[lane] = pixel(s, lane)
		if min(v[lane][0], v[lane][1], v[lane][2]) < 0 {
			// Light has no negative: too few neighbours carry the fit, and their mean stands in.
			negative = true
			b.set(lane, &[maxDims + 1]float64{1 / weight[lane]}, &own[lane])
		}
	}
	if negative {
		s = b.total(b.counted(strip), b.colours(half), strip, 3)
		for lane := range n {
			v[lane] = pixel(s, lane)
		}
	}
	return own, v
}
