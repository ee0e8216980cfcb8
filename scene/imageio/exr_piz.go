package imageio

import (
	"encoding/binary"
	"fmt"
)

// PIZ: the values of a block, as words of 16 bits, are renamed to those that are in use (a bitmap says which), each channel
// goes through a two-dimensional wavelet like Haar's, and the words through a Huffman code with runs.
//
// The layout document names the method and leaves its bits to the published library (ImfPizCompressor.cpp, ImfHuf.cpp,
// ImfWav.cpp of the Academy Software Foundation's OpenEXR); they are from memory of it, and checked against files that it
// wrote.
const (
	hufSymbols = 1<<16 + 1 // words, and one that stands for a run
	hufLongest = 58        // bits of a code
	hufQuick   = 12        // bits that the table of short codes looks at
	// pizRatio is the most that a block can shrink: a run of 255 words takes a code and a count, 9 bits at least.
	pizRatio = 255 * 16 / 9
)

// exrPlane is a channel of a block as PIZ and PXR24 see it: values to a line, and words or bytes of each.
type exrPlane struct {
	n int
	t exrType
}

// pizScratch is what undoing PIZ needs; blocks of a file share it.
type pizScratch struct {
	words   []uint16
	lut     []uint16 // from a word in the block to a value
	lengths []uint8  // of each symbol's code, 0 where it has none
	sorted  []uint32 // symbols by length, then by number
	quick   []uint32 // by the next bits: symbol and length (low 6 bits); 0 for longer codes
}

// unpack undoes PIZ for a block of lines, which must have exactly n bytes.
func (s *pizScratch) unpack(packed []byte, planes []exrPlane, lines, n int) ([]byte, error) {
	if s.lut == nil {
		s.lut, s.lengths, s.quick = make([]uint16, 1<<16), make([]uint8, hufSymbols), make([]uint32, 1<<hufQuick)
	}
	r := &exrBytes{b: packed}
	low, high := int(binary.LittleEndian.Uint16(r.take(2))), int(binary.LittleEndian.Uint16(r.take(2)))
	if r.short || low >= 8192 && low <= high || high >= 8192 {
		return nil, fmt.Errorf("the bitmap of values runs from byte %d to %d of 8192", low, high)
	}
	var bits []byte
	if low <= high {
		bits = r.take(high - low + 1)
	}
	length := r.i32()
	if r.short || length < 0 || int(length) > len(r.b) {
		return nil, fmt.Errorf("the code claims %d bytes, %d are left", length, len(r.b))
	}
	used := 1 // zero always is
	s.lut[0] = 0
	for i, b := range bits {
		for k := range 8 {
			if v := 8*(low+i) + k; b>>k&1 == 1 && v > 0 {
				s.lut[used] = uint16(v)
				used++
			}
		}
	}
	clear(s.lut[used:])
	if cap(s.words) < n/2 {
		s.words = make([]uint16, n/2)
	}
	words := s.words[:n/2]
	if err := s.huffman(r.b[:length], words); err != nil {
		return nil, err
	}
	at := 0
	for _, p := range planes {
		size := p.t.size() / 2
		for j := range size {
			wavelet(words[at+j:], p.n, size, lines, p.n*size, used-1 < 1<<14)
		}
		at += p.n * size * lines
	}
	out := make([]byte, 0, n)
	for y := range lines {
		at := 0
		for _, p := range planes {
			k := p.n * p.t.size() / 2
			for _, w := range words[at+y*k : at+(y+1)*k] {
				out = binary.LittleEndian.AppendUint16(out, s.lut[w])
			}
			at += k * lines
		}
	}
	return out, nil
}

// bitReader gives the bits of a text from the highest of each byte on; past its end there are zeros.
type bitReader struct {
	b    []byte
	hold uint64
	n    int // bits in hold
	over int // zero bits added at the end
}

func (r *bitReader) fill() {
	for r.n <= 56 {
		r.hold <<= 8
		if len(r.b) > 0 {
			r.hold |= uint64(r.b[0])
			r.b = r.b[1:]
		} else {
			r.over += 8
		}
		r.n += 8
	}
}

func (r *bitReader) take(k int) int {
	r.fill()
	r.n -= k
	return int(r.hold >> r.n & (1<<k - 1))
}

