package view

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/noise"
)

// Over puts linear light, already multiplied by its coverage alpha in [0, 1], over a background.
//
// Source: Porter and Duff, Compositing Digital Images, SIGGRAPH 1984.
func Over(c colour.RGB, alpha float64, background colour.RGB) colour.RGB {
	return c.Add(background.Scale(1 - alpha))
}

// Backdrop returns linear display light of a picture over a backdrop that exposure and tone curve do not touch:
// c is linear scene light multiplied by its coverage alpha, backdrop is linear display light.
func (v View) Backdrop(c colour.RGB, alpha float64, backdrop colour.RGB) colour.RGB {
	if !(alpha > 0) {
		return backdrop
	}
	return Over(v.Display(c.Scale(1/alpha)).Scale(alpha), alpha, backdrop)
}

// Gradient returns the share of a backdrop's colour at a film position (pixels from the top left): 1 in the middle of
// the picture, falling smoothly to edge in its corners.
func Gradient(x, y, width, height, edge float64) float64 {
	r := math.Hypot(2*x-width, 2*y-height) / math.Hypot(width, height)
	r = min(r, 1)
	return 1 - (1-edge)*r*r*(3-2*r)
}

// Bytes rounds linear display light to three 8-bit levels a pixel, row by row. Rounding is dithered with triangular
// noise of one step to either side (rectangular of half a step where the signal is within half a step of black
// or white, so that neither end moves): over an area the mean of the 8-bit levels is the signal, without bands. The noise
// depends on the seed, the pixel and the channel alone. dst has 3 len(pix) bytes.
//
// Source: Lipshitz, Wannamaker and Vanderkooy, Quantization and Dither: A Theoretical Survey, J. Audio Eng. Soc. 40,
// 1992.
func Bytes(dst []byte, pix []colour.RGB, seed uint64) { BytesFrom(dst, pix, seed, 0) }

// BytesFrom is Bytes for a part of a picture that begins with its pixel first, counted row by row.
func BytesFrom(dst []byte, pix []colour.RGB, seed uint64, first int) {
	for i, c := range pix {
		c = encode(c)
		h := hash(seed, uint64(first+i))
		for j, s := range c {
			h = noise.Mix64(h + 0x9e3779b97f4a7c15)
			dst[3*i+j] = dither(s, float64(h>>32)/(1<<32), float64(h&math.MaxUint32)/(1<<32))
		}
	}
}

// dither rounds a signal in [0, 1] to a byte with two uniform numbers in [0, 1).
func dither(s, u0, u1 float64) byte {
	x := 255 * min(max(s, 0), 1)
	n := u0 - 0.5
	if x >= 0.5 && x <= 254.5 {
		n = u0 - u1
	}
	return byte(min(max(math.Floor(x+n+0.5), 0), 255))
}

// Words rounds linear display light to three 16-bit values a pixel, without dither. dst has 3 len(pix) words.
func Words(dst []uint16, pix []colour.RGB) {
	for i, c := range pix {
		for j, s := range encode(c) {
			dst[3*i+j] = uint16(math.Round(65535 * min(max(s, 0), 1)))
		}
	}
}

func hash(seed, i uint64) uint64 { return noise.Mix64(noise.Mix64(seed+0x9e3779b97f4a7c15) ^ i) }
