package imageio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/half"
)

// All 65536 halves against the definition (IEEE 754-2008, binary16): (-1)^s 2^(e-15) (1 + f/1024), 2^-14 f/1024 at
// e = 0, infinity or NaN at e = 31. Coding gives the same bits back.
func TestHalfAllValues(t *testing.T) {
	for i := range 1 << 16 {
		h := uint16(i)
		s, e, f := 1-2*float64(h>>15), int(h>>10&31), float64(h&1023)
		want := s * math.Ldexp(1+f/1024, e-15)
		switch {
		case e == 0:
			want = s * math.Ldexp(f/1024, -14)
		case e == 31 && f == 0:
			want = s * math.Inf(1)
		case e == 31:
			want = math.NaN()
		}
		got := float64(half.ToFloat(h))
		if got != want && !(math.IsNaN(got) && math.IsNaN(want)) || math.Signbit(got) != (h>>15 == 1) {
			t.Fatalf("%04x: got %v, want %v", h, got, want)
		}
		back := half.FromFloat(float32(got))
		if back != h && !(math.IsNaN(want) && back&0x7c00 == 0x7c00 && back&0x3ff != 0) {
			t.Fatalf("%04x comes back as %04x", h, back)
		}
	}
}

// Rounding is to the nearest half, ties to even: against a search through all halves.
func TestHalfRounding(t *testing.T) {
	nearest := func(v float64) uint16 { // v >= 0
		best := uint16(0)
		for h := uint16(0); h <= 0x7c00; h++ {
			x := float64(half.ToFloat(h))
			if h == 0x7c00 {
				x = 65536 // IEEE 754: rounding acts as if the exponent went on
			}
			b := float64(half.ToFloat(best))
			d := math.Abs(x-v) - math.Abs(b-v)
			if d < 0 || d == 0 && h&1 == 0 {
				best = h
			}
		}
		return best
	}
	r := rand.New(rand.NewPCG(2, 2))
	values := []float32{0, 65504, 65519.99, 65520, 65536, 1e30, 0x1p-24, 0x1p-25, 0x1.8p-25, 0x1.000002p-25, 0x1p-14, 0x1.ffep-15,
		0x1.ffffp-15, 2049, 2051, 1.0009765625 - 0x1p-12}
	for range 60 {
		values = append(values, float32(math.Exp(9*r.NormFloat64())))
	}
	for _, v := range values {
		if got, want := half.FromFloat(v), nearest(min(float64(v), 65536)); got != want {
			t.Errorf("%v: got %04x, want %04x", v, got, want)
		}
		if got, want := half.FromFloat(-v), half.FromFloat(v)|0x8000; got != want {
			t.Errorf("%v: got %04x, want %04x", -v, got, want)
		}
	}
}

// noise makes a plane of values that halves hold exactly, a part of it smooth so that it shrinks.
func noise(n int, seed uint64) []float32 {
	r := rand.New(rand.NewPCG(seed, 3))
	out := make([]float32, n)
	for i := range out {
		v := float32(r.NormFloat64() * 100)
		if i%64 < 40 {
			v = float32(i % 64)
		}
		out[i] = half.ToFloat(half.FromFloat(v))
	}
	return out
}

// saltmarsh is a picture with all that the writer can do.
func saltmarsh(w, h int) []EXRChannel {
	big := noise(w*h, 5)
	big[7] = 70000 // no half
	return []EXRChannel{
		{Name: "R", Half: true, Pix: noise(w*h, 1)}, {Name: "G", Half: true, Pix: noise(w*h, 2)},
		{Name: "B", Half: true, Pix: noise(w*h, 3)}, {Name: "depth.Z", Pix: noise(w*h, 4)},
		{Name: "direct.R", Half: true, Pix: big},
		{Name: "a.channel.with.a.name.of.more.than.31.bytes", Pix: noise(w*h, 6)},
	}
}

