package imageio

import (
	"catchlight/scene/half"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
)

// exrChunks is where the chunks of a part lie.
type exrChunks struct {
	table []byte // places of the chunks that make the full size
	first uint64 // where chunks begin
	data  []byte
	part  int32 // its number, which stands before each chunk of a file of several; else -1
}

// exrTables reads the tables of places. first is where the chunks of all parts begin.
func exrTables(r *exrBytes, parts []*exrHeader, version uint32, size int) (tables [][]byte, first uint64, err error) {
	for i, h := range parts {
		want := h.fullChunks(version)
		n := want
		if version&exrMultipart != 0 {
			if n = int64(h.chunks); n < want || n > want && !h.tiled(version) && !strings.HasPrefix(h.text["type"], "deep") {
				return nil, 0, bad(kindEXR, "part %q claims %d chunks, must have %d", h.text["name"], n, want)
			}
		}
		if int64(len(r.b)/8) < n {
			what := "blocks"
			if h.tiled(version) {
				what = "tiles"
			}
			if len(parts) > 1 {
				what += fmt.Sprintf(" of part number %d", i)
			}
			return nil, 0, bad(kindEXR, "the file ends in its table of %d %s", n, what)
		}
		tables = append(tables, r.take(int(8*n)))
	}
	return tables, uint64(size - len(r.b)), nil
}

// fullChunks returns how many chunks make the full size; the header's windows may still be of any size.
func (h *exrHeader) fullChunks(version uint32) int64 {
	w, hh := h.size()
	if !h.tiled(version) {
		n := int64(exrMethods[h.method].lines)
		return max(hh+n-1, 0) / n
	}
	tw, th := int64(h.tileW), int64(h.tileH)
	return max((w+tw-1)/tw, 0) * max((hh+th-1)/th, 0)
}

// chunk returns the chunk in a place of the table, behind the number of its part. what names it; least is the bytes that it
// must have behind that number.
func (c *exrChunks) chunk(i, least int, what string) (*exrBytes, error) {
	at := binary.LittleEndian.Uint64(c.table[8*i:])
	if c.part >= 0 {
		least += 4
	}
	size := uint64(len(c.data))
	if at < c.first || at > size || size-at < uint64(least) {
		return nil, bad(kindEXR, "%s is said to start at byte %d, outside %d to %d", what, at, c.first, len(c.data)-least)
	}
	b := &exrBytes{b: c.data[at:]}
	if c.part >= 0 {
		if got := b.i32(); got != c.part {
			return nil, bad(kindEXR, "%s says that it is of part number %d, not %d", what, got, c.part)
		}
	}
	return b, nil
}

// body returns the bytes of a chunk, of which its length stands next, unpacked: n bytes.
func (c *exrChunks) body(b *exrBytes, u *exrUnpacker, h *exrHeader, w, lines, n int, what string) ([]byte, error) {
	size := b.i32()
	if size < 0 || int(size) > len(b.b) || int(size) > n {
		return nil, bad(kindEXR, "%s claims %d bytes; %d are left in the file, unpacked it has %d", what, size, len(b.b), n)
	}
	buf := b.take(int(size))
	if int(size) == n { // a block that does not shrink is stored as it is
		return buf, nil
	}
	if h.method == exrNone {
		return nil, bad(kindEXR, "%s has %d bytes, must have %d", what, size, n)
	}
	buf, err := u.block(buf, h.channels, w, lines, n)
	if err != nil {
		return nil, bad(kindEXR, "%s: %v", what, err)
	}
	return buf, nil
}

// exrReadBlocks returns the planes of a part of scan lines.
func exrReadBlocks(p *Picture, h *exrHeader, c *exrChunks) ([][]float32, error) {
	m, texel := exrMethods[h.method], h.texel()
	blocks := (p.H + m.lines - 1) / m.lines
	u := exrUnpacker{method: h.method}
	planes := make([][]float32, len(h.channels))
	for k := range planes {
		planes[k] = make([]float32, p.W*p.H)
	}
	for b := range blocks {
		y := b * m.lines
		line := int64(h.y0) + int64(y)
		if binary.LittleEndian.Uint64(c.table[8*b:]) == 0 {
			return nil, bad(kindEXR, "scan line %d is missing: its block was never written", line)
		}
		what := fmt.Sprintf("the block of scan line %d", line)
		r, err := c.chunk(b, 8, what)
		if err != nil {
			return nil, err
		}
		if got := r.i32(); int64(got) != line {
			return nil, bad(kindEXR, "%s says that it is of line %d", what, got)
		}
		lines := min(m.lines, p.H-y)
		buf, err := c.body(r, &u, h, p.W, lines, lines*p.W*texel, what)
		if err != nil {
			return nil, err
		}
		for j := range lines {
			for k, ch := range h.channels {
				n := p.W * ch.typ.size()
				exrConvert(planes[k][(y+j)*p.W:(y+j+1)*p.W], buf[:n], ch.typ)
				buf = buf[n:]
			}
		}
	}
	return planes, nil
}

// exrReadTiles returns the planes of a part of tiles: those of the full size, whose places stand first in the table.
func exrReadTiles(p *Picture, h *exrHeader, c *exrChunks) ([][]float32, error) {
	tw, th, texel := int(h.tileW), int(h.tileH), h.texel()
	nx, ny := (p.W+tw-1)/tw, (p.H+th-1)/th
	u := exrUnpacker{method: h.method}
	planes := make([][]float32, len(h.channels))
	for k := range planes {
		planes[k] = make([]float32, p.W*p.H)
	}
	for i := range nx * ny {
		tx, ty := i%nx, i/nx
		what := fmt.Sprintf("tile (%d, %d)", tx, ty)
		if binary.LittleEndian.Uint64(c.table[8*i:]) == 0 {
			return nil, bad(kindEXR, "%s is missing: it was never written", what)
		}
		r, err := c.chunk(i, 20, what)
		if err != nil {
			return nil, err
		}
		if gx, gy, lx, ly := r.i32(), r.i32(), r.i32(), r.i32(); int(gx) != tx || int(gy) != ty || lx != 0 || ly != 0 {
			return nil, bad(kindEXR, "%s says that it is tile (%d, %d) of level (%d, %d)", what, gx, gy, lx, ly)
		}
		x, y := tx*tw, ty*th
		w, lines := min(tw, p.W-x), min(th, p.H-y)
		buf, err := c.body(r, &u, h, w, lines, w*lines*texel, what)
		if err != nil {
			return nil, err
		}
		for j := range lines {
			for k, ch := range h.channels {
				n := w * ch.typ.size()
				exrConvert(planes[k][(y+j)*p.W+x:(y+j)*p.W+x+w], buf[:n], ch.typ)
				buf = buf[n:]
			}
		}
	}
	if h.levels != 0 {
		p.note("of the sizes in the file the full one is read")
	}
	return planes, nil
}

func exrConvert(dst []float32, src []byte, t exrType) {
	switch t {
	case exrHalf:
		for i := range dst {
			dst[i] = half.ToFloat(binary.LittleEndian.Uint16(src[2*i:]))
		}
	case exrFloat:
		for i := range dst {
			dst[i] = math.Float32frombits(binary.LittleEndian.Uint32(src[4*i:]))
		}
	case exrUint:
		for i := range dst {
			dst[i] = float32(binary.LittleEndian.Uint32(src[4*i:]))
		}
	}
}
