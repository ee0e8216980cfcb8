package compare

import (
	"errors"
	"fmt"
	"math"

	"catchlight/render/imgcmp"
	"catchlight/scene/colour"
)

// Show turns scene light into what is seen on a display.
type Show func(linear []colour.RGB) ([]colour.RGB, error)

// Target says what a grey of each reflectance is to be in the photo, where card is the radiance of a white card in its place:
// in scene light that, on a display what show makes of it.
func (p *Photo) Target(card colour.RGB, show Show) func(reflectance float64) colour.RGB {
	if p.Scene {
		return func(reflectance float64) colour.RGB { return card.Scale(reflectance) }
	}
	return func(reflectance float64) colour.RGB {
		lit, err := show([]colour.RGB{card.Scale(reflectance)})
		if err != nil {
			return card.Scale(reflectance) // the view has been used before: it is sound
		}
		return lit[0]
	}
}

// tell says where white and exposure come from.
func tell(what string, q colour.RGB) string {
	return fmt.Sprintf("White and exposure from %s, as of a card before the eye that faces the camera in the scene's light: red, green and blue times %.3f, %.3f, %.3f.", what, q[0], q[1], q[2])
}

// PatchRadius is the radius in pixels of a patch where none is asked for.
func (p *Photo) PatchRadius() float64 { return max(2, 0.005*float64(max(p.Width, p.Height))) }

// PatchGains returns what the photo's channels are multiplied by so that the neutral patch of reflectance reads at x, y, with
// a radius in pixels, is as target wants it, and how that came about.
func (p *Photo) PatchGains(x, y, radius, reads float64, target func(reflectance float64) colour.RGB) (gains colour.RGB, how string, err error) {
	c, uneven, err := p.Patch(x, y, radius)
	if err != nil {
		return gains, "", err
	}
	edge := ""
	if uneven > 0.1 {
		edge = fmt.Sprintf(" The patch is uneven by %.0f %%: it may reach over an edge.", 100*uneven)
	}
	gains = Grey(c, target(reads))
	return gains, tell(fmt.Sprintf("the patch of reflectance %g at %g,%g", reads, x, y), gains) + edge, nil
}

// ChartGains is PatchGains by the greys of the colour chart with these corners. card is what target was made of.
func (p *Photo) ChartGains(corners [4][2]float64, card colour.RGB, target func(reflectance float64) colour.RGB) (gains colour.RGB, how string, err error) {
	patches, err := p.Chart(corners)
	if err != nil {
		return gains, "", err
	}
	if gains, err = Neutral(patches, target); err != nil {
		return gains, "", err
	}
	how = tell("the chart's greys", gains)
	if p.Scene {
		for i, c := range patches {
			for k := range c {
				patches[i][k] = c[k] * gains[k] / card[k]
			}
		}
		how += fmt.Sprintf(" Its 24 patches then differ from the published ones by %.1f on average (CIEDE2000).", ChartError(patches))
	}
	return gains, how, nil
}

// ScleraGains makes the sclera, which the mask picks in the photo and in a picture of the same size, as bright as there; colours
// stay as they are.
func (p *Photo) ScleraGains(test *Side, sclera imgcmp.Mask) (gains colour.RGB, how string, err error) {
	median := func(pix []colour.RGB) float64 {
		v := make([]float64, len(pix))
		for i, c := range pix {
			v[i] = c.Luminance()
		}
		_, m, _, _ := imgcmp.Pool(v, sclera)
		return m
	}
	pix := test.Display
	if p.Scene {
		pix = test.Linear
	}
	k := median(pix) / median(p.Pix)
	if !(k > 0) || math.IsInf(k, 0) {
		return gains, "", errors.New("the sclera of the eye is not in the picture, or black there: give --patch or --chart for the exposure")
	}
	return colour.Grey(k), fmt.Sprintf("Exposure: times %.3f, so that the sclera of the eye is as bright as in the scene (median); its colours are as they were. --patch or --chart set the white.", k), nil
}

// Side makes a side of a comparison of the photo, its channels multiplied by gains.
func (p *Photo) Side(gains colour.RGB, show Show) (Side, error) {
	out := Side{Name: "photograph", File: "photograph"}
	pix := make([]colour.RGB, len(p.Pix))
	for i, c := range p.Pix {
		pix[i] = c.Mul(gains)
	}
	if p.Scene {
		lit, err := show(pix)
		if err != nil {
			return out, err
		}
		out.Linear, out.Display = pix, lit
	} else {
		for i, c := range pix {
			for k, v := range c {
				pix[i][k] = min(max(v, 0), 1)
			}
		}
		out.Display = pix
	}
	Shown(&out, p.Width)
	return out, nil
}
