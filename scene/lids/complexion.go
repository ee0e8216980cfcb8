package lids

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/texture"
)

// Skin is pale tissue with blood in it under a thin layer with pigment. Both are shares of the volume of their layer.
type Skin struct {
	Blood   float64 // of the deep layer, which is as if without end
	Melanin float64 // of the layer of pigment: 0.01 to 0.06 in light skin, to 0.16 in brown, to 0.43 in dark
}

// Coefficients of skin by channel, 1/mm: means over the primaries' curves, taken by eye from spectra. Sources, all from memory: Jacques,
// Optical properties of biological tissues: a review, Phys. Med. Biol. 58 (2013), R37 (blood of 150 g/l haemoglobin, three
// quarters of it with oxygen; melanosomes 6.6e11 l^-3.33/cm, l in nm; tissue without both 0.244 + 85.3 exp(-(l-154)/66.2) /cm; reduced
// scattering 46 (l/500)^-1.421 /cm), with Prahl's table of haemoglobin.
var (
	skinBlood   = colour.RGB{1.95, 21, 24}
	skinMelanin = colour.RGB{33, 49, 97}
	skinBase    = colour.RGB{0.033, 0.046, 0.10}
	skinScatter = colour.RGB{3.45, 4.07, 5.1}
)

// pigmentWay is how far light goes in the layer of pigment on its way in and out together, mm: twice a thickness of 0.06 of slanting ways.
// pigmentBack is what the layer itself sends back where it is opaque. Common practice, no published source.
const (
	pigmentWay  = 0.15
	pigmentBack = 0.012
)

// Reflectance returns the share of diffuse light that skin sends back, by channel, without what its face mirrors.
func (k Skin) Reflectance() (q colour.RGB) {
	for c := range q {
		mu := k.Blood*skinBlood[c] + (1-k.Blood)*skinBase[c]
		deep := halfSpace(skinScatter[c] / (skinScatter[c] + mu))
		through := math.Exp(-pigmentWay * (k.Melanin*skinMelanin[c] + (1-k.Melanin)*skinBase[c]))
		q[c] = deep*through + pigmentBack*(1-through)
	}
	return q
}

// SkinOf returns the skin whose reflectance comes nearest to a colour: the least sum of squares of the logarithms of the channels'
// ratios. What is left of those is the caller's to make up for.
func SkinOf(q colour.RGB) Skin {
	cost := func(k Skin) (sum float64) {
		for c, v := range k.Reflectance() {
			d := math.Log(v / max(q[c], 1e-4))
			sum += d * d
		}
		return sum
	}
	best := Skin{0.01, 0.05}
	least := cost(best)
	// A pattern search over the logarithms; the bounds are those of living skin, a little widened.
	for step := 1.0; step > 1e-4; {
		moved := false
		for _, d := range [4][2]float64{{step, 0}, {-step, 0}, {0, step}, {0, -step}} {
			k := Skin{
				Blood:   max(5e-4, min(0.08, best.Blood*math.Exp(d[0]))),
				Melanin: max(1e-4, min(0.6, best.Melanin*math.Exp(d[1]))),
			}
			if v := cost(k); v < least {
				best, least, moved = k, v, true
			}
		}
		if !moved {
			step /= 2
		}
	}
	return best
}

// halfSpace returns the share of diffuse light that a half space of that single-scattering albedo sends back: the curve of
// tissue.DiffuseAlbedo, which this package may not import.
//
// Source: van de Hulst, Multiple Light Scattering, Academic Press 1980.
func halfSpace(alpha float64) float64 {
	s := math.Sqrt(max(0, 1-alpha))
	return (1 - s) * (1 - 0.139*s) / (1 + 1.17*s)
}

// veiled is what a layer of blood, muscle and veins half a millimetre down leaves of the colour of skin that is as thin as a lid's: mauve.
// By eye, within what a vessel of 0.12 mm that deep leaves in sclera.
var veiled = colour.RGB{0.91, 0.79, 0.86}

// Complexion returns the colours of the skin, linear, one texel a vertex. The colour of the parameters says how much blood and melanin there
// is (SkinOf); the stains' own shares multiply that, as do melanin and blood for all of the skin, and what the formula lacks of the
// colour multiplies all of them.
func (l *Lids) Complexion(melanin, blood float64) *texture.Image {
	stains, skin := l.Stain, l.Params.Colour
	w, h, _ := stains.Size()
	k := SkinOf(skin)
	plain := k.Reflectance()
	pix := make([]float32, 0, 3*w*h)
	for y := range h {
		for x := range w {
			q := Skin{
				Blood:   min(0.5, k.Blood*blood*stains.At(x, y, 0)),
				Melanin: min(0.9, k.Melanin*melanin*stains.At(x, y, 1)),
			}.Reflectance()
			thin := stains.At(x, y, 2)
			for c := range q {
				v := q[c] * skin[c] / plain[c] * math.Pow(veiled[c], thin) * l.Tone.At(x, y, c)
				pix = append(pix, float32(max(0.005, min(v, 0.95))))
			}
		}
	}
	return texture.NewImage(w, h, 3, pix)
}
