// Package half converts half-precision numbers, as OpenEXR files and 16-bit float textures hold them.
package half

import "math"

// ToFloat returns the value of a half-precision number: 1 sign bit, 5 exponent bits of bias 15, 10 fraction bits.
//
// Source: IEEE 754-2008, binary16.
func ToFloat(h uint16) float32 {
	sign, exp, frac := uint32(h>>15)<<31, uint32(h>>10)&31, uint32(h)&1023
	switch exp {
	case 0:
		v := float32(frac) * 0x1p-24
		return math.Float32frombits(math.Float32bits(v) | sign)
	case 31:
		return math.Float32frombits(sign | 0x7f800000 | frac<<13)
	}
	return math.Float32frombits(sign | (exp+112)<<23 | frac<<13)
}

// FromFloat rounds to the nearest half, ties to even; what rounds to more than 65504 becomes infinite.
func FromFloat(f float32) uint16 {
	b := math.Float32bits(f)
	sign, mag := uint16(b>>31)<<15, b&0x7fffffff
	switch {
	case mag > 0x7f800000: // NaN: keep the top fraction bits, and one at least
		return sign | 0x7c00 | uint16(mag>>13)&0x3ff | 1
	case mag >= 0x47800000: // 65536 and above
		return sign | 0x7c00
	case mag < 0x38800000: // below 2^-14: a multiple of 2^-24
		return sign | uint16(math.RoundToEven(math.Abs(float64(f))*0x1p24))
	}
	// Round at bit 13; a carry runs into the exponent as it must.
	mag += 0xfff + mag>>13&1
	return sign | uint16(mag>>13-112<<10)
}
