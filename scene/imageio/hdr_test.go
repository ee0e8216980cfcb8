package imageio

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/mdouchement/hdr"
	"github.com/mdouchement/hdr/codec/rgbe"
)

const environment = "../../testdata/images/environment/"

// Bytes follow from Ward's definition (Real Pixels, Graphics Gems II, 1991); own computation by hand.
func TestPackRGBE(t *testing.T) {
	for _, c := range []struct {
		rgb  [3]float32
		want [4]byte
	}{
		{[3]float32{1, 1, 1}, [4]byte{128, 128, 128, 129}},
		{[3]float32{0.5, 0.25, 0.125}, [4]byte{128, 64, 32, 128}},
		{[3]float32{100, 10, 1}, [4]byte{200, 20, 2, 135}},
		{[3]float32{0.18, 0.18, 0.18}, [4]byte{184, 184, 184, 126}},
		{[3]float32{65504, 1, 1}, [4]byte{255, 0, 0, 144}},
		{[3]float32{0, 0, 0}, [4]byte{}},
		{[3]float32{-1, -2, -3}, [4]byte{}},
		{[3]float32{1, -1, 0}, [4]byte{128, 0, 0, 129}},
		{[3]float32{1e-33, 0, 0}, [4]byte{}},
	} {
		if got := packRGBE(c.rgb[0], c.rgb[1], c.rgb[2]); got != c.want {
			t.Errorf("%v: got %v, want %v", c.rgb, got, c.want)
		}
	}
}

// flat makes a Radiance file from header lines, a size line and data.
func flat(header, size, data string) []byte {
	return []byte("#?RADIANCE\n" + header + "\n" + size + "\n" + data)
}

// Mantissas count as they are: 184 at exponent 126 is 0.1796875, not the 0.18017578 of a decoder that adds 1/2.
func TestHDRDecodesMantissaWithoutHalf(t *testing.T) {
	p, err := ReadBytes("x", flat("FORMAT=32-bit_rle_rgbe\n", "-Y 1 +X 2", "\xb8\xb8\xb8\x7e\x05\x05\x05\x00"))
	if err != nil {
		t.Fatal(err)
	}
	if got := p.Pix[0][0]; got != 0.1796875 {
		t.Errorf("got %v, want 0.1796875", got)
	}
	if got := p.Pix[1][1]; got != 0 {
		t.Errorf("exponent 0: got %v, want black", got)
	}
	if p.Encoded || p.Depth != 32 || fmt.Sprint(p.Names) != "[R G B]" {
		t.Errorf("got encoded %v, depth %d, channels %v", p.Encoded, p.Depth, p.Names)
	}
}

// The four orders of rows and texels, the exposure, and the old run-length coding.
func TestHDRForms(t *testing.T) {
	px := func(v ...byte) (s string) {
		for _, b := range v {
			s += string([]byte{b, b, b, 136}) // value b
		}
		return s
	}
	for _, c := range []struct {
		name, header, size, data string
		want                     string
	}{
		{"usual", "", "-Y 2 +X 2", px(10, 20, 30, 40), "[10 20 30 40]"},
		{"bottom up", "", "+Y 2 +X 2", px(10, 20, 30, 40), "[30 40 10 20]"},
		{"right to left", "", "-Y 2 -X 2", px(10, 20, 30, 40), "[20 10 40 30]"},
		{"both", "", "+Y 2 -X 2", px(10, 20, 30, 40), "[40 30 20 10]"},
		{"exposure", "EXPOSURE=4\nEXPOSURE=.5\n", "-Y 1 +X 2", px(10, 20), "[5 10]"},
		{"no format line", "# a comment = 1\n", "-Y 1 +X 1", px(7), "[7]"},
		{"carriage returns", "FORMAT=32-bit_rle_rgbe\r\n", "-Y 1 +X 1", px(7), "[7]"},
		{"old run", "", "-Y 1 +X 4", px(9) + "\x01\x01\x01\x03", "[9 9 9 9]"},
		{"old run of 258", "", "-Y 1 +X 259", px(9) + "\x01\x01\x01\x02" + "\x01\x01\x01\x01", fmt.Sprint(func() []float32 {
			v := make([]float32, 259)
			for i := range v {
				v[i] = 9
			}
			return v
		}())},
		{"new runs", "", "-Y 1 +X 8", "\x02\x02\x00\x08" + "\x88\x09" + "\x88\x09" + "\x08123456\x37\x38" + "\x88\x88", "[9 9 9 9 9 9 9 9]"},
	} {
		p, err := ReadBytes(c.name, flat(c.header, c.size, c.data))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := fmt.Sprint(p.Pix[0]); got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
		if (len(p.Notes) > 0) != (c.name == "exposure") {
			t.Errorf("%s: notes %q", c.name, p.Notes)
		}
	}
}

