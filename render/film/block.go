package film

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/bits"

	"catchlight/scene/colour"
)

// blockPixels is how many pixels a block has, row by row; those past the picture's edge stay empty.
const blockPixels = TileSize * TileSize

// block holds the sums of a tile. Where samples are shared it holds what the tile's own samples laid into its pixels and those about it, and
// has other sums: see shape.
type block struct {
	shape
	oneNet  bool        // see netShare
	sums    []float64   // [replicate][pixel]: red, green, blue, and alpha where samples are not shared
	counts  []uint32    // [replicate][pixel]: samples in the sums; shared: [replicate]
	dropped []uint32    // [pixel]: samples that were not finite
	layers  [][]float64 // [layer][replicate][pixel]: red, green, blue
	passes  [][]exact   // [pass][pixel]: red, green, blue
	squares [][]exact   // [pass with squares][pixel]: red, green, blue
	cover   []int64     // shared: [half][pixel]: alpha, in coverUnit
	mass    []float64   // shared: [replicate][row][column of the pixels about]: weights with which samples were laid there
}

// shape says how much of everything a block has.
type shape struct {
	cells   int // pixels that it has sums of: a square, row by row
	stride  int // numbers of a pixel's sums
	counted int // counts of a replicate
	halves  int // halves whose cover there is
	shares  int // weights of a replicate
}

// plainShape is that of blocks whose samples count for their own pixel alone, and of what shared ones are read as.
var plainShape = shape{cells: blockPixels, stride: 4, counted: blockPixels}

// shape is that of the film's blocks.
func (f *Film) shape() shape {
	if f.splat == nil {
		return plainShape
	}
	n := 2*f.reach + 1
	return shape{cells: f.side * f.side, stride: 3, counted: 1, halves: 2, shares: n * n}
}

func (f *Film) newBlock() *block { return f.blockOf(f.shape()) }

func (f *Film) blockOf(s shape) *block {
	b := &block{
		shape: s, oneNet: f.oneNet, sums: make([]float64, f.k*s.cells*s.stride), counts: make([]uint32, f.k*s.counted), dropped: make([]uint32, s.cells),
		cover: make([]int64, s.halves*s.cells), mass: make([]float64, f.k*s.shares),
	}
	for range f.layers {
		b.layers = append(b.layers, make([]float64, f.k*s.cells*3))
	}
	for i := range f.passes {
		b.passes = append(b.passes, make([]exact, s.cells*3))
		if f.squares[i] >= 0 {
			b.squares = append(b.squares, make([]exact, s.cells*3))
		}
	}
	return b
}

// begun returns how many samples of each pixel a block of shared ones was given.
func (b *block) begun() (n uint32) {
	for _, k := range b.counts {
		n += k
	}
	return n
}

func (b *block) clear() {
	clear(b.sums)
	clear(b.counts)
	clear(b.dropped)
	clear(b.cover)
	clear(b.mass)
	for _, l := range b.layers {
		clear(l)
	}
	for _, l := range b.passes {
		clear(l)
	}
	for _, l := range b.squares {
		clear(l)
	}
}

// held returns the replicates that have samples, a bit each, and whether samples were dropped.
func (b *block) held() (replicates uint32, dropped bool) {
	for k := range len(b.counts) / b.counted {
		for _, n := range b.counts[k*b.counted : (k+1)*b.counted] {
			if n > 0 {
				replicates |= 1 << k
				break
			}
		}
	}
	for _, n := range b.dropped {
		if n > 0 {
			return replicates, true
		}
	}
	return replicates, false
}

// hasDropped stands beside the replicates in a block's bytes.
const hasDropped = 1 << 8

// encode appends the block's bytes: what there is (4 bytes: a bit for each replicate with samples, and hasDropped), then counts
// and sums of each of these, their weights where samples are shared, their sums in each layer, the passes and their squares, the shared coverage,
// and what was dropped. Numbers are little-endian. A block without samples has no bytes.
func (b *block) encode(out []byte) []byte {
	le := binary.LittleEndian
	mask, dropped := b.held()
	if mask == 0 && !dropped {
		return out
	}
	flags := mask
	if dropped {
		flags |= hasDropped
	}
	out = le.AppendUint32(out, flags)
	floats := func(v []float64) {
		for _, x := range v {
			out = le.AppendUint64(out, math.Float64bits(x))
		}
	}
	for m := mask; m != 0; m &= m - 1 {
		k := bits.TrailingZeros32(m)
		for _, n := range part(b.counts, k, b.counted) {
			out = le.AppendUint32(out, n)
		}
		floats(part(b.sums, k, b.cells*b.stride))
		floats(part(b.mass, k, b.shares))
		for _, l := range b.layers {
			floats(part(l, k, b.cells*3))
		}
	}
	if mask != 0 {
		for _, list := range [][][]exact{b.passes, b.squares} {
			for _, l := range list {
				for _, e := range l {
					out = le.AppendUint64(le.AppendUint64(out, uint64(e.hi)), e.lo)
				}
			}
		}
		for _, c := range b.cover {
			out = le.AppendUint64(out, uint64(c))
		}
	}
	if dropped {
		for _, n := range b.dropped {
			out = le.AppendUint32(out, n)
		}
	}
	return out
}

