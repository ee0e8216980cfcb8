package imageio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"
	"strings"

	"catchlight/scene/texture"
)

// As says how a picture becomes a texture.
type As struct {
	SRGB bool // a display-coded picture holds colour: decode it to linear light; without it the signal is the value

	// Colour says that the picture holds colour: it is brought to the working primaries where an OpenEXR file states
	// others. Data are never touched.
	Colour bool

	// Channel keeps one channel alone, by name: R, G, B, A, Y, or any channel of an OpenEXR file. "" keeps all.
	Channel string

	// Slopes keeps red and green of a tangent-space normal map alone where the third component follows from them: where
	// the texels are unit vectors within a code or two, all but one in a hundred. What that changes is noted.
	Slopes bool
}

// ReadTexture decodes the picture in the file path into a texture of the picture's own bit depth: 8 or 16 bits, half or
// float. Beside the texture and the file's bytes only the picture as its library decodes it is in memory meanwhile.
// notes are warnings for people; errors are those of Read.
func ReadTexture(path string, as As) (im *texture.Image, notes []string, err error) {
	data, err := ReadFile(path)
	if err != nil {
		return nil, nil, err
	}
	return TextureOf(path, data, as)
}

// TextureOf is ReadTexture for a picture in memory; name is as in ReadBytes.
func TextureOf(name string, data []byte, as As) (im *texture.Image, notes []string, err error) {
	for _, k := range kinds {
		if k.native == nil || !bytes.HasPrefix(data, []byte(k.start)) {
			continue
		}
		if err := checkName(name, k.name); err != nil {
			return nil, nil, named(name, err)
		}
		c, err := k.native(data)
		if err != nil {
			return nil, nil, named(name, err)
		}
		im, more, err := c.texture(as)
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", name, err)
		}
		return im, append(c.notes, more...), nil
	}
	p, err := ReadBytes(name, data)
	if err != nil {
		return nil, nil, err
	}
	if as.Channel != "" {
		plane := p.Channel(as.Channel)
		if plane == nil {
			return nil, nil, fmt.Errorf("%s: there is no channel %q; it has %s", name, as.Channel, strings.Join(p.Names, ", "))
		}
		p.Names, p.Pix = []string{"Y"}, [][]float32{plane}
	} else if err := p.Plain(as.Colour); err != nil {
		return nil, nil, named(name, err)
	} else if as.Colour {
		p.Working()
	}
	return p.Image(as.SRGB), p.Notes, nil
}

// samples reads rows of a decoded picture as 8-bit levels of 8 or 16 bits: channels Y, or R G B, or R G B A.
type samples struct {
	w, h, c int
	wide    bool // 16 bits
	row     func(y int, out []uint16)
}

func (c coded) samples() samples {
	b := c.image.Bounds()
	s := samples{w: b.Dx(), h: b.Dy(), c: 3}
	if o, ok := c.image.(interface{ Opaque() bool }); !ok || !o.Opaque() {
		s.c = 4
	}
	switch m := c.image.(type) {
	case *image.Gray:
		s.c = 1
		s.row = func(y int, out []uint16) {
			for i, v := range m.Pix[y*m.Stride : y*m.Stride+s.w] {
				out[i] = uint16(v)
			}
		}
	case *image.Gray16:
		s.c, s.wide = 1, true
		s.row = func(y int, out []uint16) {
			for i := range s.w {
				out[i] = binary.BigEndian.Uint16(m.Pix[y*m.Stride+2*i:])
			}
		}
	case *image.NRGBA:
		s.row = func(y int, out []uint16) { four8(m.Pix[y*m.Stride:], out, s.w, s.c) }
	case *image.NRGBA64:
		s.wide = true
		s.row = func(y int, out []uint16) { four16(m.Pix[y*m.Stride:], out, s.w, s.c) }
	case *image.RGBA:
		if s.c == 3 {
			s.row = func(y int, out []uint16) { four8(m.Pix[y*m.Stride:], out, s.w, s.c) }
		}
	case *image.RGBA64:
		s.wide = true
		if s.c == 3 {
			s.row = func(y int, out []uint16) { four16(m.Pix[y*m.Stride:], out, s.w, s.c) }
		} else {
			s.row = func(y int, out []uint16) {
				for x := range s.w {
					n := color.NRGBA64Model.Convert(m.RGBA64At(b.Min.X+x, b.Min.Y+y)).(color.NRGBA64)
					copy(out[4*x:], []uint16{n.R, n.G, n.B, n.A})
				}
			}
		}
	case *image.YCbCr:
		s.row = func(y int, out []uint16) {
			for x := range s.w {
				k, j := m.YOffset(b.Min.X+x, b.Min.Y+y), m.COffset(b.Min.X+x, b.Min.Y+y)
				r, g, bl := color.YCbCrToRGB(m.Y[k], m.Cb[j], m.Cr[j])
				out[3*x], out[3*x+1], out[3*x+2] = uint16(r), uint16(g), uint16(bl)
			}
		}
	}
	if s.row == nil {
		s.row = func(y int, out []uint16) {
			for x := range s.w {
				n := color.NRGBAModel.Convert(c.image.At(b.Min.X+x, b.Min.Y+y)).(color.NRGBA)
				v := [4]uint8{n.R, n.G, n.B, n.A}
				for i := range s.c {
					out[x*s.c+i] = uint16(v[i])
				}
			}
		}
	}
	return s
}

