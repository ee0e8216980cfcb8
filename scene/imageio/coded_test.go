package imageio

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/image/tiff"
)

// Every byte of every channel count comes back; 16 bits likewise. A fully opaque alpha is not a channel.
func TestPNGRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.png")
	const w, h = 32, 24
	for _, c := range []int{1, 3, 4} {
		a, b := make([]uint8, w*h*c), make([]uint16, w*h*c)
		for i := range a {
			a[i], b[i] = uint8(i*37), uint16(i*7919)
		}
		text := map[string]string{"Software": "catchlight", "Comment": "dusk, ebb tide — 3 mm"}
		check := func(depth int, value func(i int) float32) {
			p, err := Read(path)
			if err != nil {
				t.Fatal(err)
			}
			want := map[int]string{1: "[Y]", 3: "[R G B]", 4: "[R G B A]"}[c]
			if p.W != w || p.H != h || p.Depth != depth || !p.Encoded || fmt.Sprint(p.Names) != want {
				t.Errorf("%d channels: %d x %d, %d bits, %v", c, p.W, p.H, p.Depth, p.Names)
			}
			for i := range a {
				if got := p.Pix[i%c][i/c]; got != value(i) {
					t.Fatalf("%d channels, %d bits, value %d: got %v, want %v", c, depth, i, got, value(i))
				}
			}
			for k, v := range text {
				if p.Attrs[k] != v {
					t.Errorf("text %s: got %q, want %q", k, p.Attrs[k], v)
				}
			}
		}
		if err := WritePNG(path, w, h, c, a, text); err != nil {
			t.Fatal(err)
		}
		check(8, func(i int) float32 { return float32(float64(a[i]) / 255) })
		if err := WritePNG16(path, w, h, c, b, text); err != nil {
			t.Fatal(err)
		}
		check(16, func(i int) float32 { return float32(float64(b[i]) / 65535) })
		if c == 1 {
			continue
		}
		tif := filepath.Join(t.TempDir(), "x.tif")
		if err := WriteTIFF(tif, w, h, c, b); err != nil {
			t.Fatal(err)
		}
		text, path = nil, tif
		check(16, func(i int) float32 { return float32(float64(b[i]) / 65535) })
		path = filepath.Join(filepath.Dir(path), "x.png")
	}
}

// The file is told to be sRGB by a chunk, before the pixels (W3C PNG specification, 11.3.3.5).
func TestPNGSaysSRGB(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.png")
	if err := WritePNG(path, 1, 1, 1, []uint8{9}, nil); err != nil {
		t.Fatal(err)
	}
	data, _ := os.ReadFile(path)
	// CRC of "sRGB\x00" as in any such file: AE CE 1C E9.
	if i, j := bytes.Index(data, []byte("\x00\x00\x00\x01sRGB\x00\xae\xce\x1c\xe9")), bytes.Index(data, []byte("IDAT")); i != 33 || j < i {
		t.Errorf("sRGB chunk at %d, pixels at %d", i, j)
	}
	if err := WritePNG(path, 1, 1, 1, []uint8{9}, map[string]string{"line\nbreak": ""}); err == nil {
		t.Error("a keyword with a line break is written")
	}
	if err := WritePNG(path, 1, 1, 2, []uint8{9, 9}, nil); err == nil {
		t.Error("two channels are written")
	}
}