func TestHDRErrors(t *testing.T) {
	for _, c := range []struct{ name, file, want string }{
		{"no end of header", "#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n", "no end"},
		{"tristimulus", "#?RADIANCE\nFORMAT=32-bit_rle_xyze\n\n-Y 1 +X 1\n1234", "32-bit_rle_xyze"},
		{"unknown format", "#?RADIANCE\nFORMAT=loop\n\n-Y 1 +X 1\n1234", "loop"},
		{"bad exposure", "#?RADIANCE\nEXPOSURE=-2\n\n-Y 1 +X 1\n1234", "EXPOSURE"},
		{"exposure out of range", "#?RADIANCE\nEXPOSURE=1e-10\nEXPOSURE=1e-10\n\n-Y 1 +X 1\n1234", "EXPOSURE"},
		{"no size", "#?RADIANCE\n\n", "size"},
		{"odd size", "#?RADIANCE\n\n-Y 1 -Y 2\n1234", "-Y 1 -Y 2"},
		{"columns", "#?RADIANCE\n\n+X 1 -Y 1\n1234", "column"},
		{"zero side", "#?RADIANCE\n\n-Y 0 +X 1\n1234", "0"},
		{"negative side", "#?RADIANCE\n\n-Y -5 +X 1\n1234", "-5"},
		{"ends early", "#?RADIANCE\n\n-Y 2 +X 1\n1234", "line 2 of 2"},
		{"wrong length", "#?RADIANCE\n\n-Y 1 +X 9\n\x02\x02\x00\x08" + strings.Repeat("\x88\x01", 20), "8 texels long, the picture 9"},
		{"empty run", "#?RADIANCE\n\n-Y 1 +X 8\n\x02\x02\x00\x08\x00\x00", "run of 0"},
		{"run over the end, last plane", "#?RADIANCE\n\n-Y 1 +X 8\n\x02\x02\x00\x08\x88\x01\x88\x01\x88\x01\x89\x01", "run of 9"},
		{"cut in the last plane", "#?RADIANCE\n\n-Y 1 +X 8\n\x02\x02\x00\x08\x88\x01\x88\x01\x88\x01", "ends"},
		{"repeat of nothing", "#?RADIANCE\n\n-Y 1 +X 4\n\x01\x01\x01\x03", "repeats nothing"},
		{"old run too long", "#?RADIANCE\n\n-Y 1 +X 4\n\x09\x09\x09\x80\x01\x01\x01\x04", "run of 4"},
	} {
		_, err := ReadBytes("marsh.hdr", []byte(c.file))
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "marsh.hdr: ") {
			t.Errorf("%s: got %v, want an error about %q", c.name, err, c.want)
		}
	}
}

// The hdr module's decoder is the outside check on a real picture and on our own writer. Two of the faults that keep it
// out of the reader are shown beside: a last line that is cut is accepted, and a run that is too long panics.
func TestHDRAgainstSecondDecoder(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	const w, h = 131, 9
	rgb := make([]float32, 3*w*h)
	for i := range rgb {
		rgb[i] = float32(math.Exp(6 * r.NormFloat64()))
		if r.IntN(3) > 0 && i >= 3 {
			rgb[i] = rgb[i-3] // runs
		}
	}
	own := filepath.Join(t.TempDir(), "own.hdr")
	if err := WriteHDR(own, w, h, rgb); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{environment + "apartment.hdr", own} {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		p, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		m, err := rgbe.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		for i := range p.Pix[0] {
			r, g, b, _ := m.(hdr.Image).HDRAt(i%p.W, i/p.W).HDRRGBA()
			if p.Pix[0][i] != float32(r) || p.Pix[1][i] != float32(g) || p.Pix[2][i] != float32(b) {
				t.Fatalf("%s, texel %d, %d: got %v %v %v, the other decoder %v %v %v",
					path, i%p.W, i/p.W, p.Pix[0][i], p.Pix[1][i], p.Pix[2][i], r, g, b)
			}
		}
		if path == own {
			for i, v := range rgb {
				// The largest channel decides the step: truncation loses less than 1/128 of it.
				top := max(rgb[i/3*3], rgb[i/3*3+1], rgb[i/3*3+2])
				if got := p.Pix[i%3][i/3]; got > v || v-got > top/128 {
					t.Fatalf("texel %d, channel %d: wrote %v, read %v", i/3, i%3, v, got)
				}
			}
		}
	}
	head := "#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 1 +X 8\n\x02\x02\x00\x08\x88\x01\x88\x01\x88\x01"
	if _, err := rgbe.Decode(strings.NewReader(head)); err != nil {
		t.Errorf("the hdr module now finds that a last line is cut (%v): the package comment is out of date", err)
	}
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the hdr module no longer panics on a run that is too long: the package comment is out of date")
			}
		}()
		rgbe.Decode(strings.NewReader(head + "\xff\x01"))
	}()
}

