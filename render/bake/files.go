package bake

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/colour"
	"catchlight/scene/grown"
	"catchlight/scene/imageio"
)

// Maps are the names of what can be written, in order.
var Maps = []string{"normal", "height", "curvature", "convex", "concave", "position", "occlusion", "thickness", "ids", "masks", "colour"}

// KindOf is the kind that a map is made from.
func KindOf(name string) Kind {
	switch name {
	case "convex", "concave":
		return Curvature
	}
	return Kind(name)
}

// Style is how maps are stored.
type Style struct {
	Bits        int // 8, 16 or 32 (as they are, in OpenEXR)
	Dither      bool
	GreenDown   bool
	Edge        float64 // mm: the radius from which on convex and concave are full
	HeightRange float64 // mm to either side; 0: what is there
	ThickRange  float64 // mm; 0: what is there
	CurveRange  float64 // 1/mm to either side; 0: what is there
}

// Ranges are those of a set's values over all its tiles.
type Ranges struct{ Height, Curve, Thick float64 }

// Measure finds the ranges of a canvas's values and widens r by them.
func (r *Ranges) Measure(c *Canvas) error {
	for _, q := range []struct {
		k  Kind
		to *float64
	}{{Height, &r.Height}, {Curvature, &r.Curve}, {Thick, &r.Thick}} {
		if c.Planes[q.k] == nil {
			continue
		}
		lo, hi, most, err := c.Extent(q.k, 0)
		if err != nil {
			return err
		}
		if q.k != Height { // slivers have any curvature, and a ray may find a long way through a crack: 999 of 1000
			hi = min(max(hi, -lo), 1.2*most)
			lo = 0
		}
		*q.to = max(*q.to, math.Abs(lo), math.Abs(hi))
	}
	return nil
}

// File is one picture to be written.
type File struct {
	Name  string   `json:"file"`
	Map   string   `json:"map"`
	Set   string   `json:"set,omitempty"`
	Tile  int      `json:"tile"`
	Bits  int      `json:"bits"`
	Holds []string `json:"channels"` // a word for each
	Code  string   `json:"code"`     // from what is stored, 0 to 1, to the value
	Zero  *float64 `json:"zero_level,omitempty"`
	Scale *float64 `json:"scale,omitempty"`
	Clip  float64  `json:"clipped_share"`

	channels []Channel
	ids      bool
	coloured bool
	dither   bool
	text     map[string]string
}