func TestEXRRoundTrip(t *testing.T) {
	dir := t.TempDir()
	for _, size := range [][2]int{{1, 1}, {97, 50}, {64, 16}, {3, 33}} {
		w, h := size[0], size[1]
		if w*h < 8 {
			w, h = 9, 1
		}
		channels := saltmarsh(w, h)
		path := filepath.Join(dir, "x.exr")
		attrs := map[string]string{"owner": "the ferry keeper", "comments": "dusk, ebb tide — 3 mm"}
		if err := WriteEXR(path, w, h, channels, attrs); err != nil {
			t.Fatal(err)
		}
		p, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		if p.W != w || p.H != h || p.Encoded || p.Depth != 32 || p.Attrs["owner"] != attrs["owner"] || p.Attrs["comments"] != attrs["comments"] {
			t.Errorf("got %d x %d, encoded %v, depth %d, attributes %q", p.W, p.H, p.Encoded, p.Depth, p.Attrs)
		}
		if got := fmt.Sprint(p.Names); got != "[R G B a.channel.with.a.name.of.more.than.31.bytes depth.Z direct.R]" {
			t.Errorf("channels %s", got)
		}
		for _, c := range channels {
			if !slices.Equal(p.Channel(c.Name), c.Pix) {
				t.Errorf("%d x %d: channel %s is not read back as written", w, h, c.Name)
			}
		}
	}
}

// tool runs one of the format's own programs, as an outside check.
func tool(t *testing.T, name string, args ...string) []byte {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("the OpenEXR tool %s is not installed (Debian package openexr), so there is nothing to check against", name)
	}
	out, err := exec.Command(path, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return out
}

// untiled decodes a file with the OpenEXR library: exrmaketiled turns it into one uncompressed tile, whose bytes, the
// last of the file, are the scan lines.
func untiled(t *testing.T, path string, w, h, texel int) []byte {
	t.Helper()
	out := filepath.Join(t.TempDir(), "tile.exr")
	tool(t, "exrmaketiled", "-z", "none", "-t", fmt.Sprint(w), fmt.Sprint(h), path, out)
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return data[len(data)-w*h*texel:]
}

// lines lays planes out as the format does: line by line, channels in alphabetical order.
func lines(w, h int, channels []EXRChannel, isHalf map[string]bool) []byte {
	var out []byte
	s := slices.Clone(channels)
	slices.SortFunc(s, func(a, b EXRChannel) int { return strings.Compare(a.Name, b.Name) })
	for y := range h {
		for _, c := range s {
			for _, v := range c.Pix[y*w : (y+1)*w] {
				if isHalf[c.Name] {
					out = binary.LittleEndian.AppendUint16(out, half.FromFloat(v))
				} else {
					out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v))
				}
			}
		}
	}
	return out
}

// The OpenEXR library reads our files to the same bits, and sees the header that we meant.
func TestEXRWriterAgainstLibrary(t *testing.T) {
	const w, h = 97, 50
	path := filepath.Join(t.TempDir(), "x.exr")
	channels := saltmarsh(w, h)
	if err := WriteEXR(path, w, h, channels, map[string]string{"owner": "the ferry keeper"}); err != nil {
		t.Fatal(err)
	}
	head := string(tool(t, "exrheader", path))
	for _, want := range []string{
		"B, 16-bit floating-point, sampling 1 1", "direct.R, 32-bit floating-point, sampling 1 1",
		"depth.Z, 32-bit floating-point", "a.channel.with.a.name.of.more.than.31.bytes, 32-bit",
		"compression (type compression): zip, multi-scanline blocks", "dataWindow (type box2i): (0 0) - (96 49)",
		"red   (0.64 0.33)", "adoptedNeutral (type v2f): (0.3127 0.329)", "white (0.3127 0.329)", `owner (type string): "the ferry keeper"`,
	} {
		if !strings.Contains(head, want) {
			t.Errorf("exrheader does not show %q:\n%s", want, head)
		}
	}
	got := untiled(t, path, w, h, 3*2+3*4)
	if want := lines(w, h, channels, map[string]bool{"R": true, "G": true, "B": true}); !bytes.Equal(got, want) {
		t.Error("the OpenEXR library decodes other values than were written")
	}
}

