package texture

import (
	"math"
	"slices"

	"catchlight/scene/colour"
	"catchlight/scene/half"
)

// Coding says how a texture's stored numbers stand for linear values.
type Coding uint8

// The codings. A signal runs from 0 for code 0 to 1 for the largest code; sRGB ones are decoded to linear light.
const (
	Float    Coding = iota // float32, as it is
	Signal8                // 8-bit signal: data
	SRGB8                  // 8-bit sRGB: colour
	Signal16               // 16-bit signal
	SRGB16                 // 16-bit sRGB
	Half                   // half-precision numbers
)

// tables decode the codings of 8 and 16 bits.
var tables = func() (t [6][]float32) {
	for c, n := range map[Coding]int{Signal8: 256, SRGB8: 256, Signal16: 1 << 16, SRGB16: 1 << 16, Half: 1 << 16} {
		t[c] = make([]float32, n)
		for i := range n {
			v := float64(i) / float64(n-1)
			switch c {
			case SRGB8, SRGB16:
				v = colour.DecodeSRGB(v)
			case Half:
				v = float64(half.ToFloat(uint16(i)))
				if v-v != 0 { // no texture holds NaN or infinity
					v = 0
				}
			}
			t[c][i] = float32(v)
		}
	}
	return t
}()

// below is the coding of small copies: one finer, so that a mean is not rounded to 8 bits at every level.
func (c Coding) below() Coding {
	switch c {
	case Signal8:
		return Signal16
	case SRGB8:
		return SRGB16
	}
	return c
}

// bytes of one stored number.
func (c Coding) bytes() int {
	switch c {
	case Float:
		return 4
	case Signal8, SRGB8:
		return 1
	}
	return 2
}

// level is one size of a picture.
type level struct {
	w, h   int
	coding Coding
	pix    []float32 // Float
	pix8   []uint8   // Signal8, SRGB8
	pix16  []uint16  // the rest
	table  []float32
}

func newLevel(w, h, c int, coding Coding) level {
	l := level{w: w, h: h, coding: coding, table: tables[coding]}
	switch n := w * h * c; coding.bytes() {
	case 1:
		l.pix8 = make([]uint8, n)
	case 2:
		l.pix16 = make([]uint16, n)
	default:
		l.pix = make([]float32, n)
	}
	return l
}

// texel returns entry i as a linear value.
func (l *level) texel(i int) float32 {
	switch {
	case l.pix8 != nil:
		return l.table[l.pix8[i]]
	case l.pix16 != nil:
		return l.table[l.pix16[i]]
	}
	return l.pix[i]
}

// row returns n entries from entry i on as linear values, in buf where it must decode.
func (l *level) row(i, n int, buf []float32) []float32 {
	switch {
	case l.pix8 != nil:
		for k, v := range l.pix8[i : i+n] {
			buf[k] = l.table[v]
		}
	case l.pix16 != nil:
		for k, v := range l.pix16[i : i+n] {
			buf[k] = l.table[v]
		}
	default:
		return l.pix[i : i+n]
	}
	return buf[:n]
}

// put stores linear values from entry i on, each at the nearest code.
func (l *level) put(i int, v []float32) {
	switch l.coding {
	case Float:
		copy(l.pix[i:], v)
	case Half:
		for k, x := range v {
			l.pix16[i+k] = half.FromFloat(max(-65504, min(65504, x)))
		}
	case Signal8:
		for k, x := range v {
			l.pix8[i+k] = uint8(255*max(0, min(1, x)) + 0.5)
		}
	case Signal16:
		for k, x := range v {
			l.pix16[i+k] = uint16(65535*max(0, min(1, x)) + 0.5)
		}
	case SRGB8:
		for k, x := range v {
			l.pix8[i+k] = uint8(l.nearest(x))
		}
	case SRGB16:
		for k, x := range v {
			l.pix16[i+k] = uint16(l.nearest(x))
		}
	}
}

// nearest returns the code whose value is nearest to x, of a rising table.
func (l *level) nearest(x float32) int {
	k, _ := slices.BinarySearch(l.table, x)
	if k == len(l.table) || k > 0 && math.Abs(float64(l.table[k-1]-x)) <= math.Abs(float64(l.table[k]-x)) {
		k--
	}
	return k
}
