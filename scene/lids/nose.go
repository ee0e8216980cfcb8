package lids

import (
	"math"

	"catchlight/scene/geom"
)

// noseRoot is how far the nose's root stands before the face's ground at the height of the eyes, mm: it comes to stand 8 to 15
// mm before the inner corners. From memory.
const noseRoot = 10.2

// nose returns how far the nose stands out over the face's ground at (x, y): its root between the eyes, from there its bridge down,
// wider and farther out, and up the smooth rise between the brows that goes over into the forehead. It ends without
// slope at the middle, so that both halves meet without an edge. Common practice, no published source.
func (g *ground) nose(x, y float64) float64 {
	// Two straight profiles, the bridge's and the forehead's, with a rounded turn 12 mm above the eyes.
	const turn, bridge, round = 12.0, 0.27, 16.0
	rise := func(u float64) float64 { return bridge * (u + math.Sqrt(u*u+round*round)) / 2 }
	out := noseRoot + rise(turn-y) - rise(turn)
	wide := 8.2 + 15*geom.Smoothstep(1, 25, y) + 5.5*(1-geom.Smoothstep(-30, -4, y))
	return out * math.Exp(-math.Pow(math.Abs(x-g.far)/wide, 2.3))
}
