package imageio

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"
	"strings"

	"catchlight/scene/colour"
	"catchlight/scene/half"
)

// exrHeader is what a header says, as far as this package needs it.
type exrHeader struct {
	channels           []exrChannel
	method             int
	x0, y0, x1, y1     int32 // data window, inclusive
	dx0, dy0, dx1, dy1 int32 // display window
	lineOrder          byte
	chromaticities     colour.Primaries
	seen               map[string]bool
	text               map[string]string
	hasChromaticities  bool
	tileW, tileH       uint32
	levels             byte // 0: the full size alone
}

type exrChannel struct {
	name string
	typ  exrType
}

// exrBytes is a reader over memory that remembers whether it ran out.
type exrBytes struct {
	b     []byte
	short bool
}

func (r *exrBytes) take(n int) []byte {
	if n < 0 || n > len(r.b) {
		r.short = true
		return make([]byte, min(max(n, 0), 64))
	}
	out := r.b[:n]
	r.b = r.b[n:]
	return out
}

func (r *exrBytes) u8() byte   { return r.take(1)[0] }
func (r *exrBytes) i32() int32 { return int32(binary.LittleEndian.Uint32(r.take(4))) }
func (r *exrBytes) f32() float64 {
	return float64(math.Float32frombits(binary.LittleEndian.Uint32(r.take(4))))
}

// str reads a text that ends with 0, of at most limit bytes before it.
func (r *exrBytes) str(limit int) (string, bool) {
	i := bytes.IndexByte(r.b[:min(len(r.b), limit+1)], 0)
	if i < 0 {
		r.short = r.short || len(r.b) <= limit
		return "", false
	}
	s := string(r.b[:i])
	r.b = r.b[i+1:]
	return s, true
}

// decodeEXR reads single-part files of scan lines or tiles (the full size of several) without compression or with RLE, ZIPS or ZIP, channels of half, float
// or uint. Values are kept as they are, NaN and infinities included.
func decodeEXR(data []byte) (*Picture, error) {
	r := &exrBytes{b: data[4:]}
	if len(r.b) < 4 {
		return nil, bad(kindEXR, "the file ends after its magic number")
	}
	version := uint32(r.i32())
	if v := version & 0xff; v != 2 {
		return nil, unsupported(kindEXR, "version %d of the format; version 2 is read", v)
	}
	if extra := version &^ (0xff | exrTiled | exrLongNames | exrDeep | exrMultipart); extra != 0 {
		return nil, bad(kindEXR, "unknown version flags %#x", extra)
	}
	switch {
	case version&exrMultipart != 0:
		return nil, unsupported(kindEXR, "a file of several parts; single-part files are read")
	case version&exrDeep != 0:
		return nil, unsupported(kindEXR, "deep data; flat files are read")
	}
	h, err := exrReadHeader(r, version)
	if err != nil {
		return nil, err
	}
	tiled := version&exrTiled != 0
	if tiled && !h.seen["tiles"] {
		return nil, bad(kindEXR, "a file of tiles without the attribute \"tiles\"")
	}
	m := exrMethods[h.method]
	if m.ratio == 0 {
		return nil, unsupported(kindEXR, "%s compression; NONE, RLE, ZIPS and ZIP are read", m.name)
	}
	texel := 0
	for _, c := range h.channels {
		texel += c.typ.size()
	}
	w64, h64 := int64(h.x1)-int64(h.x0)+1, int64(h.y1)-int64(h.y0)+1
	if err := checkSize(kindEXR, w64, h64, float64(8*texel), len(r.b), m.ratio); err != nil {
		return nil, err
	}
	if n := w64 * h64 * int64(len(h.channels)); n > 4*MaxTexels {
		return nil, bad(kindEXR, "%d channels of %d x %d texels are %d values, at most %d are read", len(h.channels), w64, h64, n, 4*MaxTexels)
	}
	p := &Picture{W: int(w64), H: int(h64), Attrs: h.text}
	read := exrReadBlocks
	if tiled {
		read = exrReadTiles
	}
	if err := read(p, h, r, len(data)-len(r.b), data, texel); err != nil {
		return nil, err
	}
	exrNotes(p, h)
	return p, nil
}