// We read the library's files to the same bits as it does. The picture was packed by another encoder.
func TestEXRReaderAgainstLibrary(t *testing.T) {
	path := environment + "apartment.exr"
	p, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	channels := []EXRChannel{{Name: "R", Pix: p.Pix[0]}, {Name: "G", Pix: p.Pix[1]}, {Name: "B", Pix: p.Pix[2]}}
	got := untiled(t, path, p.W, p.H, 3*2)
	if want := lines(p.W, p.H, channels, map[string]bool{"R": true, "G": true, "B": true}); !bytes.Equal(got, want) {
		t.Error("the OpenEXR library decodes other values than we do")
	}
}

// exrFile builds a file by hand: attributes as name, type, value, then blocks of line number and bytes.
type exrFile struct {
	flags  uint32
	attrs  [][3]string
	blocks []struct {
		y    int32
		data string
	}
}

func le32(v ...int32) string {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, uint32(x))
	}
	return string(b)
}

// small returns a sound file of 2 x n texels with one channel "Y" of the type typ.
func small(method byte, typ int32, n int32, blocks ...string) *exrFile {
	f := &exrFile{flags: 2, attrs: [][3]string{
		{"channels", "chlist", "Y\x00" + le32(typ, 0, 1, 1) + "\x00"},
		{"compression", "compression", string([]byte{method})},
		{"dataWindow", "box2i", le32(5, -1, 6, n-2)}, {"displayWindow", "box2i", le32(5, -1, 6, n-2)},
		{"lineOrder", "lineOrder", "\x00"},
	}}
	for i, b := range blocks {
		f.blocks = append(f.blocks, struct {
			y    int32
			data string
		}{int32(i) - 1, b})
	}
	return f
}

func (f *exrFile) bytes() []byte {
	var b bytes.Buffer
	b.WriteString(le32(exrMagic, int32(f.flags)))
	for _, a := range f.attrs {
		b.WriteString(a[0] + "\x00" + a[1] + "\x00" + le32(int32(len(a[2]))) + a[2])
	}
	b.WriteByte(0)
	at := b.Len() + 8*len(f.blocks)
	for _, k := range f.blocks {
		b.Write(binary.LittleEndian.AppendUint64(nil, uint64(at)))
		at += 8 + len(k.data)
	}
	for _, k := range f.blocks {
		b.WriteString(le32(k.y, int32(len(k.data))) + k.data)
	}
	return b.Bytes()
}

func (f *exrFile) set(name, typ, value string) *exrFile {
	for i := range f.attrs {
		if f.attrs[i][0] == name {
			f.attrs[i] = [3]string{name, typ, value}
			return f
		}
	}
	f.attrs = append(f.attrs, [3]string{name, typ, value})
	return f
}

// Files laid out byte by byte after the layout document: no compression, whole numbers, a window that does not start
// at 0, and run-length coding (bytes 0 0 80 3f 0 0 80 3f are split into 0 80 0 80 0 3f 0 3f, and their differences
// plus 80 are 0 0 0 0 0 bf 41 bf, in hexadecimal).
func TestEXRByHand(t *testing.T) {
	one, two := "\x00\x3c", "\x00\x40"
	for _, c := range []struct {
		name string
		f    *exrFile
		want string
	}{
		{"half", small(exrNone, 1, 2, one+two, two+one), "[1 2 2 1]"},
		{"float", small(exrNone, 2, 1, "\x00\x00\x80\x3f\x00\x00\x00\xc0"), "[1 -2]"},
		{"uint", small(exrNone, 0, 1, le32(7, 9)), "[7 9]"},
		{"float, run-length", small(exrRLE, 2, 1, "\x04\x00\xfd\xbf\x41\xbf"), "[1 1]"},
		{"half, did not shrink", small(exrZIPS, 1, 1, one+two), "[1 2]"},
	} {
		p, err := ReadBytes(c.name, c.f.bytes())
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := fmt.Sprint(p.Pix[0]); got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
	}
}