// huffman decodes exactly len(out) words. A table of code lengths stands before the code, itself packed.
//
// Long: header, packed lengths, canonical codes and the words themselves are read from one stream of bits, each held against what
// is left of it.
func (s *pizScratch) huffman(data []byte, out []uint16) error {
	if len(data) < 20 {
		return fmt.Errorf("the code has %d bytes, its head has 20", len(data))
	}
	first, last, bits := binary.LittleEndian.Uint32(data), binary.LittleEndian.Uint32(data[4:]), uint64(binary.LittleEndian.Uint32(data[12:]))
	if first >= hufSymbols || last >= hufSymbols || first > last {
		return fmt.Errorf("the code's table runs from %d to %d of %d", first, last, hufSymbols)
	}
	clear(s.lengths)
	t := &bitReader{b: data[20:]}
	for i := int(first); i <= int(last); {
		l := t.take(6)
		run := 1
		switch {
		case l == 63: // a long run of symbols without a code
			l, run = 0, t.take(8)+6
		case l >= 59: // a short one
			l, run = 0, l-59+2
		}
		if i+run > int(last)+1 {
			return fmt.Errorf("a run in the code's table goes past its end")
		}
		s.lengths[i] = uint8(l)
		i += run
	}
	if t.over > t.n {
		return fmt.Errorf("the code's table ends too early")
	}
	// The bits of the code begin with the next byte.
	rest := data[len(data)-len(t.b)-(t.n-t.over)/8:]
	if bits > 8*uint64(len(rest)) {
		return fmt.Errorf("the code claims %d bits, %d bytes are left", bits, len(rest))
	}
	var count, base, from [hufLongest + 2]uint64
	for _, l := range s.lengths {
		count[l]++
	}
	count[0] = 0
	// Long codes have the lower numbers. A code that is no full tree leaves bits without a meaning.
	var c, total uint64
	for l := hufLongest; l > 0; l-- {
		base[l] = c
		if c += count[l]; c&1 == 1 && l > 1 || l == 1 && c != 2 {
			return fmt.Errorf("the code's lengths make no full tree")
		}
		c >>= 1
	}
	for l := 1; l <= hufLongest; l++ {
		from[l] = total
		total += count[l]
	}
	if cap(s.sorted) < hufSymbols {
		s.sorted = make([]uint32, hufSymbols)
	}
	place := from
	for i, l := range s.lengths {
		if l > 0 {
			s.sorted[place[l]] = uint32(i)
			place[l]++
		}
	}
	clear(s.quick)
	for l := 1; l <= hufQuick; l++ {
		for k := range count[l] {
			at := (base[l] + k) << (hufQuick - l)
			for j := range uint64(1) << (hufQuick - l) {
				s.quick[at+j] = s.sorted[from[l]+k]<<6 | uint32(l)
			}
		}
	}
	r := &bitReader{b: rest}
	n, spent := 0, uint64(0)
	for spent < bits {
		r.fill()
		symbol, l := uint32(0), 0
		if q := s.quick[r.hold>>(r.n-hufQuick)&(1<<hufQuick-1)]; q != 0 {
			symbol, l = q>>6, int(q&63)
		} else {
			// At most 57 bits are sure to be held; a code of 58 would need more symbols than there are words in a block.
			for l = hufQuick + 1; l < hufLongest; l++ {
				if v := r.hold >> (r.n - l) & (1<<l - 1); v >= base[l] && v-base[l] < count[l] {
					symbol = s.sorted[from[l]+v-base[l]]
					break
				}
			}
			if l == hufLongest {
				return fmt.Errorf("a code of more than %d bits", hufLongest-1)
			}
		}
		r.n -= l
		spent += uint64(l)
		if symbol != last {
			if n == len(out) {
				return fmt.Errorf("the code gives more than %d words", len(out))
			}
			out[n] = uint16(symbol)
			n++
			continue
		}
		run := r.take(8)
		spent += 8
		if n == 0 || run > len(out)-n {
			return fmt.Errorf("a run of %d words where %d are there and %d are left", run, n, len(out)-n)
		}
		for range run {
			out[n] = out[n-1]
			n++
		}
	}
	if n < len(out) || spent > bits {
		return fmt.Errorf("the code gives %d words, must be %d", n, len(out))
	}
	return nil
}

// wavelet undoes the transform of nx x ny words that stand ox and oy apart; small is for words below 2^14.
func wavelet(v []uint16, nx, ox, ny, oy int, small bool) {
	undo := undoLarge
	if small {
		undo = undoSmall
	}
	p := 1
	for p <= min(nx, ny) {
		p <<= 1
	}
	for p >>= 1; p > 1; p >>= 1 {
		// Blocks of p x p words become four of half the side.
		h := p / 2
		for y := 0; y+p <= ny; y += p {
			row := y * oy
			for x := 0; x+p <= nx; x += p {
				a := row + x*ox
				b, c := a+h*ox, a+h*oy
				d := c + h*ox
				i00, i10 := undo(v[a], v[c])
				i01, i11 := undo(v[b], v[d])
				v[a], v[b] = undo(i00, i01)
				v[c], v[d] = undo(i10, i11)
			}
			if nx&h != 0 { // a column that has no partner
				a := row + nx/p*p*ox
				v[a], v[a+h*oy] = undo(v[a], v[a+h*oy])
			}
		}
		if ny&h != 0 { // a line that has none
			row := ny / p * p * oy
			for x := 0; x+p <= nx; x += p {
				a := row + x*ox
				v[a], v[a+h*ox] = undo(v[a], v[a+h*ox])
			}
		}
	}
}

// undoSmall turns mean and difference of two words below 2^14 back into them.
func undoSmall(l, h uint16) (a, b uint16) {
	d := int(int16(h))
	s := int(int16(l)) + d&1 + d>>1
	return uint16(s), uint16(s - d)
}

// undoLarge is undoSmall for any words, in arithmetic modulo 2^16.
func undoLarge(l, h uint16) (a, b uint16) {
	m, d := int(l), int(h)
	s := (m - d>>1) & 0xffff
	return uint16((d + s - 1<<15) & 0xffff), uint16(s)
}