// Plan says how a map is stored. More than one file is made of masks: one for each of names.
func (s *Style) Plan(name string, r *Ranges, names []string) (list []File) {
	f := File{Map: name, Bits: s.Bits, dither: s.Dither}
	code := func(words string, zero, scale float64) {
		f.Code, f.Zero, f.Scale = words, &zero, &scale
	}
	bits := min(16, s.Bits)
	switch name {
	case "normal":
		turn := func(sign float64) func(float64) float64 { return func(v float64) float64 { return 0.5 + 0.5*sign*v } }
		green := 1.0
		words := "up in the picture"
		if s.GreenDown {
			green, words = -1, "down in the picture"
		}
		f.channels = []Channel{{Kind: Normal, C: 0, Code: turn(1)}, {Kind: Normal, C: 1, Code: turn(green)}, {Kind: Normal, C: 2, Code: turn(1)}}
		f.Holds = []string{"along growing u", words, "along the normal"}
		f.Code = "component = 2 stored - 1, in the tangent space of the standard (glTF 2.0): interpolated, not made unit before"
	case "height":
		half := s.HeightRange
		if half == 0 {
			half = Range(r.Height)
		}
		c, zero, scale := Signed(half, bits)
		f.channels, f.Holds = []Channel{{Kind: Height, Code: c}}, []string{"mm along the smooth normal"}
		code("mm = (stored - zero_level) x scale", zero, scale)
		f.text = map[string]string{grown.ZeroText: fmt.Sprint(zero), grown.ScaleText: fmt.Sprint(scale)}
		f.dither = false // steps in a height are slopes
	case "curvature":
		half := s.CurveRange
		if half == 0 {
			half = Range(r.Curve)
		}
		c, zero, scale := Signed(half, bits)
		f.channels, f.Holds = []Channel{{Kind: Curvature, Code: c}}, []string{"mean curvature, 1/mm, bulges positive"}
		code("1/mm = (stored - zero_level) x scale", zero, scale)
	case "convex", "concave":
		side := map[string]float64{"convex": 1, "concave": -1}[name]
		f.channels = []Channel{{Kind: Curvature, Code: Ramp(s.Edge, side)}}
		f.Holds = []string{fmt.Sprintf("%s edges: 1 from radius %g mm on, 0 up to four times that", name, s.Edge)}
		f.Code = "share"
	case "position":
		f.Bits = 32
		f.channels = []Channel{{Kind: Position, C: 0}, {Kind: Position, C: 1}, {Kind: Position, C: 2}}
		f.Holds, f.Code = []string{"x, mm", "y, mm", "z, mm"}, "mm as they are, in the axes of the low mesh"
	case "occlusion":
		f.channels, f.Holds, f.Code = []Channel{{Kind: Ambient}}, []string{"share of a cosine-weighted sky that is free"}, "share"
	case "thickness":
		top := s.ThickRange
		if top == 0 {
			top = Range(r.Thick)
		}
		f.channels, f.Holds = []Channel{{Kind: Thick, Code: func(v float64) float64 { return v / top }}}, []string{"mm to the other side"}
		code("mm = stored x scale", 0, top)
	case "ids":
		f.Bits, f.ids, f.dither = 8, true, false
		f.Holds, f.Code = []string{"red", "green", "blue"}, "colours of the list of ids; black is none"
	case "colour":
		f.channels = []Channel{{Kind: Colour, C: 0, Code: Shade}, {Kind: Colour, C: 1, Code: Shade}, {Kind: Colour, C: 2, Code: Shade}}
		f.Holds, f.Code, f.coloured = []string{"red", "green", "blue"}, "sRGB", true
	case "masks":
		for i, n := range names {
			q := f
			q.Map, q.channels = "mask_"+FileName(n), []Channel{{Kind: Masks, C: i}}
			q.Holds, q.Code = []string{"share of " + n}, "share"
			list = append(list, s.finish(q))
		}
		return list
	}
	return []File{s.finish(f)}
}

// finish takes the codes away where values are stored as they are.
func (s *Style) finish(f File) File {
	if f.Bits == 32 {
		f.channels = slices.Clone(f.channels)
		for i := range f.channels {
			if k := f.channels[i].Kind; k != Curvature || f.Map == "curvature" {
				f.channels[i].Code = nil
			}
			if f.Map == "normal" && i == 1 && s.GreenDown {
				f.channels[i].Code = func(v float64) float64 { return -v }
			}
		}
		f.Zero, f.Scale, f.text = nil, nil, nil
		switch f.Map {
		case "normal":
			f.Code = "component as it is, in the tangent space of the standard (glTF 2.0)"
		case "colour":
			f.Code = "linear, Rec. 709"
		case "height", "curvature", "thickness":
			f.Code = "as it is: " + strings.Join(f.Holds, ", ")
		}
	}
	return f
}

// Pack is one file of channels of several maps.
type Pack struct {
	Name  string
	Words []string
}

// ParsePack reads NAME=WORD,WORD,...: one, three or four words, each a map of one channel, MAP.r, .g or .b of one with three, or a number
// of 0 to 1.
func ParsePack(text string) (p Pack, err error) {
	name, list, ok := strings.Cut(text, "=")
	p = Pack{Name: name, Words: strings.Split(list, ",")}
	switch {
	case !ok || name == "" || FileName(name) != name:
		return p, fmt.Errorf("%q: give NAME=CHANNEL,CHANNEL,CHANNEL with a name of small letters, digits, - and _", text)
	case slices.Contains(Maps, name):
		return p, fmt.Errorf("%q: %s is the name of a map", text, name)
	case len(p.Words) != 1 && len(p.Words) != 3 && len(p.Words) != 4:
		return p, fmt.Errorf("%q: %d channels, must be 1, 3 or 4", text, len(p.Words))
	}
	for _, w := range p.Words {
		if v, err := strconv.ParseFloat(w, 64); err == nil {
			if !(v >= 0 && v <= 1) {
				return p, fmt.Errorf("%q: %s is outside [0, 1]", text, w)
			}
			continue
		}
		m, c, dotted := strings.Cut(w, ".")
		three := slices.Contains([]string{"normal", "position", "colour"}, m)
		if !slices.Contains(Maps, m) || m == "ids" || m == "masks" || three != dotted || dotted && !slices.Contains([]string{"r", "g", "b"}, c) {
			return p, fmt.Errorf("%q: %s is no channel: name a map of one channel (height, curvature, convex, concave, occlusion, thickness), normal.r, colour.g and the like, or a number of 0 to 1", text, w)
		}
		if m == "position" {
			return p, fmt.Errorf("%q: positions are no shares; they are written by themselves", text)
		}
	}
	return p, nil
}

