package imageio

import (
	"bufio"
	"bytes"
	"cmp"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"

	"catchlight/scene/colour"
	"catchlight/scene/half"
	"catchlight/scene/parallel"
)

// exrLevel is the effort of deflate, its default. In a trial level 1 saved 20 % of the time and gave files 6 to 10 % larger.
const exrLevel = 6

// EXRChannel is a plane to be written: Pix has one value a texel, row-major from the top left.
type EXRChannel struct {
	Name string // 1 to 255 bytes; "R", "G", "B", "A", or layer.name
	Half bool   // store in 16 bits; the plane is stored in 32 all the same where a finite value is beyond 65504
	Pix  []float32
}

// fits reports whether every finite value is finite as a half, that is below 65520.
func fits(pix []float32) bool {
	for _, v := range pix {
		if v-v == 0 && (v >= 65520 || v <= -65520) {
			return false
		}
	}
	return true
}

// WriteEXR writes linear channels as a scan-line file with ZIP compression, primaries Rec. 709, and attrs as string
// attributes, all in alphabetical order. attrs may be nil.
func WriteEXR(path string, w, h int, channels []EXRChannel, attrs map[string]string) error {
	return WriteEXRIn(path, w, h, channels, attrs, colour.Rec709)
}

// WriteEXRIn is WriteEXR for colours of other primaries, which the header states. The values are written as they are.
func WriteEXRIn(path string, w, h int, channels []EXRChannel, attrs map[string]string, in colour.Primaries) error {
	for _, c := range channels {
		if err := checkWrite(kindEXR, path, w, h, 1, len(c.Pix)); err != nil {
			return err
		}
	}
	sorted := slices.Clone(channels)
	slices.SortFunc(sorted, func(a, b EXRChannel) int { return cmp.Compare(a.Name, b.Name) })
	return WriteEXRRows(path, w, h, []EXRPart{{Channels: sorted, Attrs: attrs}}, in, func(y0, y1 int, planes [][][]float32) error {
		for i, c := range sorted {
			copy(planes[0][i], c.Pix[y0*w:y1*w])
		}
		return nil
	})
}

// EXRPart is a part of a file: a picture of its own, of the same size as the others.
type EXRPart struct {
	Name     string            // unique; may be empty in a file of one part
	Channels []EXRChannel      // without Pix, sorted by name
	Attrs    map[string]string // string attributes
}

// errWide says that a channel does not fit into halves.
type errWide struct{ part, channel int }

func (errWide) Error() string { return "a value is too large for 16 bits" }

// WriteEXRRows writes a file of one part or, with several, a multi-part one, line by line, so that no picture needs to be in memory
// as a whole. rows is asked for lines y0 <= y < y1 of all channels, from the top down, and fills planes[part][channel], row-major. It may be asked
// for the same lines again.
func WriteEXRRows(path string, w, h int, parts []EXRPart, in colour.Primaries, rows func(y0, y1 int, planes [][][]float32) error) error {
	parts = slices.Clone(parts)
	for i := range parts {
		parts[i].Channels = slices.Clone(parts[i].Channels)
	}
	return writeAtomicFile(path, func(out *os.File) error {
		for {
			head, err := exrHead(path, w, h, parts, in)
			if err != nil {
				return err
			}
			err = exrBody(out, head, w, h, parts, rows)
			var wide errWide
			if !errors.As(err, &wide) {
				return err
			}
			parts[wide.part].Channels[wide.channel].Half = false
			if _, err := out.Seek(0, io.SeekStart); err != nil {
				return err
			}
			if err := out.Truncate(0); err != nil {
				return err
			}
		}
	})
}