func four8(pix []byte, out []uint16, w, c int) {
	for x := range w {
		for i := range c {
			out[x*c+i] = uint16(pix[4*x+i])
		}
	}
}

func four16(pix []byte, out []uint16, w, c int) {
	for x := range w {
		for i := range c {
			out[x*c+i] = binary.BigEndian.Uint16(pix[8*x+2*i:])
		}
	}
}

// texture makes a texture of a decoded picture, row by row. Alpha stays out unless it is asked for by name.
func (c coded) texture(as As) (*texture.Image, []string, error) {
	s := c.samples()
	names := []string{"R", "G", "B", "A"}[:s.c]
	if s.c == 1 {
		names = []string{"Y"}
	}
	pick := []int{0, 1, 2}[:min(s.c, 3)]
	var notes []string
	switch {
	case as.Channel != "":
		k := slices.Index(names, as.Channel)
		if k < 0 && s.c == 1 && strings.Contains("RGB", as.Channel) {
			k = 0 // a grey picture has its value in each
		}
		if k < 0 {
			return nil, nil, fmt.Errorf("there is no channel %q; it has %s", as.Channel, strings.Join(names, ", "))
		}
		pick = []int{k}
	case as.Slopes && s.c >= 3:
		share, worst := s.unitNormals()
		if share >= 0.99 {
			pick = []int{0, 1}
			notes = append(notes, fmt.Sprintf("kept as slopes in two channels: %.2f %% of the texels are unit vectors; the third component moves by %.2g at most there", 100*share, worst))
		}
	}
	k := len(pick)
	row := make([]uint16, s.w*s.c)
	if s.wide {
		pix := make([]uint16, s.w*s.h*k)
		for y := range s.h {
			s.row(y, row)
			for x := range s.w {
				for j, q := range pick {
					pix[(y*s.w+x)*k+j] = row[x*s.c+q]
				}
			}
		}
		return texture.NewImage16(s.w, s.h, k, pix, coding16(as.SRGB && pick[0] != 3)), notes, nil
	}
	pix := make([]uint8, s.w*s.h*k)
	for y := range s.h {
		s.row(y, row)
		for x := range s.w {
			for j, q := range pick {
				pix[(y*s.w+x)*k+j] = uint8(row[x*s.c+q])
			}
		}
	}
	return texture.NewImage8(s.w, s.h, k, pix, coding8(as.SRGB && pick[0] != 3)), notes, nil
}

// unitNormals returns the share of texels whose third component follows from the first two, to within two 8-bit levels of 8
// bits, and the largest change among those.
func (s samples) unitNormals() (share, worst float64) {
	top := 255.0
	if s.wide {
		top = 65535
	}
	row := make([]uint16, s.w*s.c)
	good := 0
	for y := range s.h {
		s.row(y, row)
		for x := range s.w {
			p := row[x*s.c:]
			a, b, z := 2*float64(p[0])/top-1, 2*float64(p[1])/top-1, 2*float64(p[2])/top-1
			if e := math.Abs(math.Sqrt(max(0, 1-a*a-b*b)) - z); e <= 4.0/255 {
				good++
				worst = max(worst, e)
			}
		}
	}
	return float64(good) / float64(s.w*s.h), worst
}
