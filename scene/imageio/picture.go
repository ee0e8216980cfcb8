package imageio

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/colour"
	"catchlight/scene/half"
	"catchlight/scene/texture"
)

// Picture is a decoded file: planes of W x H values, one a channel, each row-major from the top left.
type Picture struct {
	W, H  int
	Names []string    // of the channels: R G B A or Y A first, in this order, then what else an OpenEXR file has
	Pix   [][]float32 // one plane a channel; alpha is never premultiplied into the others by this package

	// Encoded tells the values' meaning. True: display-coded signal in [0, 1] (PNG, JPEG, TIFF). False: linear
	// (Radiance HDR, PFM, OpenEXR), of any size and, but for Radiance HDR, any sign.
	Encoded bool

	// Primaries of the colour where an OpenEXR file states others than Rec. 709; see Working.
	Primaries *colour.Primaries

	Depth int               // bits of a channel in the file: 8, 16 or 32
	Notes []string          // warnings, for people
	Attrs map[string]string // text attributes (OpenEXR string attributes, PNG text)
}

// Channel returns the plane of the channel called name, or nil.
func (p *Picture) Channel(name string) []float32 {
	if i := slices.Index(p.Names, name); i >= 0 {
		return p.Pix[i]
	}
	return nil
}

// RGB returns the planes of the colour: R, G and B where the picture has them, otherwise three times Y or, failing
// that, three times the first channel.
func (p *Picture) RGB() [3][]float32 {
	r, g, b := p.Channel("R"), p.Channel("G"), p.Channel("B")
	if r != nil && g != nil && b != nil {
		return [3][]float32{r, g, b}
	}
	y := p.Channel("Y")
	if y == nil {
		y = p.Pix[0]
	}
	return [3][]float32{y, y, y}
}

// Plain returns an error where it is not plain which channels are meant: where none is called R, G, B or Y, unless there is
// but one and no colour is wanted. Only OpenEXR files can be so.
func (p *Picture) Plain(colour bool) error {
	for _, n := range []string{"R", "G", "B", "Y"} {
		if p.Channel(n) != nil {
			return nil
		}
	}
	if len(p.Names) == 1 && !colour {
		return nil
	}
	return bad("", "there are no colours in it: none of its channels (%s) is R, G, B or Y; save the colours as R, G and B, or, for a map, name one channel with the key channel",
		strings.Join(p.Names, ", "))
}

// Image returns the picture as a texture. colourSpaceSRGB is for a display-coded picture that holds colour: its
// signal is decoded to linear light. Without it the signal itself is the value (roughness, height, masks, normals).
// A linear picture is taken as it is either way.
//
// The texture has one channel (grey) or three, and a fourth where the picture has an alpha channel that is not 1
// everywhere; alpha is never decoded. Values that are not finite become 0; Read has noted how many there are.
func (p *Picture) Image(colourSpaceSRGB bool) *texture.Image {
	planes := p.Pix[:1]
	c := p.RGB()
	if &c[0][0] != &c[1][0] {
		planes = c[:]
	} else if y := p.Channel("Y"); y != nil {
		planes = [][]float32{y}
	}
	decode := p.Encoded && colourSpaceSRGB
	if a := p.Channel("A"); a != nil && slices.ContainsFunc(a, func(v float32) bool { return v != 1 }) {
		if len(planes) == 1 {
			planes = c[:]
		}
		planes = append(slices.Clone(planes), a)
	}
	n, k := p.W*p.H, len(planes)
	switch {
	case p.Encoded && p.Depth == 8 && k < 4:
		pix := make([]uint8, n*k)
		for j, plane := range planes {
			for i, v := range plane {
				pix[i*k+j] = uint8(math.Round(255 * float64(v)))
			}
		}
		return texture.NewImage8(p.W, p.H, k, pix, coding8(decode))
	case p.Encoded && p.Depth == 16 && k < 4:
		pix := make([]uint16, n*k)
		for j, plane := range planes {
			for i, v := range plane {
				pix[i*k+j] = uint16(math.Round(65535 * float64(v)))
			}
		}
		return texture.NewImage16(p.W, p.H, k, pix, coding16(decode))
	case !p.Encoded && p.Depth == 16:
		pix := make([]uint16, n*k)
		for j, plane := range planes {
			for i, v := range plane {
				pix[i*k+j] = half.FromFloat(v)
			}
		}
		return texture.NewImage16(p.W, p.H, k, pix, texture.Half)
	}
	pix := make([]float32, n*k)
	for j, plane := range planes {
		for i, v := range plane {
			switch {
			case v-v != 0: // NaN or infinite
				v = 0
			case decode && j < 3:
				v = float32(colour.DecodeSRGB(float64(v)))
			}
			pix[i*k+j] = v
		}
	}
	return texture.NewImage(p.W, p.H, k, pix)
}

