package bake

import (
	"fmt"
	"math"
	"slices"

	"catchlight/scene/atlas"
	"catchlight/scene/colour"
)

// Channel is one channel of a file: a channel of a map's planes and how its values become 0 to 1.
type Channel struct {
	Kind Kind
	C    int
	Code func(v float64) float64 // nil: as it is
	Flat float64                 // where Kind is "": the same everywhere
	Note string                  // what is stored, in words
}

// Steps are what a range may be, times powers of ten.
var steps = []float64{1, 2, 5, 10}

// Range is the smallest 1, 2 or 5 times a power of ten that is no less than v.
func Range(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, s := range steps {
		if s*p >= v*(1-1e-6) {
			return s * p
		}
	}
	return 10 * p
}

// mid is the code that stands for 0 in the middle of a range: no code lies at a half.
func mid(bits int) float64 {
	if bits == 8 {
		return 128.0 / 255
	}
	return 32768.0 / 65535
}

// Signed stores values from -half to half about the middle code: value = (stored - zero) x scale.
func Signed(half float64, bits int) (code func(float64) float64, zero, scale float64) {
	zero, scale = mid(bits), 2*half
	return func(v float64) float64 { return zero + v/scale }, zero, scale
}

// Ramp stores how far a mean curvature goes from that of a quarter of 1/edge, 0, to 1/edge, 1; side 1 for bulges, -1 for hollows.
func Ramp(edge, side float64) func(float64) float64 {
	lo, hi := 0.25/edge, 1/edge
	return func(v float64) float64 { return max(0, min(1, (side*v-lo)/(hi-lo))) }
}

// Shade stores linear light as sRGB.
func Shade(v float64) float64 { return colour.EncodeSRGB(max(0, min(1, v))) }

// Palette is the colour of an id in pictures of ids, of 8 bits: hues by the golden angle at three lightnesses, all apart by more than a
// few codes; black is none.
func Palette(id int) [3]uint8 {
	if id <= 0 {
		return [3]uint8{}
	}
	const golden = 137.50776405003785
	h := math.Mod(float64(id-1)*golden, 360) / 60
	top := []float64{1, 0.75, 0.55}[(id-1)%3]
	x := 1 - math.Abs(math.Mod(h, 2)-1)
	c := [][3]float64{{1, x, 0}, {x, 1, 0}, {0, 1, x}, {0, x, 1}, {x, 0, 1}, {1, 0, x}}[int(h)%6]
	var out [3]uint8
	for i, v := range c {
		out[i] = uint8(math.Round(255 * top * (0.15 + 0.85*v)))
	}
	return out
}

// Canvas is one tile of a set: its planes, and where the rest of the picture takes its values from.
type Canvas struct {
	W, H    int
	Planes  map[Kind]*Planes
	Padding *Padding
	plane   []float32 // the last one read
}

// Padding fills what is not covered.
type Padding struct {
	*atlas.Padding
	Reach   float64 // texels from an island; 0: everything from the nearest one
	Covered int
	Missed  int     // texels on the low mesh whose rays met nothing
	Back    float64 // share of all samples whose first surface faced away
	Whole   float64 // covered texels, partly covered ones counting by their share
}

// NewCanvas reads the cover and finds the nearest covered texels.
func NewCanvas(planes map[Kind]*Planes, reach float64) (*Canvas, error) {
	p := planes[Cover]
	if p == nil {
		return nil, fmt.Errorf("the cover is not there")
	}
	c := &Canvas{W: p.W, H: p.H, Planes: planes, plane: make([]float32, p.W*p.H)}
	if err := p.Channel(0, c.plane); err != nil {
		return nil, err
	}
	q := &Padding{Reach: reach}
	cover := make([]bool, p.W*p.H)
	for i, v := range c.plane {
		switch {
		case v > 0:
			cover[i] = true
			q.Covered++
			q.Whole += float64(v)
		case v < 0:
			q.Missed++
		}
	}
	if err := p.Channel(1, c.plane); err != nil {
		return nil, err
	}
	for _, v := range c.plane {
		q.Back += float64(v)
	}
	q.Back /= max(1, q.Whole)
	q.Padding = atlas.NewPadding(p.W, p.H, cover)
	c.Padding = q
	return c, nil
}

