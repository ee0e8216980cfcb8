package imageio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"

	"golang.org/x/image/tiff"
)

// guard turns a panic of a codec on a hostile file into an error.
func guard(kind string, err *error) {
	if r := recover(); r != nil {
		*err = bad(kind, "damaged: %v", r)
	}
}

// decodePNG reads any PNG. Colour chunks (gAMA, cHRM, sRGB, iCCP) do not change the values.
//
// Source: W3C, Portable Network Graphics specification.
func decodePNG(data []byte) (c coded, err error) {
	const kind = "PNG"
	defer guard(kind, &err)
	// The first chunk: length, "IHDR", width, height, bits a sample, colour type.
	if len(data) < 33 || string(data[12:16]) != "IHDR" {
		return c, bad(kind, "the file ends in its header, or has none")
	}
	w, h := int64(binary.BigEndian.Uint32(data[16:])), int64(binary.BigEndian.Uint32(data[20:]))
	samples := [7]int{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
	bits, ct := int(data[24]), int(data[25])
	if ct > 6 || samples[ct] == 0 {
		return c, bad(kind, "colour type %d", ct)
	}
	if err := checkSize(kind, w, h, float64(bits*samples[ct]), len(data), maxRatio); err != nil {
		return c, err
	}
	m, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return c, bad(kind, "%s", strings.TrimPrefix(err.Error(), "png: "))
	}
	return coded{image: m, attrs: pngText(data)}, nil
}

// decodeJPEG reads baseline and progressive JPEG.
func decodeJPEG(data []byte) (c coded, err error) {
	const kind = "JPEG"
	defer guard(kind, &err)
	cfg, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return c, bad(kind, "%s", strings.TrimPrefix(err.Error(), "invalid JPEG format: "))
	}
	// A block of 64 samples takes at least one bit.
	if err := checkSize(kind, int64(cfg.Width), int64(cfg.Height), 8, len(data), 64*8); err != nil {
		return c, err
	}
	m, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return c, bad(kind, "%s", strings.TrimPrefix(err.Error(), "invalid JPEG format: "))
	}
	c.image = m
	if _, ok := m.(*image.CMYK); ok {
		c.notes = []string{"four ink channels were turned into RGB without a profile: colours are approximate"}
	}
	return c, nil
}

// decodeTIFF reads the TIFF kinds of 8 and 16 bits that golang.org/x/image/tiff does.
func decodeTIFF(data []byte) (c coded, err error) {
	const kind = "TIFF"
	defer guard(kind, &err)
	wrap := func(err error) error {
		if u, ok := err.(tiff.UnsupportedError); ok {
			if u == "sample format" {
				return unsupported(kind, "floating-point or signed samples; whole numbers of 8 or 16 bits are read: save floating-point pictures as OpenEXR")
			}
			return unsupported(kind, "%s", string(u))
		}
		return bad(kind, "%s", strings.TrimPrefix(err.Error(), "tiff: "))
	}
	cfg, err := tiff.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return c, wrap(err)
	}
	if err := checkSize(kind, int64(cfg.Width), int64(cfg.Height), 1, len(data), maxRatio); err != nil {
		return c, err
	}
	m, err := tiff.Decode(bytes.NewReader(data))
	if err != nil {
		return c, wrap(err)
	}
	c.image = m
	switch r := m.(type) {
	case *image.RGBA:
		if !r.Opaque() {
			c.notes = premultiplied
		}
	case *image.RGBA64:
		if !r.Opaque() {
			c.notes = premultiplied
		}
	}
	return c, nil
}

var premultiplied = []string{"colours were premultiplied by alpha; they are divided by it"}

// coded is a decoded picture of 8 or 16 bits as its library gives it.
type coded struct {
	image image.Image
	attrs map[string]string
	notes []string
}

// picture turns it into planes.
func (c coded) picture() *Picture {
	p := fromImage(c.image)
	p.Attrs, p.Notes = c.attrs, append(p.Notes, c.notes...)
	return p
}

// planar makes a decoder of planes of one of coded pictures.
func planar(decode func(data []byte) (coded, error)) func(data []byte) (*Picture, error) {
	return func(data []byte) (*Picture, error) {
		c, err := decode(data)
		if err != nil {
			return nil, err
		}
		return c.picture(), nil
	}
}