// exrReadHeader reads attributes up to the empty name that ends them, and checks that what is required is there.
func exrReadHeader(r *exrBytes, version uint32) (*exrHeader, error) {
	h := &exrHeader{seen: map[string]bool{}, text: map[string]string{}}
	limit := 31
	if version&exrLongNames != 0 {
		limit = 255
	}
	for {
		name, ok := r.str(limit)
		switch {
		case !ok && r.short:
			return nil, bad(kindEXR, "the file ends in its header")
		case !ok:
			return nil, bad(kindEXR, "an attribute's name is longer than %d bytes", limit)
		case name == "" && len(h.seen) == 0:
			return nil, bad(kindEXR, "the header is empty")
		}
		if name == "" {
			break
		}
		typ, ok := r.str(limit)
		if !ok || len(r.b) < 4 {
			return nil, bad(kindEXR, "the file ends, or a type has no end, at the attribute %q", name)
		}
		size := r.i32()
		if size < 0 || int(size) > len(r.b) {
			return nil, bad(kindEXR, "the attribute %q claims %d bytes, %d are left", name, size, len(r.b))
		}
		if h.seen[name] {
			return nil, bad(kindEXR, "the attribute %q stands twice", name)
		}
		h.seen[name] = true
		if err := h.attribute(name, typ, r.take(int(size)), limit); err != nil {
			return nil, err
		}
	}
	for _, need := range []string{"channels", "compression", "dataWindow", "displayWindow", "lineOrder"} {
		if !h.seen[need] {
			return nil, bad(kindEXR, "the header lacks the attribute %q", need)
		}
	}
	return h, nil
}

// attribute takes in one attribute; unknown ones are passed over.
func (h *exrHeader) attribute(name, typ string, value []byte, limit int) error {
	want := map[string]string{"channels": "chlist", "compression": "compression", "dataWindow": "box2i",
		"displayWindow": "box2i", "tiles": "tiledesc", "lineOrder": "lineOrder", "chromaticities": "chromaticities"}[name]
	if want != "" && typ != want {
		return bad(kindEXR, "the attribute %q is of type %q, must be %q", name, typ, want)
	}
	fixed := map[string]int{"compression": 1, "lineOrder": 1, "box2i": 16, "chromaticities": 32, "tiledesc": 9}
	if n, ok := fixed[typ]; ok && want != "" && len(value) != n {
		return bad(kindEXR, "the attribute %q has %d bytes, must have %d", name, len(value), n)
	}
	v := &exrBytes{b: value}
	switch {
	case name == "channels":
		return h.channelList(v, limit)
	case name == "compression":
		h.method = int(v.u8())
		if h.method >= len(exrMethods) {
			return unsupported(kindEXR, "compression method number %d; NONE, RLE, ZIPS and ZIP are read", h.method)
		}
	case name == "dataWindow":
		h.x0, h.y0, h.x1, h.y1 = v.i32(), v.i32(), v.i32(), v.i32()
	case name == "displayWindow":
		h.dx0, h.dy0, h.dx1, h.dy1 = v.i32(), v.i32(), v.i32(), v.i32()
	case name == "lineOrder":
		if h.lineOrder = v.u8(); h.lineOrder > 2 {
			return bad(kindEXR, "line order %d, must be 0, 1 or 2", h.lineOrder)
		}
	case name == "tiles":
		h.tileW, h.tileH = uint32(v.i32()), uint32(v.i32())
		if h.tileW < 1 || h.tileH < 1 || h.tileW > MaxSide || h.tileH > MaxSide {
			return bad(kindEXR, "tiles of %d x %d texels, each side must be 1 to %d", h.tileW, h.tileH, MaxSide)
		}
		if h.levels = v.u8() & 0xf; h.levels > 2 {
			return bad(kindEXR, "level mode %d, must be 0, 1 or 2", h.levels)
		}
	case name == "chromaticities":
		for i := range h.chromaticities {
			h.chromaticities[i] = v.f32()
		}
		h.hasChromaticities = true
	case typ == "string":
		h.text[name] = strings.ToValidUTF8(string(value), "\ufffd")
	}
	return nil
}