// Plane reads a channel and fills what is not covered. What it returns is overwritten by the next call.
func (c *Canvas) Plane(k Kind, channel int) ([]float32, error) {
	p := c.Planes[k]
	if p == nil || channel >= p.C {
		return nil, fmt.Errorf("%s has no channel %d", k, channel)
	}
	if err := p.Channel(channel, c.plane); err != nil {
		return nil, err
	}
	reach := c.Padding.Reach
	if k == IDs {
		reach = 0 // never between two
	}
	c.Padding.Fill(c.plane, reach)
	return c.plane, nil
}

// Extent returns the least and the largest value of a channel where it is covered, and the least absolute value that 999 of 1000 do not
// exceed.
func (c *Canvas) Extent(k Kind, channel int) (lo, hi, most float64, err error) {
	v, err := c.Plane(k, channel)
	if err != nil {
		return 0, 0, 0, err
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	abs := make([]float32, 0, 1<<16)
	stride := max(1, len(v)>>20) // a million texels tell
	for i, x := range v {
		lo, hi = min(lo, float64(x)), max(hi, float64(x))
		if i%stride == 0 {
			abs = append(abs, max(x, -x))
		}
	}
	slices.Sort(abs)
	return lo, hi, float64(abs[len(abs)*999/1000]), nil
}

// codes fills one channel of a picture of several interleaved ones with whole numbers of 8 or 16 bits, dithered where asked.
func (c *Canvas) codes(ch Channel, at, channels, bits int, dither bool, pix8 []uint8, pix16 []uint16) (clipped int, err error) {
	var v []float32
	if ch.Kind != "" {
		if v, err = c.Plane(ch.Kind, ch.C); err != nil {
			return 0, err
		}
	}
	top := 1<<bits - 1
	slack := 1 / float64(top)
	for y := range c.H {
		for x := range c.W {
			i := y*c.W + x
			f := ch.Flat
			if v != nil {
				if f = float64(v[i]); ch.Code != nil {
					f = ch.Code(f)
				}
			}
			if !(f >= -slack && f <= 1+slack) { // a code at most is rounding
				clipped++
			}
			n := 0
			if dither {
				n = atlas.Dither(f, top, x, y, at)
			} else {
				n = atlas.Code(f, top)
			}
			if pix8 != nil {
				pix8[i*channels+at] = uint8(n)
			} else {
				pix16[i*channels+at] = uint16(n)
			}
		}
	}
	return clipped, nil
}

// Coded returns a picture's samples, 8 or 16 bits, channels interleaved; one of the slices is nil. clipped counts samples that lay
// outside 0 to 1. Dithering is for 8 bits.
func (c *Canvas) Coded(chs []Channel, bits int, dither bool) (pix8 []uint8, pix16 []uint16, clipped int, err error) {
	n := c.W * c.H * len(chs)
	if bits == 8 {
		pix8 = make([]uint8, n)
	} else {
		pix16 = make([]uint16, n)
	}
	for at, ch := range chs {
		n, err := c.codes(ch, at, len(chs), bits, dither && bits == 8, pix8, pix16)
		if err != nil {
			return nil, nil, 0, err
		}
		clipped += n
	}
	return pix8, pix16, clipped, nil
}

// Identified returns the picture of ids in the palette's colours.
func (c *Canvas) Identified() ([]uint8, error) {
	v, err := c.Plane(IDs, 0)
	if err != nil {
		return nil, err
	}
	out := make([]uint8, 0, 3*len(v))
	for _, id := range v {
		p := Palette(int(id))
		out = append(out, p[:]...)
	}
	return out, nil
}
