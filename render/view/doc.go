// Package view turns linear radiance into display pictures: exposure, a published tone curve, the sRGB signal,
// dither.
//
// # The default
//
// Look development of eyes needs a curve that leaves dark irises alone. The sclera of the eye was set to 65 % of the
// signal by exposure, as a portrait would have it, and the code values (of 255) of a dark brown iris of reflectance
// (.05, .03, .015) beside a white of .58 under the same light were computed:
//
//	transform  exposure  white  iris         slope of the curve at black
//	Reinhard   -0.0      166    62  48  32   1
//	Clip       -0.6      166    51  38  25   1
//	Filmic     -1.2      166    29  17   7   0.21
//	Neutral    -0.5      166    45  28   2   0 (the smallest channel)
//
// Neutral takes away up to .04 as if it were a veil of reflection; where the iris is darker than that veil its blue
// is gone. Filmic has a toe that darkens what lies under .1, and brightens the middle, so that exposure goes down
// for the same white. Extended Reinhard by luminance has neither, keeps the ratios of the channels, and maps the
// brightest highlights to white, so it is the default; its price is less contrast in the middle. Filmic is there
// for punch, Neutral for surfaces brighter than .08 whose colour must come out as painted, Clip for measuring.
package view
