package layout

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/colour"
	"catchlight/scene/imageio"
	"catchlight/scene/texture"
)

// Kind is what a map holds, which says how it is filtered.
type Kind string

// The kinds.
const (
	Colour Kind = "colour" // filtered in linear light
	Data   Kind = "data"   // heights, roughness, masks: filtered as stored
	Normal Kind = "normal" // tangent-space normals: turned, their slopes filtered
	IDs    Kind = "ids"    // numbers of parts: the nearest texel, never a mean
)

// Picture is one tile of a map, linear where it holds colour, else as stored.
type Picture struct {
	W, H, C int
	Pix     []float32 // interleaved
	Names   []string  // of the channels
}

// Source is a map to be carried.
type Source struct {
	Kind  Kind
	Green float64 // -1 where positive green points down in a normal map
	Tiles map[int]*Picture
	Wrap  texture.Wrap
	Tiled bool // coordinates name the tile

	SRGB  bool // 8- and 16-bit colours are coded by IEC 61966-2-1
	Depth int  // bits of a channel in the file
	Attrs map[string]string
	Prim  *colour.Primaries
}

// Open reads a map, or a set of tiles by their numbers.
func Open(files map[int]string, kind Kind, srgb, down bool, wrap texture.Wrap) (*Source, error) {
	s := &Source{Kind: kind, Green: 1, Tiles: map[int]*Picture{}, Wrap: wrap, SRGB: srgb}
	if down {
		s.Green = -1
	}
	for n, file := range files {
		p, err := imageio.Read(file)
		if err != nil {
			return nil, err
		}
		if kind == Normal && len(p.Pix) < 3 {
			return nil, fmt.Errorf("%s: a normal map needs three channels, it has %d", filepath.Base(file), len(p.Pix))
		}
		s.Depth, s.Attrs, s.Prim = max(s.Depth, p.Depth), p.Attrs, p.Primaries
		c := min(4, len(p.Pix))
		if kind == Normal {
			c = 3
		}
		q := &Picture{W: p.W, H: p.H, C: c, Pix: make([]float32, c*p.W*p.H), Names: p.Names[:c]}
		decode := kind == Colour && srgb && p.Encoded
		for k := range c {
			for i, v := range p.Pix[k] {
				if decode && p.Names[k] != "A" {
					v = float32(linear(float64(v)))
				}
				q.Pix[i*c+k] = v
			}
		}
		s.Tiles[n] = q
		if !p.Encoded {
			s.SRGB = false
		}
	}
	if len(s.Tiles) == 0 {
		return nil, fmt.Errorf("no file")
	}
	return s, nil
}

// First is the tile of the lowest number.
func (s *Source) First() *Picture {
	low := 0
	for n := range s.Tiles {
		if low == 0 || n < low {
			low = n
		}
	}
	return s.Tiles[low]
}

// at returns the picture at (u, v) and the place in its texels, or nil where there is no tile.
func (s *Source) at(u, v float64) (p *Picture, x, y float64) {
	if s.Tiled {
		// Tiles count to the right from 1001 and up by tens; v runs down here, and up in the numbers.
		i, j := math.Floor(u), math.Floor(v)
		p = s.Tiles[1001+int(i)-10*int(j)]
		if p == nil {
			return nil, 0, 0
		}
		return p, (u - i) * float64(p.W), (v - j) * float64(p.H)
	}
	p = s.First()
	return p, u * float64(p.W), v * float64(p.H)
}

// edge brings a texel's index into the picture.
func (s *Source) edge(i, n int) int {
	if s.Tiled || s.Wrap == texture.Clamp {
		return min(n-1, max(0, i))
	}
	if s.Wrap == texture.Mirror {
		i = ((i % (2 * n)) + 2*n) % (2 * n)
		return min(i, 2*n-1-i)
	}
	return ((i % n) + n) % n
}