// The .hdr of an environment holds its .exr's values, negative ones set to 0, cut to 8 bits of mantissa; mean
// luminance as published with the picture set (solid-angle weighted, two independent decoders): 0.71935.
func TestEnvironmentAgrees(t *testing.T) {
	a, err := Read(environment + "apartment.hdr")
	if err != nil {
		t.Fatal(err)
	}
	b, err := Read(environment + "apartment.exr")
	if err != nil {
		t.Fatal(err)
	}
	sum, weight := 0.0, 0.0
	for i := range a.Pix[0] {
		got := [4]byte{}
		if a.Pix[0][i] > 0 || a.Pix[1][i] > 0 || a.Pix[2][i] > 0 {
			got = packRGBE(a.Pix[0][i], a.Pix[1][i], a.Pix[2][i])
		}
		if want := packRGBE(b.Pix[0][i], b.Pix[1][i], b.Pix[2][i]); got != want {
			t.Fatalf("texel %d: %v in the .hdr, the .exr's value would be %v", i, got, want)
		}
		s := math.Sin(math.Pi * (float64(i/a.W) + 0.5) / float64(a.H))
		sum += s * (0.2126*float64(a.Pix[0][i]) + 0.7152*float64(a.Pix[1][i]) + 0.0722*float64(a.Pix[2][i]))
		weight += s
	}
	if got := sum / weight; math.Abs(got-0.71935191) > 1e-6 {
		t.Errorf("mean luminance %v, want 0.71935191", got)
	}
	if len(a.Notes) != 0 || len(b.Notes) != 3 {
		t.Errorf("notes %q and %q, want none and one for each channel with negative values", a.Notes, b.Notes)
	}
}

func TestWriteHDRRefuses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.hdr")
	for _, v := range []float32{float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1)), 0x1p127} {
		if err := WriteHDR(path, 1, 1, []float32{0, v, 0}); err == nil {
			t.Errorf("%v is written", v)
		}
	}
	if err := WriteHDR(path, 2, 1, []float32{0, 0, 0}); err == nil {
		t.Error("three values for two texels are written")
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("a refused picture leaves a file")
	}
	// Narrow pictures have no run-length form.
	if err := WriteHDR(path, 2, 1, []float32{1, 1, 1, 0.5, 0.25, 0.125}); err != nil {
		t.Fatal(err)
	}
	data, _ := os.ReadFile(path)
	if !bytes.HasSuffix(data, []byte("+X 2\n\x80\x80\x80\x81\x80\x40\x20\x80")) {
		t.Errorf("got %q", data)
	}
}

func FuzzHDR(f *testing.F) {
	f.Add(flat("FORMAT=32-bit_rle_rgbe\n", "-Y 1 +X 8", "\x02\x02\x00\x08\x88\x09\x88\x09\x08123456\x37\x38\x88\x88"))
	f.Add(flat("EXPOSURE=2\n", "+Y 1 -X 4", "\x09\x09\x09\x80\x01\x01\x01\x03"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "#?", data) })
}

// fuzzRead decodes data that starts like a kind of picture: whatever comes back is whole.
func fuzzRead(t *testing.T, start string, data []byte) {
	if !bytes.HasPrefix(data, []byte(start)) {
		data = append([]byte(start), data...)
	}
	p, err := ReadBytes("fuzz", data)
	if err != nil {
		return
	}
	if p.W < 1 || p.H < 1 || len(p.Names) != len(p.Pix) || len(p.Pix) == 0 {
		t.Fatalf("a picture of %d x %d with %d names and %d planes", p.W, p.H, len(p.Names), len(p.Pix))
	}
	for _, plane := range p.Pix {
		if len(plane) != p.W*p.H {
			t.Fatalf("a plane of %d values in a picture of %d x %d", len(plane), p.W, p.H)
		}
	}
	p.Image(true)
	p.LatLong()
}
