package pathtrace

import (
	"math"

	"catchlight/scene/geom"
)

// The guided direction has the density 1/(ln((nu+1)/(nu-1)) (nu-mu)) in its cosine mu to the way out, where nu is the
// diffusion length in mean free paths: the angular form of the slowest mode of a deep object.
//
// Source: Dwivedi, Nucl. Sci. Eng. 80 (1982), 172.

// guideDirection samples it about the unit vector up; log is ln((nu+1)/(nu-1)).
func guideDirection(nu, log float64, up geom.Vec, u0, u1 float64) geom.Vec {
	mu := max(-1, min(1, nu-(nu+1)*math.Exp(-log*u0)))
	sin := math.Sqrt(max(0, 1-mu*mu))
	s, c := math.Sincos(2 * math.Pi * u1)
	return geom.NewFrame(up).World(geom.Vec{X: sin * c, Y: sin * s, Z: mu})
}

// guideDensity returns its density over solid angle as a multiple of the even one's.
func guideDensity(nu, log, mu float64) float64 { return 2 / (log * (nu - mu)) }