// exrHead makes the headers.
func exrHead(path string, w, h int, parts []EXRPart, in colour.Primaries) ([]byte, error) {
	fail := func(format string, args ...any) ([]byte, error) {
		return nil, &FormatError{path, kindEXR, fmt.Sprintf(format, args...)}
	}
	if err := checkWrite(kindEXR, path, w, h, 1, w*h); err != nil {
		return nil, err
	}
	n := 0
	names := map[string]bool{}
	for _, p := range parts {
		n += len(p.Channels)
		if names[p.Name] || len(parts) > 1 && p.Name == "" {
			return fail("the part name %q must not be empty, and stand once", p.Name)
		}
		names[p.Name] = true
	}
	if n < 1 || n > MaxChannels || len(parts) > MaxParts {
		return fail("%d channels in %d parts, must be 1 to %d in at most %d", n, len(parts), MaxChannels, MaxParts)
	}
	flags := uint32(2)
	if len(parts) > 1 {
		flags |= exrMultipart
	}
	var body []byte
	for i := range parts {
		b, long, err := exrPartHead(&parts[i], w, h, len(parts) > 1, in)
		if err != nil {
			return fail("%v", err)
		}
		if long {
			flags |= exrLongNames
		}
		body = append(body, b...)
	}
	if len(parts) > 1 {
		body = append(body, 0) // an empty header ends them
	}
	out := binary.LittleEndian.AppendUint32(nil, exrMagic)
	return append(binary.LittleEndian.AppendUint32(out, flags), body...), nil
}

// exrPartHead makes the header of one part; long tells of names beyond 31 bytes.
func exrPartHead(p *EXRPart, w, h int, several bool, in colour.Primaries) (head []byte, long bool, err error) {
	name := func(s string) bool {
		long = long || len(s) > 31
		return len(s) >= 1 && len(s) <= 255 && !strings.Contains(s, "\x00")
	}
	var list []byte
	for i := range p.Channels {
		c := &p.Channels[i]
		if !name(c.Name) || i > 0 && p.Channels[i-1].Name >= c.Name {
			return nil, false, fmt.Errorf("the channel name %q must be 1 to 255 bytes, stand once, and be in order", c.Name)
		}
		typ := exrFloat
		if c.Half {
			typ = exrHalf
		}
		list = append(list, c.Name+"\x00"...)
		for _, v := range [4]uint32{uint32(typ), 0, 1, 1} { // type, flags, sampling in x and y
			list = binary.LittleEndian.AppendUint32(list, v)
		}
	}
	list = append(list, 0)
	var b bytes.Buffer
	put := func(name, typ string, value []byte) {
		b.WriteString(name + "\x00" + typ + "\x00")
		b.Write(binary.LittleEndian.AppendUint32(nil, uint32(len(value))))
		b.Write(value)
	}
	words := func(v ...uint32) (out []byte) {
		for _, x := range v {
			out = binary.LittleEndian.AppendUint32(out, x)
		}
		return out
	}
	floats := func(v ...float64) (out []byte) {
		for _, x := range v {
			out = append(out, words(math.Float32bits(float32(x)))...)
		}
		return out
	}
	window := words(0, 0, uint32(w-1), uint32(h-1))
	put("adoptedNeutral", "v2f", floats(in[6:]...))
	put("channels", "chlist", list)
	put("chromaticities", "chromaticities", floats(in[:]...))
	if several {
		put("chunkCount", "int", words(uint32(exrChunkCount(h))))
	}
	put("compression", "compression", []byte{exrZIP})
	put("dataWindow", "box2i", window)
	put("displayWindow", "box2i", window)
	put("lineOrder", "lineOrder", []byte{0})
	if several {
		put("name", "string", []byte(p.Name))
	}
	put("pixelAspectRatio", "float", floats(1))
	put("screenWindowCenter", "v2f", floats(0, 0))
	put("screenWindowWidth", "float", floats(1))
	if several {
		put("type", "string", []byte("scanlineimage"))
	}
	for _, k := range slices.Sorted(maps.Keys(p.Attrs)) {
		if !name(k) || isEXRStandard(k) {
			return nil, false, fmt.Errorf("the attribute name %q must be 1 to 255 bytes, and none of the format's own", k)
		}
		put(k, "string", []byte(p.Attrs[k]))
	}
	b.WriteByte(0)
	return b.Bytes(), long, nil
}

// isEXRStandard reports whether the format gives an attribute name a meaning and a type other than string.
func isEXRStandard(name string) bool {
	return slices.Contains([]string{"channels", "chromaticities", "compression", "dataWindow", "displayWindow", "lineOrder",
		"pixelAspectRatio", "screenWindowCenter", "screenWindowWidth", "tiles", "type", "name", "version", "chunkCount",
		"preview", "view", "envmap", "whiteLuminance", "adoptedNeutral"}, name)
}

// exrChunkCount returns how many blocks of lines a part has.
func exrChunkCount(h int) int { return (h + exrMethods[exrZIP].lines - 1) / exrMethods[exrZIP].lines }

