package imageio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image/color"
	"image/jpeg"
	"io"
	"os"
	"slices"
	"strings"

	"golang.org/x/image/tiff"

	"catchlight/scene/builtin"
	"catchlight/scene/surroundings"
	"catchlight/scene/texture"
)

// Header is what the first bytes of a picture say of its size.
type Header struct {
	W, H     int
	Channels int // that a texture keeps of it: 1, 3 or 4
	Bits     int // of a channel: 8, 16 or 32
	Float    bool
	File     int64 // bytes of the file

	decoded int64 // bytes of the picture as its decoder gives it
}

// headerBytes is how much of a file is read for its header; an OpenEXR header that is longer is an error here.
const headerBytes = 1 << 20

// ReadHeader reads the header of a picture and takes no memory for its texels. What it finds wrong Read tells better.
func ReadHeader(path string) (Header, error) {
	if _, ok := builtin.Place(path); ok {
		return Header{W: surroundings.Width, H: surroundings.Height, Channels: 3, Bits: 32, Float: true, decoded: 12 * surroundings.Width * surroundings.Height}, nil
	}
	if data, ok := builtin.Read(path); ok {
		return headerOf(path, bytes.NewReader(data), int64(len(data)))
	}
	f, err := os.Open(path)
	if err != nil {
		return Header{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return Header{}, err
	}
	if !st.Mode().IsRegular() {
		return Header{}, fmt.Errorf("%s: not a regular file", path)
	}
	return headerOf(path, f, st.Size())
}

// headerOf reads the header of the picture of n bytes in f.
//
// Long: one case a format, each of a few lines.
func headerOf(path string, f io.ReaderAt, n int64) (h Header, err error) {
	defer guard("picture", &err)
	h.File = n
	data := make([]byte, min(n, headerBytes))
	if _, err := f.ReadAt(data, 0); err != nil && err != io.EOF {
		return h, err
	}
	size := func(w, hh int64, texel int) error {
		if w < 1 || hh < 1 || w > MaxSide || hh > MaxSide {
			return fmt.Errorf("%s: %d x %d texels", path, w, hh)
		}
		h.W, h.H = int(w), int(hh)
		h.decoded = w * hh * int64(texel)
		return nil
	}
	coded := func(m color.Model) (texel int) {
		h.Channels, h.Bits = 3, 8
		switch m {
		case color.GrayModel:
			h.Channels, texel = 1, 1
		case color.Gray16Model:
			h.Channels, h.Bits, texel = 1, 16, 2
		case color.RGBA64Model, color.NRGBA64Model:
			h.Bits, texel = 16, 8
		case color.YCbCrModel:
			texel = 3
		default:
			texel = 4
		}
		return texel
	}
	switch start := string(data[:min(len(data), 8)]); {
	case strings.HasPrefix(start, "\x89PNG") && len(data) >= 33:
		grey := data[25] == 0 || data[25] == 3
		m := color.Model(color.RGBAModel)
		switch wide := data[24] == 16; {
		case wide && data[25] == 0:
			m = color.Gray16Model
		case wide:
			m = color.RGBA64Model
		case data[25] == 0:
			m = color.GrayModel
		}
		texel := coded(m)
		if grey && data[24] < 8 || data[25] == 3 {
			texel = 1
		}
		err = size(int64(binary.BigEndian.Uint32(data[16:])), int64(binary.BigEndian.Uint32(data[20:])), texel)
	case strings.HasPrefix(start, "\xff\xd8\xff"):
		cfg, e := jpeg.DecodeConfig(bytes.NewReader(data))
		if e != nil {
			return h, e
		}
		err = size(int64(cfg.Width), int64(cfg.Height), coded(cfg.ColorModel))
	case strings.HasPrefix(start, "II*\x00"), strings.HasPrefix(start, "MM\x00*"):
		cfg, e := tiff.DecodeConfig(io.NewSectionReader(f, 0, n))
		if e != nil {
			return h, e
		}
		err = size(int64(cfg.Width), int64(cfg.Height), coded(cfg.ColorModel))
	case strings.HasPrefix(start, "#?"):
		_, rest, ok := bytes.Cut(data, []byte("\n\n"))
		if !ok {
			if _, rest, ok = bytes.Cut(data, []byte("\n\r\n")); !ok {
				return h, fmt.Errorf("%s: no end of the header", path)
			}
		}
		line, _, _ := bytes.Cut(rest[:min(len(rest), 200)], []byte("\n"))
		w, hh, _, _, e := hdrSize(strings.TrimRight(string(line), "\r"))
		if e != nil {
			return h, e
		}
		h.Channels, h.Bits, h.Float = 3, 32, true
		err = size(w, hh, 12)
	case strings.HasPrefix(start, "PF"), strings.HasPrefix(start, "Pf"):
		var w, hh int64
		if _, e := fmt.Sscan(string(data[2:min(len(data), 200)]), &w, &hh); e != nil {
			return h, e
		}
		h.Channels, h.Bits, h.Float = 3, 32, true
		if data[1] == 'f' {
			h.Channels = 1
		}
		err = size(w, hh, 4*h.Channels)
	case strings.HasPrefix(start, "\x76\x2f\x31\x01") && len(data) >= 8:
		parts, _, e := exrReadHeaders(&exrBytes{b: data[4:]})
		if e != nil {
			return h, e
		}
		shown, notes := exrShown(parts)
		if len(shown) == 0 {
			return h, fmt.Errorf("%s: %s", path, notes[0])
		}
		x, all := parts[shown[0]], 0
		for _, i := range shown {
			all += len(parts[i].channels)
		}
		has := func(name string) bool {
			return slices.ContainsFunc(x.channels, func(c exrChannel) bool { return c.name == name })
		}
		h.Channels, h.Bits, h.Float = 1, 16, true
		if has("R") && has("G") && has("B") {
			h.Channels = 3
		}
		if has("A") {
			h.Channels = 4
		}
		for _, c := range x.channels {
			if c.typ != exrHalf {
				h.Bits = 32
			}
		}
		err = size(int64(x.x1)-int64(x.x0)+1, int64(x.y1)-int64(x.y0)+1, 4*all)
	default:
		err = fmt.Errorf("%s: not a picture that is read", path)
	}
	return h, err
}

// Texture returns the bytes that the picture takes as a texture with its mip-maps; as tells which channels it keeps. A
// normal map counts as two channels only where the picture is coded, as it will be found to be one of unit vectors.
func (h Header) Texture(as As) int64 {
	c := h.Channels
	switch {
	case as.Channel != "":
		c = 1
	case as.Slopes && !h.Float && c == 3:
		c = 2
	}
	coding := texture.Signal8
	switch {
	case h.Bits == 32:
		coding = texture.Float
	case h.Float:
		coding = texture.Half
	case h.Bits == 16:
		coding = texture.Signal16
	}
	return texture.Bytes(h.W, h.H, c, coding)
}

// Decoding returns the bytes that are in memory beside the texture while it is made: the file, and the picture as its
// decoder gives it.
func (h Header) Decoding() int64 { return h.File + h.decoded }

// Planes returns the bytes of the picture as planes of float32.
func (h Header) Planes() int64 { return 4 * int64(h.W) * int64(h.H) * int64(h.Channels) }