// Uses are the maps that a pack is made of.
func (p *Pack) Uses() (out []string) {
	for _, w := range p.Words {
		if m, _, _ := strings.Cut(w, "."); slices.Contains(Maps, m) && !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	return out
}

// Pack says how a pack is stored: its channels as their maps would be, in 8 or 16 bits.
func (s *Style) Pack(p *Pack, r *Ranges) File {
	whole := *s
	whole.Bits = min(16, s.Bits)
	f := File{Map: p.Name, Bits: whole.Bits, dither: s.Dither, Code: "each channel as its map"}
	for _, w := range p.Words {
		if v, err := strconv.ParseFloat(w, 64); err == nil {
			f.channels, f.Holds = append(f.channels, Channel{Flat: v}), append(f.Holds, w+" everywhere")
			continue
		}
		m, c, _ := strings.Cut(w, ".")
		q := whole.Plan(m, r, nil)[0]
		k := max(0, strings.Index("rgb", c))
		words := m + ": " + q.Holds[k] + "; " + q.Code
		if q.Zero != nil {
			words += fmt.Sprintf(" (zero_level %g, scale %g)", *q.Zero, *q.Scale)
		}
		f.channels, f.Holds = append(f.channels, q.channels[k]), append(f.Holds, words)
	}
	return f
}

// Kinds are those that the file is made from.
func (f *File) Kinds() []Kind {
	out := []Kind{Cover}
	if f.ids {
		out = append(out, IDs)
	}
	for _, c := range f.channels {
		if c.Kind != "" && !slices.Contains(out, c.Kind) {
			out = append(out, c.Kind)
		}
	}
	return out
}

// Path is the file's name for a set and a tile; several says that there is more than one tile.
func (f *File) Path(set string, tile int, several bool) string {
	name := f.Map
	if set != "" {
		name = set + "_" + name
	}
	if several {
		name += "." + strconv.Itoa(tile)
	}
	if f.Bits == 32 {
		return name + ".exr"
	}
	return name + ".png"
}

// Write writes the file.
func (c *Canvas) Write(path string, f *File) error {
	switch {
	case f.ids:
		pix, err := c.Identified()
		if err != nil {
			return err
		}
		return imageio.WriteData(path, c.W, c.H, 3, pix, nil, nil)
	case f.Bits == 32:
		names := []string{"B", "G", "R"}
		if len(f.channels) == 1 {
			names = []string{"Y"}
		}
		var list []imageio.EXRChannel
		for i, n := range names {
			ch := f.channels[len(names)-1-i]
			v, err := c.Plane(ch.Kind, ch.C)
			if err != nil {
				return err
			}
			pix := slices.Clone(v)
			if ch.Code != nil {
				for k, x := range pix {
					pix[k] = float32(ch.Code(float64(x)))
				}
			}
			list = append(list, imageio.EXRChannel{Name: n, Pix: pix})
		}
		return imageio.WriteEXRIn(path, c.W, c.H, list, nil, colour.Rec709)
	}
	pix8, pix16, clipped, err := c.Coded(f.channels, f.Bits, f.dither)
	if err != nil {
		return err
	}
	f.Clip = float64(clipped) / float64(c.W*c.H*len(f.channels))
	n := len(f.channels)
	switch {
	case f.coloured && pix8 != nil:
		return imageio.WritePNG(path, c.W, c.H, n, pix8, f.text)
	case f.coloured:
		return imageio.WritePNG16(path, c.W, c.H, n, pix16, f.text)
	}
	return imageio.WriteData(path, c.W, c.H, n, pix8, pix16, f.text)
}
