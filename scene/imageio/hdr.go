package imageio

import (
	"bufio"
	"bytes"
	"fmt"
	"image"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/mdouchement/hdr"
	"github.com/mdouchement/hdr/codec/rgbe"
)

const kindHDR = "Radiance HDR"

// decodeHDR reads the run-length coded and flat forms of Radiance pictures in RGB.
//
// A value is mantissa x 2^(exponent - 136), with nothing added to the mantissa, and black where the exponent is 0;
// EXPOSURE lines, which say by what the values were multiplied, are undone.
//
// Source: Ward, Real Pixels, Graphics Gems II, 1991; Ward, Radiance file formats (1998).
//
// Long: the header, the size and the runs of one format, read in their order.
func decodeHDR(data []byte) (*Picture, error) {
	p := &Picture{Names: []string{"R", "G", "B"}, Depth: 32}
	rest := data
	line := func() (string, bool) {
		i := bytes.IndexByte(rest[:min(len(rest), 1<<16)], '\n')
		if i < 0 {
			return "", false
		}
		s := strings.TrimRight(string(rest[:i]), "\r")
		rest = rest[i+1:]
		return s, true
	}
	format, exposure := "", 1.0
	for first := true; ; first = false {
		s, ok := line()
		if !ok {
			return nil, bad(kindHDR, "the header has no end (an empty line)")
		}
		if s == "" {
			break
		}
		key, val, _ := strings.Cut(s, "=")
		switch {
		case first || s[0] == '#':
		case key == "FORMAT":
			format = strings.TrimSpace(val)
		case key == "EXPOSURE":
			e, err := strconv.ParseFloat(strings.TrimSpace(val), 64)
			if err != nil || !(e > 0) || math.IsInf(e, 0) {
				return nil, bad(kindHDR, "EXPOSURE %q is not a number above 0", val)
			}
			exposure *= e
		case key == "COLORCORR" || key == "PRIMARIES":
			p.note("%s is not applied: values are taken as linear Rec. 709", s)
		}
	}
	switch format {
	case "32-bit_rle_rgbe", "":
	case "32-bit_rle_xyze":
		return nil, unsupported(kindHDR, "FORMAT=%s (tristimulus values); 32-bit_rle_rgbe is read", format)
	default:
		return nil, bad(kindHDR, "FORMAT=%q is neither 32-bit_rle_rgbe nor 32-bit_rle_xyze", format)
	}
	s, ok := line()
	if !ok {
		return nil, bad(kindHDR, "no line with the size follows the header")
	}
	w, h, flipX, flipY, err := hdrSize(s)
	if err != nil {
		return nil, err
	}
	// A line takes at least 8 bytes a 127 texels (a run of each of the four bytes) in the new coding; the old one
	// can be denser, so the general limit holds.
	if err := checkSize(kindHDR, w, h, 32, len(rest), maxRatio); err != nil {
		return nil, err
	}
	if !(exposure > 1e-12 && exposure < 1e12) {
		return nil, bad(kindHDR, "EXPOSURE lines multiply to %g, outside 1e-12 to 1e12", exposure)
	}
	if exposure != 1 {
		p.note("EXPOSURE=%g is undone: values are divided by it", exposure)
	}
	p.W, p.H = int(w), int(h)
	var scale [256]float64
	for e := 1; e < 256; e++ {
		scale[e] = math.Ldexp(1, e-136) / exposure
	}
	row := make([]byte, 4*p.W)
	p.Pix = make([][]float32, 3)
	for y := range p.H {
		if rest, err = hdrLine(rest, row); err != nil {
			return nil, bad(kindHDR, "line %d of %d: %v", y+1, p.H, err)
		}
		// Planes grow with what was really there.
		for c := range p.Pix {
			for x := range p.W {
				i := x
				if flipX {
					i = p.W - 1 - x
				}
				p.Pix[c] = append(p.Pix[c], float32(float64(row[4*i+c])*scale[row[4*i+3]]))
			}
		}
	}
	if flipY {
		for _, plane := range p.Pix {
			flipRows(plane, p.W)
		}
	}
	if n := len(bytes.TrimRight(rest, "\x00\r\n ")); n > 0 {
		p.note("%d bytes follow the picture and are not read", n)
	}
	return p, nil
}

// hdrSize reads the line with the size, in the four forms in which lines are rows.
func hdrSize(s string) (w, h int64, flipX, flipY bool, err error) {
	f := strings.Fields(s)
	if len(f) != 4 {
		return 0, 0, false, false, bad(kindHDR, "the line with the size reads %.40q, not like \"-Y 256 +X 512\"", s)
	}
	if strings.HasSuffix(f[0], "X") && strings.HasSuffix(f[2], "Y") {
		return 0, 0, false, false, unsupported(kindHDR, "%.40q: a picture stored column by column", s)
	}
	h, errH := strconv.ParseInt(f[1], 10, 64)
	w, errW := strconv.ParseInt(f[3], 10, 64)
	if errH != nil || errW != nil || (f[0] != "-Y" && f[0] != "+Y") || (f[2] != "+X" && f[2] != "-X") {
		return 0, 0, false, false, bad(kindHDR, "the line with the size reads %.40q, not like \"-Y 256 +X 512\"", s)
	}
	return w, h, f[2] == "-X", f[0] == "+Y", nil
}