// Signals to linear values: IEC 61966-2-1:1999, evaluated with an independent program.
func TestImageDecodesSRGB(t *testing.T) {
	for signal, want := range map[uint8]float64{0: 0, 64: 0.0512695, 118: 0.181164, 119: 0.184475, 128: 0.215861, 188: 0.502886, 255: 1} {
		path := filepath.Join(t.TempDir(), "x.png")
		if err := WritePNG(path, 1, 1, 3, []uint8{signal, 255, 0}, nil); err != nil {
			t.Fatal(err)
		}
		p, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Image(true).At(0, 0, 0); math.Abs(got-want) > 1e-6 {
			t.Errorf("%d as colour: got %v, want %v", signal, got, want)
		}
		if got, want := p.Image(false).At(0, 0, 0), float64(signal)/255; math.Abs(got-want) > 1e-7 {
			t.Errorf("%d as data: got %v, want %v", signal, got, want)
		}
		if err := WritePNG16(path, 1, 1, 4, []uint16{uint16(signal) * 257, 0, 0, 0x8000}, nil); err != nil {
			t.Fatal(err)
		}
		if p, err = Read(path); err != nil {
			t.Fatal(err)
		}
		im := p.Image(true)
		if got := im.At(0, 0, 0); math.Abs(got-want) > 1e-6 {
			t.Errorf("%d as 16-bit colour with alpha: got %v, want %v", signal, got, want)
		}
		if got, want := im.At(0, 0, 3), 32768.0/65535; math.Abs(got-want) > 1e-7 {
			t.Errorf("alpha: got %v, want %v: it is not decoded", got, want)
		}
	}
}

func TestImageOfLinear(t *testing.T) {
	nan := float32(math.NaN())
	for _, c := range []struct {
		name string
		p    Picture
		want string // size and values
	}{
		{"colour", Picture{Names: []string{"R", "G", "B", "Z"}, Pix: [][]float32{{1, 2}, {3, 4}, {5, -6}, {7, 8}}}, "3 [1 3 5 2 4 -6]"},
		{"order of names", Picture{Names: []string{"B", "G", "R"}, Pix: [][]float32{{1, 2}, {3, 4}, {5, 6}}}, "3 [5 3 1 6 4 2]"},
		{"grey", Picture{Names: []string{"Y"}, Pix: [][]float32{{0.5, 40}}}, "1 [0.5 40]"},
		{"one channel of its own name", Picture{Names: []string{"height"}, Pix: [][]float32{{0.5, nan}}}, "1 [0.5 0]"},
		{"alpha", Picture{Names: []string{"Y", "A"}, Pix: [][]float32{{2, 3}, {1, 0.5}}}, "4 [2 2 2 1 3 3 3 0.5]"},
		{"opaque", Picture{Names: []string{"Y", "A"}, Pix: [][]float32{{2, 3}, {1, 1}}}, "1 [2 3]"},
	} {
		c.p.W, c.p.H, c.p.Depth = 2, 1, 32
		im := c.p.Image(true)
		_, _, n := im.Size()
		var v []float64
		for i := range 2 * n {
			v = append(v, im.At(i/n, 0, i%n))
		}
		if got := fmt.Sprint(n, v); got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
	}
}

