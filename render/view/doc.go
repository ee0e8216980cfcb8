// Package view turns linear radiance into display pictures: exposure, a published tone curve, the sRGB signal, dither.
//
//	radiance --View.Display--> linear display light in [0, 1] --Bytes or Words--> 8 or 16 bits
//
//	View       how a picture is shown: a Transform, an exposure in stops, or a Table in the transform's place
//	Transform  one of the published curves Reinhard, Neutral, Filmic, and Clip, which changes nothing below 1; see Default
//	Table      a .cube file with what it expects and gives (Feed); Cube is the file by itself
//	Over       lays a picture over a background; Gradient is one such
//
// Colours are linear Rec. 709 on both sides of the curve; the signal is that of sRGB. Rounding to bits is dithered by a seed,
// so that the same picture gives the same file.
//
// Sources: the curves name their own; IEC 61966-2-1 for the signal.
package view