func TestEXRNotes(t *testing.T) {
	one := "\x00\x3c\x00\x3c"
	for _, c := range []struct {
		name string
		f    *exrFile
		want string
	}{
		{"sound", small(exrNone, 1, 1, one), ""},
		{"windows", small(exrNone, 1, 1, one).set("displayWindow", "box2i", le32(0, 0, 9, 9)), "data window (5 -1) - (6 -1)"},
		{"primaries", small(exrNone, 1, 1, one).set("chromaticities", "chromaticities",
			le32(0x3f3c6a7f, 0x3e87ae14, 0, 0x3f800000, 0, 0, 0x3ea4a8c1, 0x3eaccccd)), "Rec. 709"},
		{"not a number", small(exrNone, 1, 1, "\x00\x7e\x00\xfc"), "2 of 2 values are NaN or infinite"},
		{"negative", small(exrNone, 1, 1, "\x00\xbc\x00\x3c"), "1 of 2 values are negative, down to -1"},
		{"whole numbers", small(exrNone, 0, 1, le32(7, 9)), "whole numbers"},
	} {
		p, err := ReadBytes(c.name, c.f.bytes())
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		p.Working()
		if got := strings.Join(p.Notes, "; "); !strings.Contains(got, c.want) || (got == "") != (c.want == "") {
			t.Errorf("%s: notes %q, want one about %q", c.name, got, c.want)
		}
	}
}

func TestEXRErrors(t *testing.T) {
	one := "\x00\x3c\x00\x3c"
	ok := func() *exrFile { return small(exrNone, 1, 2, one, one) }
	cut := func(n int) []byte { b := ok().bytes(); return b[:len(b)-n] }
	flags := func(f uint32) []byte { x := ok(); x.flags = f; return x.bytes() }
	list := func(s string) []byte { return ok().set("channels", "chlist", s).bytes() }
	block := func(f func(*exrFile)) []byte { x := ok(); f(x); return x.bytes() }
	without := func(name string) []byte {
		f := ok()
		f.attrs = slices.DeleteFunc(f.attrs, func(a [3]string) bool { return a[0] == name })
		return f.bytes()
	}
	for _, c := range []struct {
		name string
		file []byte
		want string
	}{
		{"magic number alone", []byte("\x76\x2f\x31\x01"), "ends after its magic number"},
		{"version 3", flags(3), "version 3"},
		{"tiles", flags(2 | exrTiled), "tiles"},
		{"deep", flags(2 | exrDeep), "deep"},
		{"parts", flags(2 | exrMultipart), "part number 0 lacks the attribute \"name\""},
		{"unknown flag", flags(2 | 0x2000), "0x2000"},
		{"cut in the pixels", cut(1), "scan line 0"},
		{"cut in the table", cut(2*12 + 8), "2 blocks"},
		{"no channels", without("channels"), "channels"},
		{"no compression", without("compression"), "compression"},
		{"no window", without("dataWindow"), "dataWindow"},
		{"twice", block(func(f *exrFile) { f.attrs = append(f.attrs, f.attrs[0]) }), "twice"},
		{"wrong type", ok().set("compression", "int", "\x00").bytes(), "\"int\""},
		{"wrong size", ok().set("dataWindow", "box2i", "1234").bytes(), "4 bytes, must have 16"},
		{"method 99", ok().set("compression", "compression", "\x63").bytes(), "99"},
		{"B44", ok().set("compression", "compression", "\x06").bytes(), "B44 compression; NONE"},
		{"line order", ok().set("lineOrder", "lineOrder", "\x07").bytes(), "line order 7"},
		{"empty list", list("\x00"), "no channels"},
		{"list without end", list("Y\x00" + le32(1, 0, 1, 1)), "no end"},
		{"list ends in a channel", list("Y\x00" + le32(1, 0)), "ends in channel"},
		{"type 9", list("Y\x00" + le32(9, 0, 1, 1) + "\x00"), "type 9"},
		{"sampling", list("Y\x00" + le32(1, 0, 2, 2) + "\x00"), "2 x 2"},
		{"sampling 0", list("Y\x00" + le32(1, 0, 0, 1) + "\x00"), "0 x 1"},
		{"order", list("Y\x00" + le32(1, 0, 1, 1) + "B\x00" + le32(1, 0, 1, 1) + "\x00"), "alphabetical"},
		{"long name", list(strings.Repeat("Y", 40) + "\x00" + le32(1, 0, 1, 1) + "\x00"), "31"},
		{"window upside down", ok().set("dataWindow", "box2i", le32(0, 5, 0, 0)).bytes(), "1 x -4"},
		{"window of all numbers", ok().set("dataWindow", "box2i", le32(math.MinInt32, 0, math.MaxInt32, 0)).bytes(), "4294967296 x 1"},
		{"claims too much", ok().set("dataWindow", "box2i", le32(0, 0, 9999, 9999)).bytes(), "more than the file's"},
		{"wrong line", block(func(f *exrFile) { f.blocks[1].y = 7 }), "line 7"},
		{"wrong length", block(func(f *exrFile) { f.blocks[0].data = "abc" }), "3 bytes, must have 4"},
		{"too long", block(func(f *exrFile) { f.blocks[0].data = "abcdefgh" }), "claims 8 bytes"},
		{"not deflate", block(func(f *exrFile) { f.set("compression", "compression", "\x02"); f.blocks[0].data = "abc" }), "zlib"},
		{"run too long", block(func(f *exrFile) { f.set("compression", "compression", "\x01"); f.blocks[0].data = "\x7fa" }), "run of 128"},
		{"run ends early", block(func(f *exrFile) { f.set("compression", "compression", "\x01"); f.blocks[0].data = "\x00a" }), "3 bytes early"},
		{"missing block", func() []byte {
			b := ok().bytes()
			clear(b[len(b)-2*12-8:][:8])
			return b
		}(), "scan line 0 is missing"},
	} {
		_, err := ReadBytes("tide.exr", c.file)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "tide.exr: OpenEXR: ") {
			t.Errorf("%s: got %v, want an error about %q", c.name, err, c.want)
		}
	}
}