// The other pictures that the standard codecs return.
func TestCodedKinds(t *testing.T) {
	r := image.Rect(0, 0, 16, 16)
	palette := image.NewPaletted(r, color.Palette{color.NRGBA{255, 0, 0, 255}, color.NRGBA{0, 0, 255, 128}})
	palette.Pix[1] = 1
	premultiplied := image.NewRGBA(r)
	for i := range premultiplied.Pix {
		premultiplied.Pix[i] = 100
	}
	copper := image.NewNRGBA(r)
	for i := range copper.Pix {
		copper.Pix[i] = [4]uint8{200, 100, 50, 255}[i%4]
	}
	grey := image.NewGray(r)
	grey.Pix[0] = 51
	encode := func(f func(*bytes.Buffer) error) []byte {
		var b bytes.Buffer
		if err := f(&b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	for _, c := range []struct {
		name  string
		data  []byte
		names string
		first []float64 // of each channel
		tol   float64
		notes int
	}{
		{"palette PNG", encode(func(b *bytes.Buffer) error { return png.Encode(b, palette) }), "[R G B A]", []float64{1, 0, 0, 1}, 0, 0},
		{"premultiplied TIFF", encode(func(b *bytes.Buffer) error { return tiff.Encode(b, premultiplied, nil) }), "[R G B A]", []float64{1, 1, 1, 100. / 255}, 1e-6, 1},
		{"grey TIFF", encode(func(b *bytes.Buffer) error { return tiff.Encode(b, grey, nil) }), "[Y]", []float64{0.2}, 1e-7, 0},
		{"JPEG", encode(func(b *bytes.Buffer) error { return jpeg.Encode(b, copper, nil) }), "[R G B]", []float64{200. / 255, 100. / 255, 50. / 255}, 0.02, 0},
		{"grey JPEG", encode(func(b *bytes.Buffer) error { return jpeg.Encode(b, image.NewGray(r), nil) }), "[Y]", []float64{0}, 0.01, 0},
	} {
		p, err := ReadBytes(c.name, c.data)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := fmt.Sprint(p.Names); got != c.names || p.W != 16 || p.H != 16 || len(p.Notes) != c.notes {
			t.Errorf("%s: %d x %d, channels %s, notes %q", c.name, p.W, p.H, got, p.Notes)
			continue
		}
		for i, want := range c.first {
			if got := float64(p.Pix[i][0]); math.Abs(got-want) > c.tol {
				t.Errorf("%s, channel %s: got %v, want %v", c.name, p.Names[i], got, want)
			}
		}
		// Cut short, each is an error that names the kind.
		for _, n := range []int{12, len(c.data) / 2} {
			if _, err := ReadBytes("cut", c.data[:n]); err == nil {
				t.Errorf("%s: cut to %d bytes it is accepted", c.name, n)
			}
		}
	}
	if got := palette.At(1, 0); got != (color.NRGBA{0, 0, 255, 128}) {
		t.Fatalf("the test's palette is wrong: %v", got)
	}
}

func TestStrangers(t *testing.T) {
	for start, want := range map[string]string{
		"GIF89a": "GIF", "RIFF1234WEBP": "WebP", "": "empty", "hello there": "hello th", "II+\x00": "BigTIFF",
	} {
		_, err := ReadBytes("x", []byte(start))
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want an error about %q", start, err, want)
		}
	}
	if _, err := Read(t.TempDir()); err == nil || !strings.Contains(err.Error(), "not a regular file") {
		t.Errorf("a folder: got %v", err)
	}
	if _, err := Read(filepath.Join(t.TempDir(), "none.png")); !os.IsNotExist(err) {
		t.Errorf("no file: got %v", err)
	}
}

func FuzzPNG(f *testing.F) {
	path := filepath.Join(f.TempDir(), "x.png")
	for _, c := range []int{1, 3, 4} {
		if err := WritePNG16(path, 2, 2, c, slices.Repeat([]uint16{7}, 4*c), map[string]string{"a": "b"}); err != nil {
			f.Fatal(err)
		}
		data, _ := os.ReadFile(path)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "\x89PNG\r\n\x1a\n", data) })
}

func FuzzJPEG(f *testing.F) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewRGBA(image.Rect(0, 0, 8, 8)), nil); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "\xff\xd8\xff", data) })
}

func FuzzTIFF(f *testing.F) {
	path := filepath.Join(f.TempDir(), "x.tif")
	if err := WriteTIFF(path, 2, 2, 3, make([]uint16, 12)); err != nil {
		f.Fatal(err)
	}
	data, _ := os.ReadFile(path)
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "II*\x00", data) })
}

// A TIFF of 32-bit floats, by hand after TIFF 6.0: the message says what to do.
func TestFloatTIFF(t *testing.T) {
	entries := [][3]uint32{{256, 4, 1}, {257, 4, 1}, {258, 3, 32}, {259, 3, 1}, {262, 3, 1}, {273, 4, 122}, {277, 3, 1}, {278, 4, 1}, {279, 4, 4}, {339, 3, 3}}
	data := binary.LittleEndian.AppendUint32([]byte("II*\x00"), 8)
	data = binary.LittleEndian.AppendUint16(data, uint16(len(entries)))
	for _, e := range entries {
		data = binary.LittleEndian.AppendUint16(data, uint16(e[0]))
		data = binary.LittleEndian.AppendUint16(data, uint16(e[1]))
		data = binary.LittleEndian.AppendUint32(data, 1)
		data = binary.LittleEndian.AppendUint32(data, e[2])
	}
	data = append(data, make([]byte, 12)...)
	_, err := ReadBytes("x.tif", data)
	var ue *UnsupportedError
	if !errors.As(err, &ue) || !strings.Contains(err.Error(), "save floating-point pictures as OpenEXR") {
		t.Errorf("got %v", err)
	}
}
