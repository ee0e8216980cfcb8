package hair

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Absorption returns what eumelanin and pheomelanin absorb per radius of the hair.
//
// Source: d'Eon et al. 2011, section 6.1 (from memory).
func Absorption(eu, ph float64) colour.RGB {
	return colour.RGB{0.419*eu + 0.187*ph, 0.697*eu + 0.4*ph, 1.37*eu + 1.05*ph}
}

// Worn returns which share of its pigment a hair still has at u, 0 at the root and 1 at the tip: 0.6 at the end of its last third.
// Common practice, no published source.
func Worn(u float64) float64 { return 1 - 0.4*geom.Smoothstep(2.0/3, 1, u) }

// Albedo returns how much of even light a hair sends back, as a mean over its width and all directions.
func Albedo(l *Look, sigma colour.RGB) (c colour.RGB) {
	const n = 24
	var f Fibre
	for i := range n {
		// A cylinder shows its width times the cosine of its inclination: over directions that weighs the angle by cos^2.
		a := math.Pi / 2 * (float64(i) + 0.5) / n
		sin, cos := math.Sincos(a)
		for j := range n {
			f.Meet(l, sin, (float64(j)+0.5)/n, sigma)
			c = c.Add(f.Share().Scale(cos * cos))
		}
	}
	return c.Scale(2.0 / (n * n))
}