// cubic reads all channels at a place by Catmull and Rom's cubic; colours do not fall below 0.
func (s *Source) cubic(p *Picture, x, y float64, out []float64) {
	fx, fy := x-0.5, y-0.5
	i, j := int(math.Floor(fx)), int(math.Floor(fy))
	wx, wy := catmull(fx-float64(i)), catmull(fy-float64(j))
	var cols [4]int
	for k := range cols {
		cols[k] = s.edge(i-1+k, p.W)
	}
	for c := range p.C {
		out[c] = 0
	}
	for r := range 4 {
		row := s.edge(j-1+r, p.H) * p.W
		for k := range 4 {
			at := (row + cols[k]) * p.C
			w := wx[k] * wy[r]
			for c := range p.C {
				out[c] += w * float64(p.Pix[at+c])
			}
		}
	}
	for c := 0; c < p.C && s.Kind == Colour; c++ {
		out[c] = max(0, out[c])
	}
}

// nearest reads the texel at a place.
func (s *Source) nearest(p *Picture, x, y float64, out []float64) {
	at := (s.edge(int(math.Floor(y)), p.H)*p.W + s.edge(int(math.Floor(x)), p.W)) * p.C
	for c := range p.C {
		out[c] = float64(p.Pix[at+c])
	}
}

// catmull are the weights of four texels. Source: Catmull and Rom, A Class of Local Interpolating Splines, 1974; Keys, IEEE ASSP 29 (1981).
func catmull(t float64) [4]float64 {
	return [4]float64{t * (-0.5 + t*(1-0.5*t)), 1 + t*t*(-2.5+1.5*t), t * (0.5 + t*(2-1.5*t)), t * t * (-0.5 + 0.5*t)}
}

func linear(x float64) float64 {
	if x <= 0.04045 {
		return x / 12.92
	}
	return math.Pow((x+0.055)/1.055, 2.4)
}

func coded(x float64) float64 {
	if x <= 0.0031308 {
		return 12.92 * x
	}
	return 1.055*math.Pow(x, 1/2.4) - 0.055
}

// Write writes a carried picture in the depth that it came in, and returns the file's name with its ending: .png for coded pictures,
// .exr for others. Normals get 16 bits at least.
func (s *Source) Write(path string, p *Picture) (string, error) {
	if s.Depth == 32 {
		path += ".exr"
		return path, s.writeEXR(path, p)
	}
	path += ".png"
	c := p.C
	if c == 2 { // PNG's second channel would be alpha: a third one of zeros
		q := &Picture{W: p.W, H: p.H, C: 3, Pix: make([]float32, 3*p.W*p.H)}
		for i := range p.W * p.H {
			q.Pix[3*i], q.Pix[3*i+1] = p.Pix[2*i], p.Pix[2*i+1]
		}
		p, c = q, 3
	}
	stored := func(v float32, k int) float64 {
		x := float64(v)
		if s.Kind == Colour && s.SRGB && k < 3 {
			x = coded(x)
		}
		return min(1, max(0, x))
	}
	text := map[string]string{}
	for k, v := range s.Attrs {
		if strings.TrimSpace(v) != "" && len(v) < 200 {
			text[k] = v
		}
	}
	if s.Depth > 8 || s.Kind == Normal {
		pix := make([]uint16, len(p.Pix))
		for i, v := range p.Pix {
			pix[i] = uint16(stored(v, i%c)*65535 + 0.5)
		}
		return path, imageio.WritePNG16(path, p.W, p.H, c, pix, text)
	}
	pix := make([]uint8, len(p.Pix))
	for i, v := range p.Pix {
		pix[i] = uint8(stored(v, i%c)*255 + 0.5)
	}
	return path, imageio.WritePNG(path, p.W, p.H, c, pix, text)
}

func (s *Source) writeEXR(path string, p *Picture) error {
	var ch []imageio.EXRChannel
	for k := range p.C {
		pix := make([]float32, p.W*p.H)
		for i := range pix {
			pix[i] = p.Pix[i*p.C+k]
		}
		ch = append(ch, imageio.EXRChannel{Name: p.Names[k], Pix: pix})
	}
	slices.SortStableFunc(ch, func(a, b imageio.EXRChannel) int { return strings.Compare(a.Name, b.Name) })
	in := colour.Rec709
	if s.Prim != nil {
		in = *s.Prim
	}
	return imageio.WriteEXRIn(path, p.W, p.H, ch, nil, in)
}
