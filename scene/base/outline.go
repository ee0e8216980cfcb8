package base

import (
	"math"

	"catchlight/scene/eye"
)

// Shots are how many pixels across the globe is in a close-up, a portrait, a half figure and so on.
var Shots = []float64{2048, 1024, 512, 256, 128, 64}

// Sides is how many a circle D pixels across needs so that its polygon lies nowhere more than half a pixel inside:
// D/2 (1 - cos(pi/N)) = 1/2.
func Sides(d float64) int { return int(math.Ceil(math.Pi / math.Acos(1-1/d))) }

// Outline is the largest distance in mm of an edge's middle from the smooth outer shell, over the front as far as the seam: how far the
// outline of the mesh lies inside that of the eye, seen from anywhere in front.
func Outline(p eye.Params, outer *Mesh) (float64, error) {
	s, err := eye.SmoothOf(p)
	if err != nil {
		return 0, err
	}
	worst := 0.0
	for _, q := range outer.Quads {
		for _, e := range [5][2]uint32{{q[0].P, q[1].P}, {q[1].P, q[2].P}, {q[2].P, q[3].P}, {q[3].P, q[0].P}, {q[0].P, q[2].P}} {
			m := outer.P[e[0]].Add(outer.P[e[1]]).Mul(0.5)
			if m.Z < 0 {
				continue
			}
			worst = max(worst, s.Far(math.Acos(m.Z/m.Len()))-m.Len())
		}
	}
	return worst, nil
}