// channelList reads name, type, a flag with 3 unused bytes and the sampling in x and y of each channel.
func (h *exrHeader) channelList(v *exrBytes, limit int) error {
	for {
		name, ok := v.str(limit)
		if !ok {
			return bad(kindEXR, "the channel list has no end, or a name longer than %d bytes", limit)
		}
		if name == "" {
			break
		}
		if len(v.b) < 16 {
			return bad(kindEXR, "the channel list ends in channel %q", name)
		}
		typ := exrType(v.i32())
		v.take(4)
		xs, ys := v.i32(), v.i32()
		switch {
		case typ < exrUint || typ > exrFloat:
			return bad(kindEXR, "channel %q has the type %d, must be 0 (uint), 1 (half) or 2 (float)", name, typ)
		case xs < 1 || ys < 1:
			return bad(kindEXR, "channel %q is sampled every %d x %d texels, both must be above 0", name, xs, ys)
		case xs != 1 || ys != 1:
			return unsupported(kindEXR, "channel %q is sub-sampled %d x %d; full resolution is read", name, xs, ys)
		}
		if n := len(h.channels); n > 0 && h.channels[n-1].name >= name {
			return bad(kindEXR, "channel %q follows %q: not in alphabetical order, or twice there", name, h.channels[n-1].name)
		}
		if len(h.channels) == MaxChannels {
			return unsupported(kindEXR, "more than %d channels", MaxChannels)
		}
		h.channels = append(h.channels, exrChannel{name, typ})
	}
	if len(v.b) > 0 {
		return bad(kindEXR, "%d bytes follow the end of the channel list", len(v.b))
	}
	if len(h.channels) == 0 {
		return bad(kindEXR, "no channels")
	}
	return nil
}

// exrReadBlocks fills the picture's planes from the blocks that the table at r says. offset is where r stands in data,
// texel how many bytes a texel has.
func exrReadBlocks(p *Picture, h *exrHeader, r *exrBytes, offset int, data []byte, texel int) error {
	m := exrMethods[h.method]
	blocks := (p.H + m.lines - 1) / m.lines
	if len(r.b)/8 < blocks {
		return bad(kindEXR, "the file ends in its table of %d blocks", blocks)
	}
	table := r.take(8 * blocks)
	first := uint64(offset + 8*blocks)
	planes := make([][]float32, len(h.channels))
	for c := range planes {
		planes[c] = make([]float32, p.W*p.H)
	}
	for b := range blocks {
		y := b * m.lines
		at := binary.LittleEndian.Uint64(table[8*b:])
		line := int64(h.y0) + int64(y)
		if at == 0 {
			return bad(kindEXR, "scan line %d is missing: its block was never written", line)
		}
		if at < first || at > uint64(len(data)) || uint64(len(data))-at < 8 {
			return bad(kindEXR, "the block of scan line %d is said to start at byte %d, outside %d to %d", line, at, first, len(data)-8)
		}
		c := &exrBytes{b: data[at:]}
		got, size := c.i32(), c.i32()
		if int64(got) != line {
			return bad(kindEXR, "the block of scan line %d says that it is of line %d", line, got)
		}
		lines := min(m.lines, p.H-y)
		raw := lines * p.W * texel
		if size < 0 || int(size) > len(c.b) || int(size) > raw {
			return bad(kindEXR, "the block of scan line %d claims %d bytes; %d are left in the file, unpacked it has %d", line, size, len(c.b), raw)
		}
		buf := c.take(int(size))
		if int(size) != raw { // a block that does not shrink is stored as it is
			if h.method == exrNone {
				return bad(kindEXR, "the block of scan line %d has %d bytes, must have %d", line, size, raw)
			}
			var err error
			if buf, err = exrUnpack(h.method, buf, raw); err != nil {
				return bad(kindEXR, "the block of scan line %d: %v", line, err)
			}
		}
		for j := range lines {
			for k, ch := range h.channels {
				n := p.W * ch.typ.size()
				exrConvert(planes[k][(y+j)*p.W:(y+j+1)*p.W], buf[:n], ch.typ)
				buf = buf[n:]
			}
		}
	}
	exrOrder(p, h, planes)
	return nil
}

