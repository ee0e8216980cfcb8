package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A plinth without hollow and waves is a slab of its material: lit from behind and seen from above,
// it reads as a box's top.
func TestPlinthReadsAsASlab(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 64}
camera: {kind: orthographic, width: 4, target: [20, 0, 5], orbit: {azimuth: 0, elevation: 60, distance: 100}}
lights:
  - {name: lamp, kind: rectangle, target: [20, 0, 5], orbit: {azimuth: 180, elevation: 55, distance: 500}, width: 200, height: 200, radiance: 10}
  - {name: room, kind: constant, radiance: 1}
objects: [{name: under, shape: %s, material: {kind: tissue, scattering: false, colour: 0.2, roughness: 0.3}}]
`
	top, se := one(ptr(trace(t, fmt.Sprintf(yaml, "box, size: [80, 6, 80], transform: {translate: [0, -3, 0]}")).Film.Develop()))
	slab, se2 := one(ptr(trace(t, fmt.Sprintf(yaml, "plinth, radius: 40, thickness: 6")).Film.Develop()))
	require.Greater(t, top, 0.3)
	require.InDelta(t, top, slab, 4*math.Hypot(se, se2))
}