// hdrLine decodes one line of texels from src into row (four bytes a texel) and returns what is left of src.
func hdrLine(src, row []byte) ([]byte, error) {
	w := len(row) / 4
	if w >= 8 && w < 32768 && len(src) >= 4 && src[0] == 2 && src[1] == 2 && src[2] < 128 {
		if n := int(src[2])<<8 | int(src[3]); n != w {
			return nil, fmt.Errorf("it is %d texels long, the picture %d", n, w)
		}
		src = src[4:]
		for c := range 4 {
			for x := 0; x < w; {
				if len(src) < 2 {
					return nil, fmt.Errorf("the file ends at texel %d of %d, byte %d of 4", x, w, c+1)
				}
				n := int(src[0])
				run := n > 128
				if run {
					n -= 128
				}
				if n == 0 || x+n > w {
					return nil, fmt.Errorf("a run of %d values at texel %d of a line of %d", n, x, w)
				}
				if run {
					for k := range n {
						row[4*(x+k)+c] = src[1]
					}
					src = src[2:]
				} else {
					if len(src) < 1+n {
						return nil, fmt.Errorf("the file ends at texel %d of %d, byte %d of 4", x, w, c+1)
					}
					for k, b := range src[1 : 1+n] {
						row[4*(x+k)+c] = b
					}
					src = src[1+n:]
				}
				x += n
			}
		}
		return src, nil
	}
	// Flat, or the old coding: a texel 1 1 1 n repeats the one before n times, n shifted by 8 bits for each such
	// texel in a row.
	for x, shift := 0, 0; x < w; {
		if len(src) < 4 {
			return nil, fmt.Errorf("the file ends at texel %d of %d", x, w)
		}
		t := src[:4]
		src = src[4:]
		if t[0] != 1 || t[1] != 1 || t[2] != 1 {
			copy(row[4*x:], t)
			x, shift = x+1, 0
			continue
		}
		if x == 0 || shift > 8 {
			return nil, fmt.Errorf("at texel %d of %d, a run that repeats nothing", x, w)
		}
		n := int(t[3]) << shift
		if x+n > w {
			return nil, fmt.Errorf("a run of %d texels at texel %d of a line of %d", n, x, w)
		}
		for range n {
			copy(row[4*x:], row[4*x-4:4*x])
			x++
		}
		shift += 8
	}
	return src, nil
}

func flipRows(plane []float32, w int) {
	for a, b := 0, len(plane)-w; a < b; a, b = a+w, b-w {
		for i := range w {
			plane[a+i], plane[b+i] = plane[b+i], plane[a+i]
		}
	}
}

// packRGBE holds a colour in four bytes, mantissas truncated. Values below 0 become 0.
func packRGBE(r, g, b float32) [4]byte {
	v := float64(max(r, g, b))
	if v < 1e-32 {
		return [4]byte{}
	}
	_, e := math.Frexp(v)
	s := math.Ldexp(1, 8-e)
	return [4]byte{byte(max(0, float64(r)*s)), byte(max(0, float64(g)*s)), byte(max(0, float64(b)*s)), byte(e + 128)}
}

// WriteHDR writes linear RGB as a Radiance picture; rgb has 3*w*h values, row-major from the top left. The format has
// 8 bits of mantissa, truncated, shared by the three channels, and no negative values: those become 0. NaN and
// values of 2^127 and above are errors.
func WriteHDR(path string, w, h int, rgb []float32) error {
	if err := checkWrite(kindHDR, path, w, h, 3, len(rgb)); err != nil {
		return err
	}
	for i, v := range rgb {
		if v-v != 0 || v >= 0x1p127 {
			return &FormatError{path, kindHDR, fmt.Sprintf("texel %d, %d: the value %g does not fit the format", i/3%w, i/3/w, v)}
		}
	}
	return WriteAtomic(path, func(out io.Writer) error {
		if w >= 8 && w < 32768 {
			return rgbe.Encode(out, NewLinear(w, h, rgb))
		}
		// These widths have no run-length form, which the library always writes.
		b := bufio.NewWriter(out)
		fmt.Fprintf(b, "#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y %d +X %d\n", h, w)
		for i := 0; i < len(rgb); i += 3 {
			t := packRGBE(rgb[i], rgb[i+1], rgb[i+2])
			b.Write(t[:])
		}
		return b.Flush()
	})
}

// Linear is a picture of linear RGB in float32, an image.Image whose HDRAt returns what At cannot hold.
type Linear = hdr.RGB

// NewLinear returns a picture of w x h texels; rgb has 3*w*h values, row-major from the top left. Values below 0 become 0.
func NewLinear(w, h int, rgb []float32) *Linear {
	m := hdr.NewRGB(image.Rect(0, 0, w, h))
	for i, v := range rgb {
		m.Pix[i] = max(0, v)
	}
	return m
}
