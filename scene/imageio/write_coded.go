package imageio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/png"
	"io"
	"maps"
	"slices"

	"golang.org/x/image/tiff"
)

// WritePNG writes samples of 8 bits, sRGB-coded; pix has c*w*h of them, c is 1 (grey), 3 (RGB) or 4 (RGB and alpha,
// not premultiplied), row-major from the top left. The file says that it is sRGB and carries text by keyword; a
// keyword is 1 to 79 printable ASCII characters. text may be nil.
func WritePNG(path string, w, h, c int, pix []uint8, text map[string]string) error {
	if err := checkWrite("PNG", path, w, h, c, len(pix)); err != nil {
		return err
	}
	m, err := layOut(w, h, c, pix, nil)
	if err != nil {
		return &FormatError{path, "PNG", err.Error()}
	}
	return writePNG(path, m, text, true)
}

// WriteData writes samples of 8 or 16 bits that are no colours, such as heights or normals: a PNG without a statement about colour, so
// that nobody turns them into another space. One of the slices is nil; they are laid out as for WritePNG.
func WriteData(path string, w, h, c int, pix8 []uint8, pix16 []uint16, text map[string]string) error {
	if err := checkWrite("PNG", path, w, h, c, len(pix8)+len(pix16)); err != nil {
		return err
	}
	m, err := layOut(w, h, c, pix8, pix16)
	if err != nil {
		return &FormatError{path, "PNG", err.Error()}
	}
	return writePNG(path, m, text, false)
}

// WritePNG16 is WritePNG with samples of 16 bits.
func WritePNG16(path string, w, h, c int, pix []uint16, text map[string]string) error {
	if err := checkWrite("PNG", path, w, h, c, len(pix)); err != nil {
		return err
	}
	m, err := layOut(w, h, c, nil, pix)
	if err != nil {
		return &FormatError{path, "PNG", err.Error()}
	}
	return writePNG(path, m, text, true)
}

// EncodePNG returns a PNG file of samples of 8 bits, laid out as for WritePNG, with no statement about colour.
func EncodePNG(w, h, c int, pix []uint8) ([]byte, error) { return encodePNG(w, h, c, pix, nil) }

// EncodePNG16 is EncodePNG with samples of 16 bits.
func EncodePNG16(w, h, c int, pix []uint16) ([]byte, error) { return encodePNG(w, h, c, nil, pix) }

func encodePNG(w, h, c int, pix8 []uint8, pix16 []uint16) ([]byte, error) {
	if err := checkWrite("PNG", "picture", w, h, c, len(pix8)+len(pix16)); err != nil {
		return nil, err
	}
	m, err := layOut(w, h, c, pix8, pix16)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = png.Encode(&b, m)
	return b.Bytes(), err
}

// writePNG writes a picture; coloured says in the file that it is sRGB.
func writePNG(path string, m image.Image, text map[string]string, coloured bool) error {
	keys := slices.Sorted(maps.Keys(text))
	for _, k := range keys {
		if len(k) < 1 || len(k) > 79 || slices.ContainsFunc([]byte(k), func(b byte) bool { return b < ' ' || b > '~' }) {
			return &FormatError{path, "PNG", fmt.Sprintf("the text keyword %q must be 1 to 79 printable ASCII characters", k)}
		}
	}
	var buf bytes.Buffer
	if err := png.Encode(&buf, m); err != nil {
		return err
	}
	data := buf.Bytes()
	const head = 8 + 25 // signature and header chunk
	return WriteAtomic(path, func(out io.Writer) error {
		var b bytes.Buffer
		b.Write(data[:head])
		if coloured {
			chunk(&b, "sRGB", []byte{0}) // rendering intent: perceptual
		}
		for _, k := range keys {
			// No compression, no language, no translated keyword.
			chunk(&b, "iTXt", append([]byte(k), append([]byte{0, 0, 0, 0, 0}, text[k]...)...))
		}
		if _, err := out.Write(b.Bytes()); err != nil {
			return err
		}
		_, err := out.Write(data[head:])
		return err
	})
}

// chunk writes a PNG chunk: length, name, object and the check sum of name and object.
func chunk(b *bytes.Buffer, name string, object []byte) {
	part := append([]byte(name), object...)
	b.Write(binary.BigEndian.AppendUint32(nil, uint32(len(object))))
	b.Write(part)
	b.Write(binary.BigEndian.AppendUint32(nil, crc32.ChecksumIEEE(part)))
}

// WriteTIFF writes samples of 16 bits, sRGB-coded, packed with deflate; pix is laid out as for WritePNG16.
func WriteTIFF(path string, w, h, c int, pix []uint16) error {
	if err := checkWrite("TIFF", path, w, h, c, len(pix)); err != nil {
		return err
	}
	m, err := layOut(w, h, c, nil, pix)
	if err != nil {
		return &FormatError{path, "TIFF", err.Error()}
	}
	return WriteAtomic(path, func(out io.Writer) error {
		return tiff.Encode(out, m, &tiff.Options{Compression: tiff.Deflate, Predictor: true})
	})
}