// Working brings the colour to the working primaries, linear Rec. 709 with the white D65, where the file states others;
// white stays white. It says so in a note, or why it can't. Data that are no colours must not go through it.
func (p *Picture) Working() {
	if p.Primaries == nil {
		return
	}
	from := *p.Primaries
	p.Primaries = nil
	r, g, b := p.Channel("R"), p.Channel("G"), p.Channel("B")
	if r == nil || g == nil || b == nil {
		p.note("primaries and white %.4g are not those of Rec. 709; without R, G and B the values are kept as they are", from)
		return
	}
	m, err := from.ToRec709()
	if err != nil {
		p.note("primaries and white %.4g can't be used (%v); the values are kept as they are", from, err)
		return
	}
	for i := range r {
		c := m.Apply(colour.RGB{float64(r[i]), float64(g[i]), float64(b[i])})
		r[i], g[i], b[i] = float32(c[0]), float32(c[1]), float32(c[2])
	}
	p.note("colours were brought from the file's primaries and white %.4g to Rec. 709 and D65 (Bradford)", from)
}

// LatLong returns what speaks against using the picture as an environment in latitude-longitude form: sides not 2:1,
// black all over, negative or non-finite values. It is empty for a sound one.
func (p *Picture) LatLong() []string {
	var notes []string
	if p.W != 2*p.H {
		notes = append(notes, fmt.Sprintf("%d x %d is not a 2:1 latitude-longitude picture; it is stretched over the sphere", p.W, p.H))
	}
	c := p.RGB()
	s := survey(c[:])
	if s.nonFinite > 0 {
		notes = append(notes, fmt.Sprintf("%d values are NaN or infinite", s.nonFinite))
	}
	if s.negative > 0 {
		notes = append(notes, fmt.Sprintf("%d values are negative, down to %g: no light source is", s.negative, s.lowest))
	}
	if !(s.highest > 0) {
		notes = append(notes, "the picture is black: it sheds no light")
	}
	return notes
}

// stats is what a survey of planes finds. lowest and highest are over the finite values.
type stats struct {
	nonFinite, negative int
	lowest, highest     float32
}

func survey(planes [][]float32) stats {
	s := stats{lowest: float32(math.Inf(1)), highest: float32(math.Inf(-1))}
	for _, plane := range planes {
		for _, v := range plane {
			if v-v != 0 {
				s.nonFinite++
				continue
			}
			if v < 0 {
				s.negative++
			}
			s.lowest, s.highest = min(s.lowest, v), max(s.highest, v)
		}
	}
	return s
}

// note adds a warning.
func (p *Picture) note(format string, args ...any) {
	p.Notes = append(p.Notes, fmt.Sprintf(format, args...))
}

// noteValues adds the warnings that the values themselves call for; only linear pictures can.
func (p *Picture) noteValues() {
	if p.Encoded {
		return
	}
	for i, name := range p.Names {
		s := survey(p.Pix[i : i+1])
		if s.nonFinite > 0 {
			p.note("channel %s: %d of %d values are NaN or infinite; they count as 0 in a texture", name, s.nonFinite, len(p.Pix[i]))
		}
		if s.negative > 0 && slices.Contains([]string{"R", "G", "B", "Y"}, name) {
			p.note("channel %s: %d of %d values are negative, down to %g", name, s.negative, len(p.Pix[i]), s.lowest)
		}
	}
}

// signal8 is the signal of each byte.
var signal8 = func() (t [256]float32) {
	for i := range t {
		t[i] = float32(float64(i) / 255)
	}
	return t
}()

func coding8(srgb bool) texture.Coding {
	if srgb {
		return texture.SRGB8
	}
	return texture.Signal8
}

func coding16(srgb bool) texture.Coding {
	if srgb {
		return texture.SRGB16
	}
	return texture.Signal16
}