// exrPacker packs blocks, one worker's.
type exrPacker struct {
	raw []byte
	buf bytes.Buffer
	z   *zlib.Writer
}

func newEXRPacker() *exrPacker {
	k := &exrPacker{}
	k.z, _ = zlib.NewWriterLevel(&k.buf, exrLevel)
	return k
}

// exrBody writes the header, the tables of block offsets and the blocks: some rows of blocks at a time, packed by all
// processors; each depends on nothing but its own lines.
func exrBody(out *os.File, head []byte, w, h int, parts []EXRPart, rows func(y0, y1 int, planes [][][]float32) error) error {
	lines, count := exrMethods[exrZIP].lines, exrChunkCount(h)
	at := uint64(len(head) + 8*count*len(parts))
	if _, err := out.Seek(int64(at), io.SeekStart); err != nil {
		return err
	}
	o := bufio.NewWriterSize(out, 1<<18)
	table := make([]byte, 8*count*len(parts))
	workers := runtime.GOMAXPROCS(0)
	run := max(1, min(count, 2*workers/len(parts))) // blocks of lines at a time
	planes := make([][][]float32, len(parts))
	for i, p := range parts {
		planes[i] = make([][]float32, len(p.Channels))
		for c := range planes[i] {
			planes[i][c] = make([]float32, run*lines*w)
		}
	}
	packers := make(chan *exrPacker, workers)
	for range workers {
		packers <- newEXRPacker()
	}
	own := func() *exrPacker { return <-packers }
	for b0 := 0; b0 < count; b0 += run {
		b1 := min(count, b0+run)
		y0, y1 := b0*lines, min(h, b1*lines)
		cut := make([][][]float32, len(parts))
		for i := range planes {
			for _, p := range planes[i] {
				cut[i] = append(cut[i], p[:(y1-y0)*w])
			}
		}
		if err := rows(y0, y1, cut); err != nil {
			return err
		}
		n := (b1 - b0) * len(parts)
		packed, errs := make([][]byte, n), make([]error, n)
		var used []*exrPacker
		var mu sync.Mutex
		mine := func() *exrPacker {
			k := own()
			mu.Lock()
			used = append(used, k)
			mu.Unlock()
			return k
		}
		parallel.With(n, workers, mine, func(k *exrPacker, i int) {
			b, part := i/len(parts), i%len(parts)
			packed[i], errs[i] = k.block(parts[part].Channels, part, cut[part], w, b*lines, min(y1-y0, (b+1)*lines))
		})
		for _, k := range used {
			packers <- k
		}
		for i, p := range packed {
			if errs[i] != nil {
				return errs[i]
			}
			b, part := b0+i/len(parts), i%len(parts)
			binary.LittleEndian.PutUint64(table[8*(part*count+b):], at)
			var front []byte
			if len(parts) > 1 {
				front = binary.LittleEndian.AppendUint32(front, uint32(part))
			}
			front = binary.LittleEndian.AppendUint32(front, uint32(b*lines))
			front = binary.LittleEndian.AppendUint32(front, uint32(len(p)))
			o.Write(front)
			o.Write(p)
			at += uint64(len(front) + len(p))
		}
	}
	if err := o.Flush(); err != nil {
		return err
	}
	_, err := out.WriteAt(append(slices.Clone(head), table...), 0)
	return err
}

// block packs lines y0 <= y < y1 of the planes.
func (k *exrPacker) block(channels []EXRChannel, part int, planes [][]float32, w, y0, y1 int) ([]byte, error) {
	for c := range channels {
		if channels[c].Half && !fits(planes[c][y0*w:y1*w]) {
			return nil, errWide{part, c}
		}
	}
	k.raw = exrLines(k.raw[:0], channels, planes, w, y0, y1)
	p, err := exrPack(k.z, &k.buf, k.raw)
	if len(p) >= len(k.raw) {
		p = k.raw
	}
	return slices.Clone(p), err
}

// exrLines appends lines y0 to y1 of the channels, line by line, each channel's values together.
func exrLines(raw []byte, channels []EXRChannel, planes [][]float32, w, y0, y1 int) []byte {
	for y := y0; y < y1; y++ {
		for i, c := range channels {
			for _, v := range planes[i][y*w : (y+1)*w] {
				if c.Half {
					raw = binary.LittleEndian.AppendUint16(raw, half.FromFloat(v))
				} else {
					raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
				}
			}
		}
	}
	return raw
}
