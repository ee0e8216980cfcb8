package denoise

import (
	"slices"

	"catchlight/scene/colour"
)

const (
	tileWidth  = 32 // pixels; a multiple of lanes
	tileHeight = 16
	rim        = reach + patch         // pixels to either side of a tile that its weights read
	localWidth = tileWidth + 2*rim + 6 // of a tile and its rim, and what the inner loops read beyond it
	plane      = localWidth * (tileHeight + 2*rim)
	distWidth  = tileWidth + lanes // of a tile and the rims of patches, a multiple of lanes
	neighbours = (2*reach + 1) * (2*reach + 1)
	perRow     = tileWidth / lanes
)

// offsets is where the neighbours lie in a plane, from the first of them.
var offsets = func() (o [neighbours]int32) {
	for i := range o {
		o[i] = int32(i/(2*reach+1)*localWidth + i%(2*reach+1))
	}
	return o
}()

// worker is the memory that one worker has for itself. In planes there are a plane of ones, the features, then of either half its
// colours and their variances, then trust and coverage of both halves, then what is filtered along.
type worker struct {
	dims    int // unknowns: one and the features
	planes  []float32
	middle  [maxDims + 1]float32 // what is taken off the features of this tile
	dist    []float32            // [tile and rims of patches]
	columns [distWidth]float32
	share   [tileWidth]float32
	weight  []float32                   // [strip][neighbour][lane]
	kernel  []float32                   // [neighbour][lane]
	matrix  []float32                   // [upper triangle][lane], of a strip
	own     [lanes][maxDims + 1]float64 // features of a strip's pixels
	both    []float32                   // [strip][neighbour][lane], for layers: what each neighbour counts for either half
	b       [(maxDims + 1) * lanes]float32
	sums    [9 * lanes]float32
	differs [2]bool // the coverage of a half is not what was expected, somewhere in the tile or its rim
}

// terms is how many terms a polynomial of an order in a pixel's place has, beside the constant.
var terms = [3]int{0, 2, 5}

// spread is the deviation of a neighbour's place along an axis, in pixels: what a term of place is scaled by.
const spread = 4.32

func newWorker(features, order, layers int) *worker {
	m := features + terms[order] + 1
	w := &worker{
		dims: m, planes: make([]float32, (m+16+3*layers+9)*plane), dist: make([]float32, (tileHeight+2*patch)*distWidth),
		weight: make([]float32, tileHeight*perRow*neighbours*lanes), kernel: make([]float32, neighbours*lanes),
		matrix: make([]float32, (m*(m+1)/2+9)*lanes),
	}
	if layers > 0 {
		w.both = make([]float32, len(w.weight))
	}
	return w
}

// Where planes begin.
func (b *worker) colours(half int) []float32 { return b.planes[(b.dims+6*half)*plane:] }
func (b *worker) trust(half int) []float32   { return b.planes[(b.dims+12+half)*plane:] }
func (b *worker) layer(i int) []float32      { return b.planes[(b.dims+16+3*i)*plane:] }
func (b *worker) cover(half int) []float32   { return b.planes[(b.dims+14+half)*plane:] }

// load copies a tile and its rim; what lies outside the picture is 0.
func (b *worker) load(p *planes, x0, y0 int) {
	for i := range plane {
		b.planes[i] = 1
	}
	mid := min(y0+tileHeight/2, p.h-1)*p.w + min(x0+tileWidth/2, p.w-1)
	for k, f := range p.features {
		b.middle[k+1] = f[mid]
		fill(b.planes[(k+1)*plane:], f, p.w, p.h, x0, y0, f[mid])
	}
	b.places(len(p.features) + 1)
	for half := range 2 {
		for c := range 3 {
			fill(b.colours(half)[c*plane:], p.colour[half][c], p.w, p.h, x0, y0, 0)
			fill(b.colours(half)[(c+3)*plane:], p.variance[half][c], p.w, p.h, x0, y0, 0)
		}
		fill(b.trust(half), p.trust[half], p.w, p.h, x0, y0, 0)
		if p.cover[half] != nil {
			fill(b.cover(half), p.cover[half], p.w, p.h, x0, y0, 0)
			b.differs[half] = slices.ContainsFunc(b.cover(half)[:plane], func(v float32) bool { return v != 0 })
		}
	}
}

// places fills the terms of place, from that plane on: x, y, x^2, x y, y^2 about the tile's middle.
func (b *worker) places(from int) {
	for k := from; k < b.dims; k++ {
		to := b.planes[k*plane:]
		for i := range plane {
			x := float32(i%localWidth-rim-tileWidth/2) / spread
			y := float32(i/localWidth-rim-tileHeight/2) / spread
			to[i] = [5]float32{x, y, x * x, x * y, y * y}[k-from]
		}
	}
}

