package compare

import (
	"image"
	"image/color"
	"math"
)

// ramp is a palette between whose colours values are interpolated.
type ramp []color.NRGBA

// Palettes that readers with any common kind of colour vision can read: their makers tested them so.
//
// Source of plusMinus (diverging, 11 classes) and amount (sequential, 9 classes, dark end first): Harrower and Brewer, An
// Online Tool for Selecting Colour Schemes for Maps, The Cartographic Journal 40 (2003), 27.
var (
	plusMinus = hexes(0x7f3b08, 0xb35806, 0xe08214, 0xfdb863, 0xfee0b6, 0xf7f7f7, 0xd8daeb, 0xb2abd2, 0x8073ac, 0x542788, 0x2d004b)
	amount    = hexes(0x081d58, 0x253494, 0x225ea8, 0x1d91c0, 0x41b6c4, 0x7fcdbb, 0xc7e9b4, 0xedf8b1, 0xffffd9)
)

// kinds are the colours of regions, by Region.Kind.
//
// Source: Okabe and Ito, Color Universal Design, 2008; the yellow is the catchlight's.
var kinds = hexes(0x000000, 0x56b4e9, 0x0072b2, 0x009e73, 0xe69f00, 0xcc79a7, 0xf0e442)

func hexes(codes ...uint32) ramp {
	var out ramp
	for _, c := range codes {
		out = append(out, color.NRGBA{uint8(c >> 16), uint8(c >> 8), uint8(c), 255})
	}
	return out
}

// at returns the colour at t in [0, 1]; beyond it the end's.
func (r ramp) at(t float64) color.NRGBA {
	t = min(max(t, 0), 1) * float64(len(r)-1)
	i := min(int(t), len(r)-2)
	f := t - float64(i)
	mix := func(a, b uint8) uint8 { return uint8(math.Round(float64(a) + f*(float64(b)-float64(a)))) }
	a, b := r[i], r[i+1]
	return color.NRGBA{mix(a.R, b.R), mix(a.G, b.G), mix(a.B, b.B), 255}
}

// steps is how many colours a map is drawn with.
const steps = 255

// draw colours values of low to high by a palette.
func (r ramp) draw(width int, values []float64, low, high float64) *image.Paletted {
	var p color.Palette
	for i := range steps {
		p = append(p, r.at(float64(i)/(steps-1)))
	}
	m := image.NewPaletted(image.Rect(0, 0, width, len(values)/width), p)
	for i, v := range values {
		t := (v - low) / (high - low)
		if math.IsNaN(t) {
			t = 0
		}
		m.Pix[i] = uint8(math.Round(min(max(t, 0), 1) * (steps - 1)))
	}
	return m
}

// Map is a map over the pictures.
type Map struct {
	ID    string // in files and in the page
	Title string
	Low   string // what the ends of the scale mean
	High  string
	Pix   *image.Paletted
	ramp  ramp
}

// Maps returns the maps, of which HDR-FLIP can be missing.
func (r *Result) Maps() []Map {
	w, a, b := r.Width, r.Reference, r.Test
	l, c := r.Scales["lightness"], r.Scales["colour"]
	out := []Map{
		{"difference-signed", "Lightness, signed", number(l) + " L* darker in " + b, number(l) + " L* lighter in " + b, plusMinus.draw(w, r.lighter, -l, l), plusMinus},
		{"difference-absolute", "Colour, CIEDE2000", "0, as in " + a, number(c) + " and more", amount.draw(w, r.colours, 0, c), amount},
		{"flip", "FLIP, as seen", "0, unseen", "1, as far apart as colours go", amount.draw(w, r.flip, 0, 1), amount},
	}
	if r.hdr != nil {
		out = append(out, Map{"hdr-flip", "HDR-FLIP, worst exposure", "0, unseen", "1", amount.draw(w, r.hdr, 0, 1), amount})
	}
	return out
}

// RegionMap colours the regions.
func (r *Result) RegionMap() *image.Paletted {
	var p color.Palette
	for _, c := range kinds {
		p = append(p, c)
	}
	m := image.NewPaletted(image.Rect(0, 0, r.Width, r.Height), p)
	for _, g := range r.pair.Regions {
		for i, in := range g.Mask {
			if in && g.Kind >= 0 {
				m.Pix[i] = uint8(g.Kind)
			}
		}
	}
	return m
}
