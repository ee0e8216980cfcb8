package imageio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
)

// EXRFile reads an OpenEXR file of scan lines some rows and some parts at a time, so that it may be larger than memory. Several
// goroutines may read at once.
type EXRFile struct {
	W, H  int
	Parts []EXRInfo

	path    string
	file    *os.File
	size    int64
	version uint32
	heads   []*exrHeader
	tables  [][]byte
	first   uint64
}

// EXRInfo says what a part holds.
type EXRInfo struct {
	Name     string            // empty in a file of one part
	Channels []string          // in the file's order
	Attrs    map[string]string // text attributes
}

// exrFront is how much of a file is read for its headers and tables: more than MaxParts of them take.
const exrFront = 1 << 24

// OpenEXR opens a file whose parts all have the size of the first; Close it. Tiles are not read this way.
func OpenEXR(path string) (*EXRFile, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	f := &EXRFile{path: path, file: file}
	if err := f.open(); err != nil {
		file.Close()
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return f, nil
}

func (f *EXRFile) open() error {
	info, err := f.file.Stat()
	if err != nil {
		return err
	}
	f.size = info.Size()
	front := make([]byte, min(f.size, exrFront))
	if _, err := f.file.ReadAt(front, 0); err != nil && err != io.EOF {
		return err
	}
	if len(front) < 4 || !bytes.Equal(front[:4], binary.LittleEndian.AppendUint32(nil, exrMagic)) {
		return bad(kindEXR, "it does not begin as such a file does")
	}
	r := &exrBytes{b: front[4:]}
	if f.heads, f.version, err = exrReadHeaders(r); err != nil {
		return err
	}
	for i, h := range f.heads {
		w, hh := h.size()
		if h.tiled(f.version) || f.version&exrDeep != 0 || strings.HasPrefix(h.text["type"], "deep") {
			return unsupported(kindEXR, "tiles or deep data; flat scan lines are read here")
		}
		if i == 0 {
			if w < 1 || hh < 1 || w > MaxSide || hh > MaxSide {
				return bad(kindEXR, "size %d x %d texels, each side must be 1 to %d", w, hh, MaxSide)
			}
			f.W, f.H = int(w), int(hh)
		}
		if int(w) != f.W || int(hh) != f.H {
			return unsupported(kindEXR, "parts of several sizes; here all must have %d x %d texels", f.W, f.H)
		}
		if exrMethods[h.method].ratio == 0 {
			return unsupported(kindEXR, "compression %s; %s", exrMethods[h.method].name, exrRead)
		}
		p := EXRInfo{Name: h.text["name"], Attrs: h.text}
		for _, c := range h.channels {
			p.Channels = append(p.Channels, c.name)
		}
		f.Parts = append(f.Parts, p)
	}
	f.tables, f.first, err = exrTables(r, f.heads, f.version, len(front))
	return err
}

// Close closes the file.
func (f *EXRFile) Close() error { return f.file.Close() }

// Part returns the index of a part by name, -1 where there is none.
func (f *EXRFile) Part(name string) int {
	return slices.IndexFunc(f.Parts, func(p EXRInfo) bool { return p.Name == name })
}

// Channel returns the index of a channel of a part, -1 where there is none.
func (f *EXRFile) Channel(part int, name string) int {
	return slices.Index(f.Parts[part].Channels, name)
}

// Rows reads rows y0 <= y < y1 of a part: planes by channel, row-major.
func (f *EXRFile) Rows(part, y0, y1 int) ([][]float32, error) {
	h := f.heads[part]
	lines, texel := exrMethods[h.method].lines, h.texel()
	u := exrUnpacker{method: h.method}
	planes := make([][]float32, len(h.channels))
	for k := range planes {
		planes[k] = make([]float32, f.W*(y1-y0))
	}
	for b := y0 / lines; b*lines < y1; b++ {
		n := min(lines, f.H-b*lines)
		buf, err := f.block(part, b, n*f.W*texel, &u, n)
		if err != nil {
			err = bad(kindEXR, "the block of row %d: %v", b*lines, err)
			if f.version&exrMultipart != 0 {
				err = exrInPart(h, err)
			}
			return nil, fmt.Errorf("%s: %w", f.path, err)
		}
		for j := range n {
			y := b*lines + j - y0
			for k, ch := range h.channels {
				size := f.W * ch.typ.size()
				if y >= 0 && y < y1-y0 {
					exrConvert(planes[k][y*f.W:(y+1)*f.W], buf[:size], ch.typ)
				}
				buf = buf[size:]
			}
		}
	}
	return planes, nil
}

// block reads and unpacks block b of a part: n bytes of so many lines.
func (f *EXRFile) block(part, b, n int, u *exrUnpacker, lines int) ([]byte, error) {
	at := binary.LittleEndian.Uint64(f.tables[part][8*b:])
	front := make([]byte, 8, 12)
	if f.version&exrMultipart != 0 {
		front = front[:12]
	}
	if at < f.first || at > uint64(f.size) || uint64(f.size)-at < uint64(len(front)) {
		return nil, fmt.Errorf("it is said to start at byte %d of %d", at, f.size)
	}
	if _, err := f.file.ReadAt(front, int64(at)); err != nil {
		return nil, err
	}
	at += uint64(len(front))
	h := f.heads[part]
	if len(front) == 12 {
		if got := int32(binary.LittleEndian.Uint32(front)); int(got) != part {
			return nil, fmt.Errorf("it says that it is of part number %d", got)
		}
		front = front[4:]
	}
	line, size := int32(binary.LittleEndian.Uint32(front)), int32(binary.LittleEndian.Uint32(front[4:]))
	if int64(line) != int64(h.y0)+int64(b*exrMethods[h.method].lines) {
		return nil, fmt.Errorf("it says that it is of line %d", line)
	}
	if size < 0 || int64(size) > f.size-int64(at) || int(size) > n {
		return nil, fmt.Errorf("it claims %d bytes; unpacked it has %d", size, n)
	}
	buf := make([]byte, size)
	if _, err := f.file.ReadAt(buf, int64(at)); err != nil {
		return nil, err
	}
	if int(size) == n { // a block that does not shrink is stored as it is
		return buf, nil
	}
	if h.method == exrNone {
		return nil, fmt.Errorf("it has %d bytes, must have %d", size, n)
	}
	return u.block(buf, h.channels, f.W, lines, n)
}
