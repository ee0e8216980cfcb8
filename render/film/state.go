package film

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc64"
	"io"
	"math"
)

// stateMagic starts a state file; the digit is the version.
const stateMagic = "catchlight film 1\n"

// maxHeader bounds the header of a state file, in bytes.
const maxHeader = 1 << 20

var stateTable = crc64.MakeTable(crc64.ECMA)

// header is the part of a state file that says what follows.
type header struct {
	Width      int
	Height     int
	Replicates int
	Layers     []Layer
	OneNet     bool
	Record     string
}

// planes returns the slices that a state file holds, in its order.
func (f *Film) planes() (counts [][]uint32, sums [][]float64) {
	return [][]uint32{f.counts, f.dropped}, append([][]float64{f.sums}, f.layerSums...)
}

// Save writes the sums, so that a render can go on later, or be merged with others, to the same bits.
//
// The form: a line with name and version; the length of a JSON header (uint32) and the header; counts, dropped
// (uint32); sums, sums of layers (float64); the CRC-64 (ECMA) of all that. Numbers are little-endian.
func (f *Film) Save(w io.Writer) error {
	h, err := json.Marshal(header{f.width, f.height, f.k, f.layers, f.oneNet, f.record})
	if err != nil {
		return fmt.Errorf("film: state: %w", err)
	}
	if len(h) > maxHeader {
		return fmt.Errorf("film: state: a header of %d bytes is longer than %d", len(h), maxHeader)
	}
	sum := crc64.New(stateTable)
	b := bufio.NewWriterSize(w, 1<<16)
	out := io.MultiWriter(b, sum)
	word := make([]byte, 8)
	put := func(p []byte) {
		if err == nil {
			_, err = out.Write(p)
		}
	}
	put([]byte(stateMagic))
	binary.LittleEndian.PutUint32(word, uint32(len(h)))
	put(word[:4])
	put(h)
	chunk := make([]byte, 0, 1<<15)
	counts, sums := f.planes()
	for _, p := range counts {
		for len(p) > 0 && err == nil {
			n := min(len(p), cap(chunk)/4)
			chunk = chunk[:0]
			for _, v := range p[:n] {
				chunk = binary.LittleEndian.AppendUint32(chunk, v)
			}
			put(chunk)
			p = p[n:]
		}
	}
	for _, p := range sums {
		for len(p) > 0 && err == nil {
			n := min(len(p), cap(chunk)/8)
			chunk = chunk[:0]
			for _, v := range p[:n] {
				chunk = binary.LittleEndian.AppendUint64(chunk, math.Float64bits(v))
			}
			put(chunk)
			p = p[n:]
		}
	}
	if err == nil {
		binary.LittleEndian.PutUint64(word, sum.Sum64())
		_, err = b.Write(word)
	}
	if err == nil {
		err = b.Flush()
	}
	if err != nil {
		return fmt.Errorf("film: state: %w", err)
	}
	return nil
}

// Load reads what Save wrote. size is the number of bytes that r holds, and is checked before anything of the film is
// allocated; maxBytes is as in Config. Sums that are not finite, or that stand without a count, are refused.
func Load(r io.Reader, size, maxBytes int64) (*Film, error) {
	f, err := load(r, size, maxBytes)
	if err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = errors.New("the file ends too early")
		}
		return nil, fmt.Errorf("film: state: %w", err)
	}
	return f, nil
}

func load(r io.Reader, size, maxBytes int64) (*Film, error) {
	sum := crc64.New(stateTable)
	b := bufio.NewReaderSize(r, 1<<16)
	in := io.TeeReader(b, sum)
	start := make([]byte, len(stateMagic)+4)
	if _, err := io.ReadFull(in, start); err != nil {
		return nil, err
	}
	if string(start[:len(stateMagic)]) != stateMagic {
		return nil, fmt.Errorf("it does not start with %q", stateMagic)
	}
	n := binary.LittleEndian.Uint32(start[len(stateMagic):])
	if n > maxHeader {
		return nil, fmt.Errorf("a header of %d bytes is longer than %d", n, maxHeader)
	}
	text := make([]byte, n)
	if _, err := io.ReadFull(in, text); err != nil {
		return nil, err
	}
	var h header
	if err := json.Unmarshal(text, &h); err != nil {
		return nil, fmt.Errorf("header: %w", err)
	}
	if h.Replicates < 1 || h.Replicates > Replicates {
		return nil, fmt.Errorf("%d replicates; outside [1, %d]", h.Replicates, Replicates)
	}
	c := Config{Width: h.Width, Height: h.Height, SPP: h.Replicates, Layers: h.Layers, OneNet: h.OneNet, Record: h.Record, MaxBytes: maxBytes}
	if err := c.check(); err != nil {
		return nil, err
	}
	if want := int64(len(start)) + int64(n) + c.bytes() + 8; size != want {
		return nil, fmt.Errorf("%d bytes where its header asks for %d", size, want)
	}
	f, err := New(c)
	if err != nil {
		return nil, err
	}
	chunk := make([]byte, 1<<15)
	counts, sums := f.planes()
	for _, p := range counts {
		for len(p) > 0 {
			m := min(len(p), len(chunk)/4)
			if _, err := io.ReadFull(in, chunk[:4*m]); err != nil {
				return nil, err
			}
			for i := range p[:m] {
				p[i] = binary.LittleEndian.Uint32(chunk[4*i:])
			}
			p = p[m:]
		}
	}
	for _, p := range sums {
		for len(p) > 0 {
			m := min(len(p), len(chunk)/8)
			if _, err := io.ReadFull(in, chunk[:8*m]); err != nil {
				return nil, err
			}
			for i := range p[:m] {
				p[i] = math.Float64frombits(binary.LittleEndian.Uint64(chunk[8*i:]))
			}
			p = p[m:]
		}
	}
	want := sum.Sum64()
	if _, err := io.ReadFull(b, chunk[:8]); err != nil {
		return nil, err
	}
	if got := binary.LittleEndian.Uint64(chunk); got != want {
		return nil, fmt.Errorf("checksum %016x where %016x is written: the file is damaged", want, got)
	}
	for _, p := range sums {
		stride := len(p) / len(f.counts)
		for i, v := range p {
			if !(math.Abs(v) <= limit*math.MaxUint32) || f.counts[i/stride] == 0 && v != 0 {
				return nil, fmt.Errorf("a sum of %v over %d samples", v, f.counts[i/stride])
			}
		}
	}
	return f, nil
}
