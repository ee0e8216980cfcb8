package view

import (
	"fmt"
	"math"

	"catchlight/scene/colour"
)

// Transform is a map from exposed scene light to display light.
type Transform uint8

const (
	// Reinhard is the extended operator on luminance: L (1 + L/White^2)/(1 + L).
	//
	// Source: Reinhard, Stark, Shirley and Ferwerda, Photographic Tone Reproduction for Digital Images, SIGGRAPH
	// 2002, equation 4. Colours that would leave the display's gamut are mixed with the grey of their own luminance until they
	// fit (common practice, no published source).
	Reinhard Transform = iota
	// Neutral is the Khronos PBR Neutral tone mapper: colours between .08 and .8 keep hue and saturation and lose .04.
	//
	// Source: Khronos Group, PBR Neutral Tone Mapper, 2024.
	Neutral
	// Filmic is a rational fit to a film-like curve, on each channel.
	//
	// Source: Narkowicz, ACES Filmic Tone Mapping Curve, web note, 2016.
	Filmic
	// Clip cuts at 1 and changes nothing below.
	Clip
)

// Default is the transform to use where none is asked for.
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
const Default = Reinhard

// White is the luminance that Reinhard maps to display white where View says nothing else.
const White = 4

var names = [...]string{"reinhard", "neutral", "filmic", "none"}

// Parse returns the transform of a name: reinhard, neutral, filmic, or none for Clip.
func Parse(name string) (Transform, error) {
	for i, n := range names {
		if n == name {
			return Transform(i), nil
		}
	}
	return 0, fmt.Errorf("view: transform %q is none of reinhard, neutral, filmic, none", name)
}

// View is how a picture is shown. The zero value is the default transform without exposure.
type View struct {
	Transform Transform
	Exposure  float64 // stops, added first: light is multiplied by 2^Exposure
	White     float64 // exposed luminance that Reinhard maps to display white; 0 is the constant White
	Table     *Table  // instead of Transform; nil for none
}

// brightest bounds exposed light so that no curve overflows.
const brightest = 1e30

// Display maps linear scene light to linear display light in [0, 1]. Negative and NaN channels count as 0.
func (v View) Display(c colour.RGB) colour.RGB {
	s := math.Exp2(v.Exposure)
	for i, x := range c {
		x *= s
		if !(x > 0) {
			x = 0
		}
		c[i] = min(x, brightest)
	}
	if v.Table != nil {
		c = v.Table.display(c)
	} else {
		c = v.Transform.apply(c, v.White)
	}
	for i, x := range c {
		c[i] = min(max(x, 0), 1)
	}
	return c
}

// apply maps exposed light, >= 0, through the curve; what it returns may leave [0, 1]. white is Reinhard's, 0 for the default.
func (t Transform) apply(c colour.RGB, white float64) colour.RGB {
	switch t {
	case Reinhard:
		if white == 0 {
			white = White
		}
		c = reinhard(c, white)
	case Neutral:
		c = neutral(c)
	case Filmic:
		for i, x := range c {
			c[i] = filmic(x)
		}
	}
	return c
}

// Signal maps linear scene light to the sRGB signal in [0, 1].
func (v View) Signal(c colour.RGB) colour.RGB { return encode(v.Display(c)) }

func encode(c colour.RGB) colour.RGB {
	for i, x := range c {
		c[i] = colour.EncodeSRGB(x)
	}
	return c
}

// Spread returns the standard error of the signal that comes from the standard error of linear light: half the way
// that the signal goes from one error below the mean to one above, in each channel. So neither a blown highlight nor a
// black pupil claims samples that nobody would see. It is in [0, 1/2], and NaN where the error is.
func (v View) Spread(mean, err colour.RGB) colour.RGB {
	lo, hi := v.Signal(mean.Sub(err)), v.Signal(mean.Add(err))
	for i, e := range err {
		if math.IsNaN(e) {
			lo[i] = e
			continue
		}
		lo[i] = math.Abs(hi[i]-lo[i]) / 2
	}
	return lo
}

func reinhard(c colour.RGB, white float64) colour.RGB {
	l := c.Luminance()
	if l <= 0 {
		return c
	}
	d := l * (1 + l/(white*white)) / (1 + l)
	if d >= 1 {
		return colour.Grey(1)
	}
	c = c.Scale(d / l)
	if m := c.Max(); m > 1 {
		return colour.Lerp(colour.Grey(d), c, (1-d)/(m-d))
	}
	return c
}

func neutral(c colour.RGB) colour.RGB {
	const start, desaturation = 0.8 - 0.04, 0.15
	x := min(c[0], c[1], c[2])
	offset := 0.04
	if x < 0.08 {
		offset = x - 6.25*x*x
	}
	c = c.Sub(colour.Grey(offset))
	peak := c.Max()
	if peak < start {
		return c
	}
	const d = 1 - start
	top := 1 - d*d/(peak+d-start)
	g := 1 - 1/(desaturation*(peak-top)+1)
	return colour.Lerp(c.Scale(top/peak), colour.Grey(top), g)
}

func filmic(x float64) float64 {
	return x * (2.51*x + 0.03) / (x*(2.43*x+0.59) + 0.14)
}
