package eye

import (
	"math"

	"catchlight/scene/colour"
)

// What a vessel below the surface of the white takes of the light that is seen: optical density in red, green and blue over
// its middle, by diameter and depth of its top, mm.
//
// Source: own Monte Carlo computation, blood of 75 % saturation in sclera (Jacques, Phys. Med. Biol. 58 (2013), R37), at
// (0.03, 0), (0.06, 0), (0.03, 0.1), (0.03, 0.2), (0.12, 0.2), (0.12, 0.35) and (0.2, 0.35); the others continue rows and
// columns in ratio.
var (
	bloodWidths = [4]float64{0.03, 0.06, 0.12, 0.20}
	bloodDepths = [4]float64{0, 0.10, 0.20, 0.35}
	blood       = [4][4]colour.RGB{
		{{0.030, 0.80, 1.11}, {0.073, 1.56, 2.04}, {0.15, 2.3, 2.8}, {0.22, 2.7, 3.2}},
		{{0.051, 0.69, 0.62}, {0.066, 0.98, 0.86}, {0.095, 1.25, 1.08}, {0.14, 1.40, 1.20}},
		{{0.051, 0.37, 0.26}, {0.062, 0.44, 0.30}, {0.083, 0.51, 0.34}, {0.12, 0.57, 0.38}},
		{{0.028, 0.17, 0.085}, {0.040, 0.21, 0.105}, {0.051, 0.248, 0.128}, {0.094, 0.301, 0.151}},
	}
)

// seenBlood returns the density by channel of a vessel of a diameter d, its top z below the surface, both in mm: bilinear in the
// table, in proportion to the diameter below it.
func seenBlood(d, z float64) colour.RGB {
	thin := min(1, d/bloodWidths[0])
	if d < 0.03 {
		thin *= 0.6 + 0.4*thin // the finest carry fewer cells: from memory
	}
	i, t := between(bloodWidths[:], d)
	j, u := between(bloodDepths[:], z)
	return colour.Lerp(colour.Lerp(blood[j][i], blood[j][i+1], t), colour.Lerp(blood[j+1][i], blood[j+1][i+1], t), u).Scale(thin)
}

// seenDensity is seenBlood in green.
func seenDensity(d, z float64) float64 { return seenBlood(d, z)[1] }

// bloodHue returns the density by channel relative to green at a depth, mm, of a vessel of middling width.
func bloodHue(z float64) colour.RGB {
	b := seenBlood(0.06, z)
	return b.Scale(1 / b[1])
}

// between returns the interval of a growing list that holds x, and where in it, both clamped to the list.
func between(list []float64, x float64) (i int, t float64) {
	for i < len(list)-2 && x > list[i+1] {
		i++
	}
	return i, math.Max(0, math.Min(1, (x-list[i])/(list[i+1]-list[i])))
}