// part returns the k-th n values.
func part[T any](v []T, k, n int) []T { return v[k*n : (k+1)*n] }

// encoded returns the length of what encode appends for given flags.
func (f *Film) encoded(flags uint32) int {
	s := f.shape()
	n := 4 + bits.OnesCount32(flags&(hasDropped-1))*(4*s.counted+8*(s.cells*(s.stride+3*len(f.layers))+s.shares))
	if flags&(hasDropped-1) != 0 {
		n += f.exacts()*s.cells*3*16 + 8*s.halves*s.cells
	}
	if flags&hasDropped != 0 {
		n += 4 * s.cells
	}
	return n
}

// exacts is how many exact sums a pixel has, of three channels each.
func (f *Film) exacts() int {
	n := len(f.passes)
	for _, j := range f.squares {
		if j >= 0 {
			n++
		}
	}
	return n
}

// errNoBlock says that bytes are no block of this film.
var errNoBlock = errors.New("its bytes do not fit")

// decode fills an empty block from what encode made. Sums that are not finite, or that stand without a count, are refused.
func (f *Film) decode(b *block, in []byte) error {
	le := binary.LittleEndian
	if len(in) < 4 {
		return errNoBlock
	}
	flags := le.Uint32(in)
	mask := flags & (hasDropped - 1)
	if flags >= 2*hasDropped || mask >= 1<<f.k || len(in) != f.encoded(flags) {
		return errNoBlock
	}
	in = in[4:]
	var worst error
	floats := func(v []float64, counts []uint32) {
		stride := max(1, len(v)/len(counts))
		for i := range v {
			x := math.Float64frombits(le.Uint64(in[8*i:]))
			if !(math.Abs(x) <= limit*math.MaxUint32) || x != 0 && counts[i/stride] == 0 {
				worst = fmt.Errorf("a sum of %v over %d samples", x, counts[i/stride])
			}
			v[i] = x
		}
		in = in[8*len(v):]
	}
	words := func(v []uint32) {
		for i := range v {
			v[i] = le.Uint32(in[4*i:])
		}
		in = in[4*len(v):]
	}
	for m := mask; m != 0; m &= m - 1 {
		k := bits.TrailingZeros32(m)
		counts := part(b.counts, k, b.counted)
		words(counts)
		floats(part(b.sums, k, b.cells*b.stride), counts)
		floats(part(b.mass, k, b.shares), counts)
		for _, l := range b.layers {
			floats(part(l, k, b.cells*3), counts)
		}
	}
	if mask != 0 {
		for _, list := range [][][]exact{b.passes, b.squares} {
			for _, l := range list {
				for i := range l {
					l[i] = exact{int64(le.Uint64(in[16*i:])), le.Uint64(in[16*i+8:])}
				}
				in = in[16*len(l):]
			}
		}
		for i := range b.cover {
			b.cover[i] = int64(le.Uint64(in[8*i:]))
		}
		in = in[8*len(b.cover):]
	}
	if flags&hasDropped != 0 {
		words(b.dropped)
	}
	return worst
}

// Held is a tile whose sums are in memory until Release. Its pixels are numbered row by row in rows of TileSize.
type Held struct {
	film           *Film
	tile           int
	block          *block
	gathered       bool // the block is not the film's
	share          []float64
	X0, Y0, X1, Y1 int // its pixels: X0 <= x < X1, Y0 <= y < Y1
}

// Hold brings the sums of a tile into memory, for reading. What can't be read counts as empty, and Err tells. Where samples are shared these are a
// copy of what this tile and its neighbours hold now.
func (f *Film) Hold(tile int) Held {
	if f.splat != nil {
		return f.gather(tile, false)
	}
	return f.hold(tile, false)
}

func (f *Film) hold(tile int, change bool) Held {
	h := Held{film: f, tile: tile, block: f.pool.pin(tile, change)}
	h.X0, h.Y0, h.X1, h.Y1 = f.Tile(tile)
	return h
}

// Release lets go of the tile; nothing happens where there is none.
func (h *Held) Release() {
	switch {
	case h.block == nil:
		return
	case h.gathered:
		h.film.spare.back(h.block)
	default:
		h.film.pool.unpin(h.tile)
	}
	h.block = nil
}

// At returns the number of the pixel in column x and row y of the picture.
func (h *Held) At(x, y int) int { return (y-h.Y0)*TileSize + x - h.X0 }

// at is At for a pixel of the film.
func (h *Held) at(pixel int) int { return h.At(pixel%h.film.width, pixel/h.film.width) }

// Pixel returns the mean of pixel i of the tile and its standard error, which is NaN with fewer than two replicates.
func (h *Held) Pixel(i int) (mean, err colour.RGB) {
	p := h.block.pixel(h.block.sums, 4, i)
	return p.mean, p.err
}

// Started returns how many samples of pixel i of the tile were begun, those left out included.
func (h *Held) Started(i int) int {
	n := 0
	if !h.gathered { // which counts them in
		n = int(h.block.dropped[i])
	}
	for c := i; c < len(h.block.counts); c += blockPixels {
		n += int(h.block.counts[c])
	}
	return n
}

// Dropped returns how many samples of pixel i of the tile were left out because they were not finite.
func (h *Held) Dropped(i int) int { return int(h.block.dropped[i]) }
