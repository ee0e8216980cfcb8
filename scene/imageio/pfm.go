package imageio

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
)

const kindPFM = "PFM"

// decodePFM reads a portable float map: "PF" (RGB) or "Pf" (grey), width, height and a scale whose sign tells the
// byte order (negative: little-endian), then rows of float32 from the bottom up.
//
// Source: Debevec, PFM portable floatmap image format (2001).
func decodePFM(data []byte) (*Picture, error) {
	p := &Picture{Depth: 32, Names: []string{"R", "G", "B"}}
	if data[1] == 'f' {
		p.Names = []string{"Y"}
	}
	rest := data[2:]
	var word [3]string
	for i := range word {
		trimmed := bytes.TrimLeft(rest, " \t\r\n")
		if len(trimmed) == len(rest) && i == 0 {
			return nil, bad(kindPFM, "no space follows %q", data[:2])
		}
		n := bytes.IndexAny(trimmed[:min(len(trimmed), 64)], " \t\r\n")
		if n <= 0 {
			return nil, bad(kindPFM, "the header ends before its %s", [3]string{"width", "height", "scale"}[i])
		}
		word[i], rest = string(trimmed[:n]), trimmed[n:]
	}
	// Exactly one space follows the scale; a carriage return before a newline belongs to the same line end.
	if bytes.HasPrefix(rest, []byte("\r\n")) {
		rest = rest[1:]
	}
	rest = rest[1:]
	w, errW := strconv.ParseInt(word[0], 10, 64)
	h, errH := strconv.ParseInt(word[1], 10, 64)
	if errW != nil || errH != nil {
		return nil, bad(kindPFM, "width %q and height %q are not both whole numbers", word[0], word[1])
	}
	scale, err := strconv.ParseFloat(word[2], 64)
	if err != nil || scale == 0 || math.IsNaN(scale) || math.IsInf(scale, 0) {
		return nil, bad(kindPFM, "the scale %q is not a number other than 0", word[2])
	}
	c := len(p.Names)
	if err := checkSize(kindPFM, w, h, float64(32*c), len(rest), 1); err != nil {
		return nil, err
	}
	p.W, p.H = int(w), int(h)
	var order binary.ByteOrder = binary.BigEndian
	if scale < 0 {
		order = binary.LittleEndian
	}
	if math.Abs(scale) != 1 {
		p.note("the scale %g is not applied to the values", math.Abs(scale))
	}
	p.Pix = make([][]float32, c)
	for k := range p.Pix {
		p.Pix[k] = make([]float32, p.W*p.H)
		for y := range p.H {
			row := rest[(p.H-1-y)*p.W*c*4:]
			for x := range p.W {
				p.Pix[k][y*p.W+x] = math.Float32frombits(order.Uint32(row[(x*c+k)*4:]))
			}
		}
	}
	if n := len(rest) - p.W*p.H*c*4; n > 0 {
		p.note("%d bytes follow the picture and are not read", n)
	}
	return p, nil
}

// WritePFM writes linear values of c channels, 1 (grey) or 3 (RGB), as little-endian float32; pix has c*w*h values,
// row-major from the top left, and is stored bit for bit.
func WritePFM(path string, w, h, c int, pix []float32) error {
	if c != 1 && c != 3 {
		return &FormatError{path, kindPFM, fmt.Sprintf("%d channels, must be 1 or 3", c)}
	}
	if err := checkWrite(kindPFM, path, w, h, c, len(pix)); err != nil {
		return err
	}
	return WriteAtomic(path, func(out io.Writer) error {
		b := bufio.NewWriter(out)
		magic := "PF"
		if c == 1 {
			magic = "Pf"
		}
		fmt.Fprintf(b, "%s\n%d %d\n-1.0\n", magic, w, h)
		buf := make([]byte, 4*w*c)
		for y := h - 1; y >= 0; y-- {
			for i, v := range pix[y*w*c : (y+1)*w*c] {
				binary.LittleEndian.PutUint32(buf[4*i:], math.Float32bits(v))
			}
			b.Write(buf)
		}
		return b.Flush()
	})
}