// fill copies one plane less a value.
func fill(to, from []float32, w, h, x0, y0 int, less float32) {
	clear(to[:plane])
	a, e := max(0, x0-rim), min(w, x0+tileWidth+rim)
	for y := max(0, y0-rim); y < min(h, y0+tileHeight+rim); y++ {
		row := to[(y-y0+rim)*localWidth+a-x0+rim:][:e-a]
		for x, v := range from[y*w+a : y*w+e] {
			row[x] = v - less
		}
	}
}

// weigh fills weight for all pixels of the tile, by what the other half says of how alike patches are: were a half's own values in
// its weights, pixels that came out too dark would keep to themselves, and the picture would darken.
func (b *worker) weigh(p *planes, x0, y0, half int) {
	other := b.colours(1 - half)
	inside := x0 >= rim && y0 >= rim && x0+tileWidth+rim <= p.w && y0+tileHeight+rim <= p.h
	if inside {
		for x := range b.share {
			b.share[x] = 1.0 / (3 * (2*patch + 1) * (2*patch + 1))
		}
	}
	for o := range neighbours {
		dx, dy := o%(2*reach+1)-reach, o/(2*reach+1)-reach
		for y := range tileHeight + 2*patch {
			at := (y+reach)*localWidth + reach
			distances(b.dist[y*distWidth:], other[at:], other[at+dy*localWidth+dx:], plane, distWidth, least, strict*strict)
		}
		var in span
		if !inside {
			in = b.mask(p, x0, y0, dx, dy)
		}
		for y := range tileHeight {
			columns(b.columns[:], b.dist[y*distWidth:], distWidth, distWidth)
			if !inside {
				in.shares(&b.share, y)
			}
			trust := b.trust(half)[(y+rim+dy)*localWidth+rim+dx:]
			weights(b.weight[(y*perRow*neighbours+o)*lanes:], b.columns[:], b.share[:], trust, neighbours*lanes, tileWidth)
		}
	}
}

// span is the part of a tile and its rims of patches, columns [x0, x1) and rows [y0, y1), where both pixels of a pair lie in the
// picture.
type span struct{ x0, x1, y0, y1 int }

// mask sets the distances of pairs that leave the picture to 0.
func (b *worker) mask(p *planes, x0, y0, dx, dy int) span {
	s := span{
		max(0, patch-x0-min(0, dx)), min(distWidth, p.w-x0+patch-max(0, dx)),
		max(0, patch-y0-min(0, dy)), min(tileHeight+2*patch, p.h-y0+patch-max(0, dy)),
	}
	for y := range tileHeight + 2*patch {
		row := b.dist[y*distWidth : (y+1)*distWidth]
		if y < s.y0 || y >= s.y1 || s.x1 <= s.x0 {
			clear(row)
			continue
		}
		clear(row[:s.x0])
		clear(row[s.x1:])
	}
	return s
}

// shares fills in 1 over the number of values in the patch about each pixel of a row.
func (s span) shares(share *[tileWidth]float32, y int) {
	rows := min(s.y1, y+2*patch+1) - max(s.y0, y)
	for x := range share {
		n := 3 * rows * (min(s.x1, x+2*patch+1) - max(s.x0, x))
		share[x] = 1 / float32(max(1, n))
	}
}

// moments fills matrix with the sums over the neighbours of a strip of weight times products of features.
func (b *worker) moments(strip int) {
	w, at := b.weightOf(strip), place(strip)
	m := b.matrix
	for i := range b.dims {
		f := b.planes[i*plane+at:]
		sums(m, b.dims-i, w, f, f, plane, offsets[:])
		m = m[(b.dims-i)*lanes:]
	}
}

func (b *worker) weightOf(strip int) []float32 {
	return b.weight[strip*neighbours*lanes : (strip+1)*neighbours*lanes]
}

// place returns where the first neighbour of a strip's first pixel lies in a plane.
func place(strip int) int {
	return (strip/perRow+patch)*localWidth + strip%perRow*lanes + patch
}

// total fills sums with up to nine planes, each the sum over the neighbours of what they count times their value.
func (b *worker) total(counts, of []float32, strip, planes int) []float32 {
	at := place(strip)
	sums(b.sums[:], planes, counts, b.planes[at:], of[at:], plane, offsets[:])
	return b.sums[:]
}

// counted fills kernel from the coefficients in b.
func (b *worker) counted(strip int) []float32 {
	kernels(b.kernel, b.weightOf(strip), b.planes[plane+place(strip):], plane, offsets[:], b.b[:], max(1, b.dims-1))
	return b.kernel
}

// pixel returns three planes of sums at a lane.
func pixel(s []float32, lane int) colour.RGB {
	return colour.RGB{float64(s[lane]), float64(s[lanes+lane]), float64(s[2*lanes+lane])}
}
