package imageio

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
)

// The layout of OpenEXR files: the magic number, a version with flags, a header of attributes, a table with the place
// of each block of scan lines, the blocks. All numbers are little-endian.
//
// Source: Academy Software Foundation, OpenEXR File Layout (openexr.com).
const (
	kindEXR  = "OpenEXR"
	exrMagic = 20000630

	exrTiled     = 0x200
	exrLongNames = 0x400
	exrDeep      = 0x800
	exrMultipart = 0x1000
)

// The compression methods by their number in a file.
const (
	exrNone = iota
	exrRLE
	exrZIPS
	exrZIP
	exrPIZ
	exrPXR24
)

var exrMethods = []struct {
	name  string
	lines int     // scan lines of a block
	ratio float64 // the most that a block can shrink; 0: this package cannot read it
}{
	{"NONE", 1, 1}, {"RLE", 1, 64}, {"ZIPS", 1, maxRatio}, {"ZIP", 16, maxRatio},
	{"PIZ", 32, pizRatio}, {"PXR24", 16, maxRatio * 4 / 3}, {"B44", 32, 0}, {"B44A", 32, 0}, {"DWAA", 32, 0}, {"DWAB", 256, 0},
	{"HTJ2K256", 256, 0}, {"HTJ2K32", 32, 0},
}

// exrType is how a channel is stored.
type exrType int32

const (
	exrUint exrType = iota
	exrHalf
	exrFloat
)

// size returns the bytes of one value.
func (t exrType) size() int {
	if t == exrHalf {
		return 2
	}
	return 4
}

// exrRead names the methods that are read, for messages.
const exrRead = "NONE, RLE, ZIPS, ZIP, PIZ and PXR24 are read"

// exrUnpacker undoes the compression of a file's blocks.
type exrUnpacker struct {
	method int
	piz    pizScratch
	planes []exrPlane
}

// block undoes the compression of a block of lines of w texels, which must have exactly n bytes.
func (u *exrUnpacker) block(packed []byte, channels []exrChannel, w, lines, n int) ([]byte, error) {
	if u.method != exrPIZ && u.method != exrPXR24 {
		return exrUnpack(u.method, packed, n)
	}
	u.planes = u.planes[:0]
	short := 0
	for _, c := range channels {
		u.planes = append(u.planes, exrPlane{w, c.typ})
		short += w * lines * c.typ.packed24()
	}
	if u.method == exrPIZ {
		return u.piz.unpack(packed, u.planes, lines, n)
	}
	z, err := exrInflate(packed, short)
	if err != nil {
		return nil, err
	}
	return exrUnpack24(z, u.planes, lines, n), nil
}

// exrInflate undoes deflate, which must give exactly n bytes.
func exrInflate(packed []byte, n int) ([]byte, error) {
	t := make([]byte, n)
	z, err := zlib.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	if _, err := io.ReadFull(z, t); err != nil {
		return nil, fmt.Errorf("packed data give less than %d bytes: %w", n, err)
	}
	switch k, err := z.Read(make([]byte, 1)); {
	case k > 0:
		return nil, fmt.Errorf("packed data give more than %d bytes", n)
	case err != io.EOF:
		return nil, fmt.Errorf("packed data: %w", err)
	}
	return t, nil
}

// exrUnpack undoes ZIP, ZIPS or RLE: it decodes packed, which must give exactly n bytes, then undoes the predictor
// (each byte was stored as its difference from the one before, plus 128) and the split into even and odd bytes.
//
// Source of predictor and split: they are not in the layout document; from memory of the published library
// (ImfZip.cpp), checked against its files.
func exrUnpack(method int, packed []byte, n int) ([]byte, error) {
	var t []byte
	var err error
	if method == exrRLE {
		t = make([]byte, n)
		err = exrRuns(packed, t)
	} else {
		t, err = exrInflate(packed, n)
	}
	if err != nil {
		return nil, err
	}
	for i := 1; i < n; i++ {
		t[i] += t[i-1] - 128
	}
	out := make([]byte, n)
	half := (n + 1) / 2
	for i := range out {
		if i&1 == 0 {
			out[i] = t[i/2]
		} else {
			out[i] = t[half+i/2]
		}
	}
	return out, nil
}

// exrRuns undoes run-length coding: a count byte k below 128 repeats the next byte k+1 times, from 128 on it stands
// before 256-k bytes as they are.
func exrRuns(packed, t []byte) error {
	for len(packed) > 0 {
		k, lit := int(packed[0])+1, false
		if packed[0] >= 128 {
			k, lit = 256-int(packed[0]), true
		}
		packed = packed[1:]
		if k > len(t) {
			return fmt.Errorf("a run of %d bytes where %d are left", k, len(t))
		}
		switch {
		case lit && len(packed) >= k:
			copy(t, packed[:k])
			packed = packed[k:]
		case !lit && len(packed) >= 1:
			for i := range k {
				t[i] = packed[0]
			}
			packed = packed[1:]
		default:
			return fmt.Errorf("a run ends after the packed data do")
		}
		t = t[k:]
	}
	if len(t) > 0 {
		return fmt.Errorf("packed data end %d bytes early", len(t))
	}
	return nil
}

// exrPack is the inverse of exrUnpack for ZIP and ZIPS.
func exrPack(z *zlib.Writer, buf *bytes.Buffer, raw []byte) ([]byte, error) {
	n := len(raw)
	t := make([]byte, n)
	half := (n + 1) / 2
	for i, b := range raw {
		if i&1 == 0 {
			t[i/2] = b
		} else {
			t[half+i/2] = b
		}
	}
	for i := n - 1; i > 0; i-- {
		t[i] = t[i] - t[i-1] + 128
	}
	buf.Reset()
	z.Reset(buf)
	if _, err := z.Write(t); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}
