package imageio

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/colour"
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
	chunks             int32 // of a part of several
	levels             byte  // 0: the full size alone
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

// decodeEXR reads flat files of scan lines or tiles (the full size of several), of one part or more, with channels of half,
// float or uint. Values are kept as they are, NaN and infinities included.
//
// Of several parts the first that holds colours is the picture, else the first that is read. The channels of other parts of
// the same data window come with it, called PART.CHANNEL; what else there is is noted.
func decodeEXR(data []byte) (*Picture, error) {
	r := &exrBytes{b: data[4:]}
	parts, version, err := exrReadHeaders(r)
	if err != nil {
		return nil, err
	}
	shown, notes := exrShown(parts)
	if len(shown) == 0 {
		return nil, unsupported(kindEXR, "%s", notes[0])
	}
	base := parts[shown[0]]
	w64, h64 := base.size()
	channels, bits := 0, 0.0 // bits of a texel, as few as they can be in the file
	for _, i := range shown {
		bits += float64(8*parts[i].texel()) / exrMethods[parts[i].method].ratio
		channels += len(parts[i].channels)
	}
	if err := checkSize(kindEXR, w64, h64, bits, len(r.b), 1); err != nil {
		return nil, err
	}
	if channels > MaxChannels {
		return nil, unsupported(kindEXR, "more than %d channels", MaxChannels)
	}
	if n := w64 * h64 * int64(channels); n > 4*MaxTexels {
		return nil, bad(kindEXR, "%d channels of %d x %d texels are %d values, at most %d are read", channels, w64, h64, n, 4*MaxTexels)
	}
	tables, first, err := exrTables(r, parts, version, len(data))
	if err != nil {
		return nil, err
	}
	p := &Picture{W: int(w64), H: int(h64), Attrs: base.text, Notes: notes}
	all := &exrHeader{}
	var planes [][]float32
	for _, i := range shown {
		h := parts[i]
		c := exrChunks{table: tables[i], first: first, data: data, part: -1}
		if version&exrMultipart != 0 {
			c.part = int32(i)
		}
		read := exrReadBlocks
		if h.tiled(version) {
			read = exrReadTiles
		}
		got, err := read(p, h, &c)
		if err != nil {
			if c.part >= 0 {
				err = exrInPart(h, err)
			}
			return nil, err
		}
		planes = append(planes, got...)
		for _, ch := range h.channels {
			if i != shown[0] && !strings.HasPrefix(ch.name, h.text["name"]+".") {
				ch.name = h.text["name"] + "." + ch.name
			}
			all.channels = append(all.channels, ch)
		}
	}
	for i, c := range all.channels {
		if slices.ContainsFunc(all.channels[:i], func(o exrChannel) bool { return o.name == c.name }) {
			return nil, bad(kindEXR, "two parts have a channel that comes out as %q", c.name)
		}
	}
	exrOrder(p, all, planes)
	base.channels = all.channels
	exrNotes(p, base)
	return p, nil
}

// exrInPart says in which part a fault is.
func exrInPart(h *exrHeader, err error) error {
	var fe *FormatError
	if errors.As(err, &fe) {
		fe.Msg = fmt.Sprintf("part %q: %s", h.text["name"], fe.Msg)
	}
	return err
}

// MaxParts is the most parts of an OpenEXR file that is read.
const MaxParts = 256

