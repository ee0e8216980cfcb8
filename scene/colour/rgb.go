// Package colour holds three-channel quantities in linear Rec. 709 primaries with a D65 white, the ways from and to other
// primaries, and the transfer curve of sRGB. It imports nothing of ours.
//
//	RGB        three linear channels: a reflectance, a radiance or a coefficient, as the place that uses it says
//	Primaries  red, green, blue and white of a set in CIE 1931 x, y: Rec709, P3, Rec2020, AP1
//	Matrix     the way from one set to another
//
// EncodeSRGB and DecodeSRGB turn linear light, 0 to 1, into the signal and back.
//
// Sources: ITU-R BT.709-6 (primaries, luminance); IEC 61966-2-1 (the curve of sRGB); SMPTE RP 431-2, ITU-R BT.2020-2 and
// Academy S-2014-004 (the other sets).
package colour

import "math"

// RGB is a triple of linear Rec. 709 channels: reflectance (1), radiance (W/(m^2 sr)) or a coefficient (1/mm),
// as the place that uses it says.
type RGB [3]float64

// Grey returns v in all channels.
func Grey(v float64) RGB { return RGB{v, v, v} }

// Add returns a + b.
func (a RGB) Add(b RGB) RGB { return RGB{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// Sub returns a - b.
func (a RGB) Sub(b RGB) RGB { return RGB{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// Mul returns the channelwise product.
func (a RGB) Mul(b RGB) RGB { return RGB{a[0] * b[0], a[1] * b[1], a[2] * b[2]} }

// Scale returns s a.
func (a RGB) Scale(s float64) RGB { return RGB{a[0] * s, a[1] * s, a[2] * s} }

// Lerp returns (1-t) a + t b.
func Lerp(a, b RGB, t float64) RGB { return a.Scale(1 - t).Add(b.Scale(t)) }

// Luminance returns relative luminance. Source of the weights: ITU-R BT.709-6.
func (a RGB) Luminance() float64 { return 0.2126*a[0] + 0.7152*a[1] + 0.0722*a[2] }

// Max returns the largest channel.
func (a RGB) Max() float64 { return max(a[0], a[1], a[2]) }

// Mean returns the mean of the channels.
func (a RGB) Mean() float64 { return (a[0] + a[1] + a[2]) / 3 }

// Black reports whether all channels are zero.
func (a RGB) Black() bool { return a[0] == 0 && a[1] == 0 && a[2] == 0 }

// Finite reports whether no channel is NaN or infinite.
func (a RGB) Finite() bool {
	s := a[0] + a[1] + a[2]
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}

// EncodeSRGB turns a linear value into the sRGB signal, both nominally in [0, 1]; it does not clamp.
//
// Source: IEC 61966-2-1:1999.
func EncodeSRGB(x float64) float64 {
	if x <= 0.0031308 {
		return 12.92 * x
	}
	return 1.055*math.Pow(x, 1/2.4) - 0.055
}

// DecodeSRGB is the inverse of EncodeSRGB. Source: IEC 61966-2-1:1999.
func DecodeSRGB(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}