// fromImage makes planes of a decoded picture: Y, or R G B, and A where the picture is not opaque.
func fromImage(m image.Image) *Picture {
	b := m.Bounds()
	w, h := b.Dx(), b.Dy()
	p := &Picture{W: w, H: h, Encoded: true, Depth: 8}
	planes := func(names ...string) [][]float32 {
		p.Names = names
		p.Pix = make([][]float32, len(names))
		for i := range p.Pix {
			p.Pix[i] = make([]float32, w*h)
		}
		return p.Pix
	}
	switch m := m.(type) {
	case *image.Gray:
		y := planes("Y")[0]
		for i := range y {
			y[i] = signal8[m.Pix[i/w*m.Stride+i%w]]
		}
		return p
	case *image.Gray16:
		p.Depth = 16
		y := planes("Y")[0]
		for i := range y {
			y[i] = float32(float64(binary.BigEndian.Uint16(m.Pix[i/w*m.Stride+2*(i%w):])) / 65535)
		}
		return p
	}
	names := []string{"R", "G", "B", "A"}
	if o, ok := m.(interface{ Opaque() bool }); ok && o.Opaque() {
		names = names[:3]
	}
	out := planes(names...)
	switch m := m.(type) {
	case *image.NRGBA64:
		p.Depth = 16
		for c := range out {
			for i := range out[c] {
				out[c][i] = float32(float64(binary.BigEndian.Uint16(m.Pix[i/w*m.Stride+8*(i%w)+2*c:])) / 65535)
			}
		}
	case *image.NRGBA:
		for c := range out {
			for i := range out[c] {
				out[c][i] = signal8[m.Pix[i/w*m.Stride+4*(i%w)+c]]
			}
		}
	case *image.RGBA:
		if len(out) == 4 {
			fromColours(out, m)
			return p
		}
		for c := range out {
			for i := range out[c] {
				out[c][i] = signal8[m.Pix[i/w*m.Stride+4*(i%w)+c]]
			}
		}
	case *image.YCbCr:
		for i := range w * h {
			x, y := b.Min.X+i%w, b.Min.Y+i/w
			k, j := m.YOffset(x, y), m.COffset(x, y)
			r, g, bl := color.YCbCrToRGB(m.Y[k], m.Cb[j], m.Cr[j])
			out[0][i], out[1][i], out[2][i] = signal8[r], signal8[g], signal8[bl]
		}
	case *image.RGBA64:
		p.Depth = 16
		for i := range w * h {
			n := color.NRGBA64Model.Convert(m.RGBA64At(b.Min.X+i%w, b.Min.Y+i/w)).(color.NRGBA64)
			v := [4]uint16{n.R, n.G, n.B, n.A}
			for c := range out {
				out[c][i] = float32(float64(v[c]) / 65535)
			}
		}
	default:
		fromColours(out, m)
	}
	return p
}

// fromColours fills planes by way of the picture's colour model, dividing by alpha where that is needed.
func fromColours(out [][]float32, m image.Image) {
	b := m.Bounds()
	for i := range out[0] {
		n := color.NRGBAModel.Convert(m.At(b.Min.X+i%b.Dx(), b.Min.Y+i/b.Dx())).(color.NRGBA)
		v := [4]uint8{n.R, n.G, n.B, n.A}
		for c := range out {
			out[c][i] = signal8[v[c]]
		}
	}
}

// pngText returns the text of uncompressed tEXt and iTXt chunks by keyword.
func pngText(data []byte) map[string]string {
	text := map[string]string{}
	for rest := data[8:]; len(rest) >= 12; {
		n := int64(binary.BigEndian.Uint32(rest))
		if n > int64(len(rest)-12) {
			break
		}
		object := rest[8 : 8+n]
		switch key, val, ok := bytes.Cut(object, []byte{0}); {
		case !ok:
		case string(rest[4:8]) == "tEXt":
			text[latin1(key)] = latin1(val)
		case string(rest[4:8]) == "iTXt" && len(val) > 2 && val[0] == 0:
			// Compression flag and method, then language and translated keyword, both ended by 0.
			if _, val, ok = bytes.Cut(val[2:], []byte{0}); ok {
				if _, val, ok = bytes.Cut(val, []byte{0}); ok {
					text[latin1(key)] = string(bytes.ToValidUTF8(val, []byte("\ufffd")))
				}
			}
		}
		rest = rest[12+n:]
	}
	if len(text) == 0 {
		return nil
	}
	return text
}

func latin1(b []byte) string {
	var s strings.Builder
	for _, c := range b {
		s.WriteRune(rune(c))
	}
	return s.String()
}

// layOut wraps samples in the standard library's picture that holds c channels of 8 or 16 bits.
func layOut(w, h, c int, pix8 []uint8, pix16 []uint16) (image.Image, error) {
	n, depth := len(pix8), 1
	if pix16 != nil {
		n, depth = len(pix16), 2
	}
	if c != 1 && c != 3 && c != 4 {
		return nil, fmt.Errorf("%d channels, must be 1 (grey), 3 (RGB) or 4 (RGB and alpha)", c)
	}
	stored := c
	if c == 3 {
		stored = 4
	}
	out := make([]byte, w*h*stored*depth)
	for i, j := 0, 0; i < n; i++ {
		if depth == 1 {
			out[j] = pix8[i]
			j++
		} else {
			binary.BigEndian.PutUint16(out[j:], pix16[i])
			j += 2
		}
		if c == 3 && i%3 == 2 {
			for range depth {
				out[j] = 0xff
				j++
			}
		}
	}
	r := image.Rect(0, 0, w, h)
	switch {
	case stored == 1 && depth == 1:
		return &image.Gray{Pix: out, Stride: w, Rect: r}, nil
	case stored == 1:
		return &image.Gray16{Pix: out, Stride: 2 * w, Rect: r}, nil
	case depth == 1:
		return &image.NRGBA{Pix: out, Stride: 4 * w, Rect: r}, nil
	}
	return &image.NRGBA64{Pix: out, Stride: 8 * w, Rect: r}, nil
}