// exrReadHeaders reads version and headers.
func exrReadHeaders(r *exrBytes) (parts []*exrHeader, version uint32, err error) {
	if len(r.b) < 4 {
		return nil, 0, bad(kindEXR, "the file ends after its magic number")
	}
	version = uint32(r.i32())
	if v := version & 0xff; v != 2 {
		return nil, 0, unsupported(kindEXR, "version %d of the format; version 2 is read", v)
	}
	if extra := version &^ (0xff | exrTiled | exrLongNames | exrDeep | exrMultipart); extra != 0 {
		return nil, 0, bad(kindEXR, "unknown version flags %#x", extra)
	}
	if version&exrMultipart == 0 {
		if version&exrDeep != 0 {
			return nil, 0, unsupported(kindEXR, "deep data; flat files are read")
		}
		h, err := exrReadHeader(r, version)
		if err != nil {
			return nil, 0, err
		}
		if h.tiled(version) && !h.seen["tiles"] {
			return nil, 0, bad(kindEXR, "a file of tiles without the attribute \"tiles\"")
		}
		return []*exrHeader{h}, version, nil
	}
	names := map[string]bool{}
	for {
		if len(r.b) > 0 && r.b[0] == 0 { // an empty header ends them
			r.take(1)
			break
		}
		if len(parts) == MaxParts {
			return nil, 0, unsupported(kindEXR, "more than %d parts", MaxParts)
		}
		h, err := exrReadHeader(r, version)
		if err != nil {
			return nil, 0, exrInPart(&exrHeader{text: map[string]string{"name": fmt.Sprint("number ", len(parts))}}, err)
		}
		for _, need := range []string{"name", "type", "chunkCount"} {
			if !h.seen[need] {
				return nil, 0, bad(kindEXR, "part number %d lacks the attribute %q", len(parts), need)
			}
		}
		name := h.text["name"]
		switch kind := h.text["type"]; {
		case name == "" || names[name]:
			return nil, 0, bad(kindEXR, "part number %d is called %.100q, as no other or none", len(parts), name)
		case !slices.Contains([]string{"scanlineimage", "tiledimage", "deepscanline", "deeptile"}, kind):
			return nil, 0, unsupported(kindEXR, "part %q is of the type %.100q", name, kind)
		case h.chunks < 1:
			return nil, 0, bad(kindEXR, "part %q claims %d chunks", name, h.chunks)
		case h.tiled(version) && !h.seen["tiles"]:
			return nil, 0, bad(kindEXR, "part %q is of tiles, without the attribute \"tiles\"", name)
		}
		names[name] = true
		parts = append(parts, h)
	}
	if len(parts) == 0 {
		return nil, 0, bad(kindEXR, "the file has no part")
	}
	return parts, version, nil
}

// exrShown returns the parts that make the picture, the one that gives it its size and colours first, and notes on the rest.
func exrShown(parts []*exrHeader) (shown []int, notes []string) {
	name := func(h *exrHeader) string {
		if len(parts) == 1 {
			return ""
		}
		return fmt.Sprintf("part %q: ", h.text["name"])
	}
	var flat []int
	base := -1
	for i, h := range parts {
		m := exrMethods[h.method]
		switch {
		case strings.HasPrefix(h.text["type"], "deep") && len(parts) > 1:
			notes = append(notes, name(h)+"deep data; flat parts are read")
			continue
		case m.ratio == 0:
			notes = append(notes, fmt.Sprintf("%s%s compression; %s", name(h), m.name, exrRead))
			continue
		}
		flat = append(flat, i)
		if base < 0 || !parts[base].coloured() && h.coloured() {
			base = i
		}
	}
	for _, i := range flat {
		h := parts[i]
		switch {
		case i == base:
			shown = append([]int{i}, shown...)
		case [4]int32{h.x0, h.y0, h.x1, h.y1} == [4]int32{parts[base].x0, parts[base].y0, parts[base].x1, parts[base].y1}:
			shown = append(shown, i)
		default:
			notes = append(notes, name(h)+"its data window is not that of the picture; it is left out")
		}
	}
	return shown, notes
}

// coloured reports whether a part holds a picture of colours or greys.
func (h *exrHeader) coloured() bool {
	has := func(name string) bool {
		return slices.ContainsFunc(h.channels, func(c exrChannel) bool { return c.name == name })
	}
	return has("R") && has("G") && has("B") || has("Y")
}

// size returns the width and height of the data window.
func (h *exrHeader) size() (w, hh int64) {
	return int64(h.x1) - int64(h.x0) + 1, int64(h.y1) - int64(h.y0) + 1
}

// texel returns the bytes of a texel.
func (h *exrHeader) texel() int {
	n := 0
	for _, c := range h.channels {
		n += c.typ.size()
	}
	return n
}

func (h *exrHeader) tiled(version uint32) bool {
	if version&exrMultipart != 0 {
		return strings.HasSuffix(h.text["type"], "tile") || h.text["type"] == "tiledimage"
	}
	return version&exrTiled != 0
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
		"displayWindow": "box2i", "tiles": "tiledesc", "lineOrder": "lineOrder", "chromaticities": "chromaticities",
		"name": "string", "type": "string", "chunkCount": "int"}[name]
	if want != "" && typ != want {
		return bad(kindEXR, "the attribute %q is of type %q, must be %q", name, typ, want)
	}
	fixed := map[string]int{"compression": 1, "lineOrder": 1, "box2i": 16, "chromaticities": 32, "tiledesc": 9, "int": 4}
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
			return unsupported(kindEXR, "compression method number %d; %s", h.method, exrRead)
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
	case name == "chunkCount":
		h.chunks = v.i32()
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