// exrReadTiles fills the picture's planes from the tiles of the full size, whose places stand first in the table at r.
func exrReadTiles(p *Picture, h *exrHeader, r *exrBytes, offset int, data []byte, texel int) error {
	tw, th := int(h.tileW), int(h.tileH)
	nx, ny := (p.W+tw-1)/tw, (p.H+th-1)/th
	if len(r.b)/8 < nx*ny {
		return bad(kindEXR, "the file ends in its table of %d tiles", nx*ny)
	}
	table := r.take(8 * nx * ny)
	first := uint64(offset + 8*nx*ny)
	planes := make([][]float32, len(h.channels))
	for c := range planes {
		planes[c] = make([]float32, p.W*p.H)
	}
	for i := range nx * ny {
		tx, ty := i%nx, i/nx
		at := binary.LittleEndian.Uint64(table[8*i:])
		if at == 0 {
			return bad(kindEXR, "tile (%d, %d) is missing: it was never written", tx, ty)
		}
		if at < first || at > uint64(len(data)) || uint64(len(data))-at < 20 {
			return bad(kindEXR, "tile (%d, %d) is said to start at byte %d, outside %d to %d", tx, ty, at, first, len(data)-20)
		}
		c := &exrBytes{b: data[at:]}
		if gx, gy, lx, ly := c.i32(), c.i32(), c.i32(), c.i32(); int(gx) != tx || int(gy) != ty || lx != 0 || ly != 0 {
			return bad(kindEXR, "tile (%d, %d) says that it is tile (%d, %d) of level (%d, %d)", tx, ty, gx, gy, lx, ly)
		}
		x, y := tx*tw, ty*th
		w, lines := min(tw, p.W-x), min(th, p.H-y)
		size, raw := c.i32(), w*lines*texel
		if size < 0 || int(size) > len(c.b) || int(size) > raw {
			return bad(kindEXR, "tile (%d, %d) claims %d bytes; %d are left in the file, unpacked it has %d", tx, ty, size, len(c.b), raw)
		}
		buf := c.take(int(size))
		if int(size) != raw {
			if h.method == exrNone {
				return bad(kindEXR, "tile (%d, %d) has %d bytes, must have %d", tx, ty, size, raw)
			}
			var err error
			if buf, err = exrUnpack(h.method, buf, raw); err != nil {
				return bad(kindEXR, "tile (%d, %d): %v", tx, ty, err)
			}
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
	exrOrder(p, h, planes)
	return nil
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

// exrOrder names the picture's planes: R G B Y A first, the rest in the file's order.
func exrOrder(p *Picture, h *exrHeader, planes [][]float32) {
	order := make([]int, 0, len(planes))
	for _, name := range []string{"R", "G", "B", "Y", "A"} {
		if i := slices.IndexFunc(h.channels, func(c exrChannel) bool { return c.name == name }); i >= 0 {
			order = append(order, i)
		}
	}
	for i := range h.channels {
		if !slices.Contains(order, i) {
			order = append(order, i)
		}
	}
	p.Depth = 16
	for _, i := range order {
		p.Names = append(p.Names, h.channels[i].name)
		p.Pix = append(p.Pix, planes[i])
		if h.channels[i].typ != exrHalf {
			p.Depth = 32
		}
	}
}

func exrNotes(p *Picture, h *exrHeader) {
	if h.x0 != h.dx0 || h.y0 != h.dy0 || h.x1 != h.dx1 || h.y1 != h.dy1 {
		p.note("the data window (%d %d) - (%d %d) is not the display window (%d %d) - (%d %d); the picture is the data window",
			h.x0, h.y0, h.x1, h.y1, h.dx0, h.dy0, h.dx1, h.dy1)
	}
	if h.hasChromaticities && !h.chromaticities.Near(colour.Rec709) {
		p.Primaries = &h.chromaticities
	}
	for _, c := range h.channels {
		if c.typ == exrUint {
			p.note("channel %s holds whole numbers; above 2^24 they are rounded", c.name)
		}
	}
}