func TestWriteEXRRefuses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.exr")
	px := []float32{1}
	for _, c := range []struct {
		name     string
		channels []EXRChannel
		attrs    map[string]string
	}{
		{"no channels", nil, nil},
		{"no name", []EXRChannel{{Name: "", Pix: px}}, nil},
		{"same name", []EXRChannel{{Name: "R", Pix: px}, {Name: "R", Pix: px}}, nil},
		{"wrong length", []EXRChannel{{Name: "R", Pix: []float32{1, 2}}}, nil},
		{"zero byte", []EXRChannel{{Name: "R\x00", Pix: px}}, nil},
		{"the format's own attribute", []EXRChannel{{Name: "R", Pix: px}}, map[string]string{"dataWindow": "wide"}},
	} {
		if err := WriteEXR(path, 1, 1, c.channels, c.attrs); err == nil {
			t.Errorf("%s: written", c.name)
		}
	}
}

func FuzzEXR(f *testing.F) {
	f.Add(small(exrNone, 1, 2, "\x00\x3c\x00\x3c", "\x00\x3c\x00\x3c").bytes())
	f.Add(small(exrRLE, 2, 1, "\x04\x00\xfd\xbf\x41\xbf").bytes())
	dir := f.TempDir()
	if err := WriteEXR(dir+"/x.exr", 9, 20, saltmarsh(9, 20), nil); err != nil {
		f.Fatal(err)
	}
	data, _ := os.ReadFile(dir + "/x.exr")
	f.Add(data)
	// One tile: table, place and level of the tile, its size, its texels.
	tile := small(exrNone, 1, 1).set("tiles", "tiledesc", le32(2, 1)+"\x00").bytes()
	binary.LittleEndian.PutUint32(tile[4:], 2|exrTiled)
	r := &exrBytes{b: tile[8:]}
	if _, err := exrReadHeader(r, 2); err != nil {
		f.Fatal(err)
	}
	for _, name := range []string{"piz", "piz_flat", "pxr24", "parts"} { // small ones: a mutant of a large file is slow
		data, err := os.ReadFile(openexr + name + ".exr")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	head := len(tile) - len(r.b)
	tile = append(tile[:head:head], le32(int32(head+8), 0, 0, 0, 0, 0, 4)+"\x00\x3c\x00\x3c"...)
	if _, err := ReadBytes("tile", tile); err != nil {
		f.Fatal(err)
	}
	f.Add(tile)
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "\x76\x2f\x31\x01", data) })
}

