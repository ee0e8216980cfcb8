package eye

import "catchlight/scene/noise"

func noise1(seed uint64, x float64) float64       { return noise.Line(seed, x) }
func noise3(seed uint64, x, y, z float64) float64 { return noise.Space(seed, x, y, z) }
func fbm3(seed uint64, x, y, z float64, octaves int) float64 {
	return noise.Octaves(seed, x, y, z, octaves)
}
