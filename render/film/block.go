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

// block holds the sums of a tile.
type block struct {
	oneNet  bool        // see netShare
	sums    []float64   // [replicate][pixel]: red, green, blue, alpha
	counts  []uint32    // [replicate][pixel]: samples in the sums
	dropped []uint32    // [pixel]: samples that were not finite
	layers  [][]float64 // [layer][replicate][pixel]: red, green, blue
	passes  [][]exact   // [pass][pixel]: red, green, blue
	squares [][]exact   // [pass with squares][pixel]: red, green, blue
}

func (f *Film) newBlock() *block {
	b := &block{
		oneNet: f.oneNet, sums: make([]float64, f.k*blockPixels*4), counts: make([]uint32, f.k*blockPixels), dropped: make([]uint32, blockPixels),
	}
	for range f.layers {
		b.layers = append(b.layers, make([]float64, f.k*blockPixels*3))
	}
	for i := range f.passes {
		b.passes = append(b.passes, make([]exact, blockPixels*3))
		if f.squares[i] >= 0 {
			b.squares = append(b.squares, make([]exact, blockPixels*3))
		}
	}
	return b
}

func (b *block) clear() {
	clear(b.sums)
	clear(b.counts)
	clear(b.dropped)
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
	for k := range len(b.counts) / blockPixels {
		for _, n := range b.counts[k*blockPixels : (k+1)*blockPixels] {
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
// and sums of each of these, their sums in each layer, the passes and their squares, and what was dropped. Numbers are little-endian. A block
// without samples has no bytes.
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
		for _, n := range b.counts[k*blockPixels : (k+1)*blockPixels] {
			out = le.AppendUint32(out, n)
		}
		floats(b.sums[k*blockPixels*4 : (k+1)*blockPixels*4])
		for _, l := range b.layers {
			floats(l[k*blockPixels*3 : (k+1)*blockPixels*3])
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
	}
	if dropped {
		for _, n := range b.dropped {
			out = le.AppendUint32(out, n)
		}
	}
	return out
}

// encoded returns the length of what encode appends for given flags.
func (f *Film) encoded(flags uint32) int {
	n := 4 + bits.OnesCount32(flags&(hasDropped-1))*blockPixels*(4+4*8+3*8*len(f.layers))
	if flags&(hasDropped-1) != 0 {
		n += f.exacts() * blockPixels * 3 * 16
	}
	if flags&hasDropped != 0 {
		n += 4 * blockPixels
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
		stride := len(v) / len(counts)
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
		counts := b.counts[k*blockPixels : (k+1)*blockPixels]
		words(counts)
		floats(b.sums[k*blockPixels*4:(k+1)*blockPixels*4], counts)
		for _, l := range b.layers {
			floats(l[k*blockPixels*3:(k+1)*blockPixels*3], counts)
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
	X0, Y0, X1, Y1 int // its pixels: X0 <= x < X1, Y0 <= y < Y1
}

// Hold brings the sums of a tile into memory, for reading. What can't be read counts as empty, and Err tells.
func (f *Film) Hold(tile int) Held { return f.hold(tile, false) }

func (f *Film) hold(tile int, change bool) Held {
	h := Held{film: f, tile: tile, block: f.pool.pin(tile, change)}
	h.X0, h.Y0, h.X1, h.Y1 = f.Tile(tile)
	return h
}

// Release lets go of the tile; nothing happens where there is none.
func (h *Held) Release() {
	if h.block != nil {
		h.film.pool.unpin(h.tile)
		h.block = nil
	}
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
	n := int(h.block.dropped[i])
	for c := i; c < len(h.block.counts); c += blockPixels {
		n += int(h.block.counts[c])
	}
	return n
}

// Dropped returns how many samples of pixel i of the tile were left out because they were not finite.
func (h *Held) Dropped(i int) int { return int(h.block.dropped[i]) }