// However many processors pack the blocks, the file is the same.
func TestEXRWorkers(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.exr")
	var want []byte
	for _, n := range []int{1, 2, 7} {
		old := runtime.GOMAXPROCS(n)
		err := WriteEXR(path, 97, 150, saltmarsh(97, 150), nil)
		runtime.GOMAXPROCS(old)
		if err != nil {
			t.Fatal(err)
		}
		got, _ := os.ReadFile(path)
		if want != nil && !bytes.Equal(got, want) {
			t.Errorf("%d workers write another file than one", n)
		}
		want = got
	}
}

// Colours of Rec. 2020 come out in Rec. 709: red as in ITU-R BT.2407-0, white as white; data stay as they are.
func TestWorkingPrimaries(t *testing.T) {
	path := filepath.Join(t.TempDir(), "wide.exr")
	plane := func(name string, v ...float32) EXRChannel { return EXRChannel{Name: name, Pix: v} }
	if err := WriteEXR(path, 2, 1, []EXRChannel{plane("R", 1, 1), plane("G", 0, 1), plane("B", 0, 1)}, nil); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	floats := func(v ...float64) (out []byte) {
		for _, x := range v {
			out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(x)))
		}
		return out
	}
	data = bytes.Replace(data, floats(colour.Rec709[:]...), floats(colour.Rec2020[:]...), 1)
	for _, asColour := range []bool{true, false} {
		im, notes, err := TextureOf("wide.exr", data, As{Colour: asColour})
		if err != nil {
			t.Fatal(err)
		}
		want := [2][3]float64{{1, 0, 0}, {1, 1, 1}}
		if asColour {
			want[0] = [3]float64{1.6605, -0.1246, -0.0182}
		}
		if said := strings.Contains(strings.Join(notes, " "), "Bradford"); said != asColour {
			t.Errorf("colour %t: notes %q", asColour, notes)
		}
		for x := range want {
			for c, v := range want[x] {
				if got := im.At(x, 0, c); math.Abs(got-v) > 6e-5 {
					t.Errorf("colour %t, texel %d, channel %d: %g, want %g", asColour, x, c, got, v)
				}
			}
		}
	}
}

// Tiles that the OpenEXR tools make of our files, also smaller ones at the edges and those of mip-maps, hold the same
// picture.
func TestEXRTiles(t *testing.T) {
	const w, h = 97, 50
	dir := t.TempDir()
	path := filepath.Join(dir, "x.exr")
	if err := WriteEXR(path, w, h, saltmarsh(w, h), nil); err != nil {
		t.Fatal(err)
	}
	want, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"-o", "-z", "zip", "-t", "32", "16"}, {"-o", "-z", "none", "-t", "200", "7"}, {"-m", "-z", "rle", "-t", "10", "10"},
		{"-r", "-z", "zip", "-t", "64", "64"},
	} {
		out := filepath.Join(dir, "tiles.exr")
		tool(t, "exrmaketiled", append(args, path, out)...)
		got, err := Read(out)
		if err != nil {
			t.Errorf("%v: %v", args, err)
			continue
		}
		if got.W != w || got.H != h || !slices.Equal(got.Names, want.Names) {
			t.Fatalf("%v: %d x %d, %q", args, got.W, got.H, got.Names)
		}
		for c := range want.Pix {
			if !slices.EqualFunc(got.Pix[c], want.Pix[c], func(a, b float32) bool { return math.Float32bits(a) == math.Float32bits(b) }) {
				t.Errorf("%v: channel %s differs", args, want.Names[c])
			}
		}
		data, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		for _, cut := range []int{len(data) / 20, len(data) / 10} { // within the full size
			if _, err := ReadBytes("cut.exr", data[:cut]); err == nil {
				t.Errorf("%v: cut at %d of %d bytes it is read", args, cut, len(data))
			}
		}
	}
}
