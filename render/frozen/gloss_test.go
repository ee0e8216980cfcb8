package frozen

import (
	"math"
	"testing"

	"catchlight/material/microfacet"
	"catchlight/material/tissue"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
)

// What of a relief is drawn is taken out of the roughness, and what a footprint evens out is put back: alpha is the root of the mean square
// slope of both axes, so squares add (Olano and Baker, I3D 2010).
func TestDrawnReliefIsTakenOutOfRoughness(t *testing.T) {
	c := tissue.NewCoat(1.4)
	g := NewGloss(microfacet.Pair{A: 0.3, B: 0.5, Part: 0.5}, &c)
	g.Sheen = texture.Constant(colour.RGB{0.04, 0.8, 1})
	f := g.Face(geom.UV{}, 0)
	assert.InDelta(t, math.Sqrt(0.05), f.Lobes.A, 1e-12)
	assert.InDelta(t, math.Sqrt(0.21), f.Lobes.B, 1e-12)
	assert.InDelta(t, 0.8, f.Oil, 1e-12)
	f = g.Face(geom.UV{}, 0.04)
	assert.InDelta(t, 0.3, f.Lobes.A, 1e-12)
	assert.InDelta(t, 0.5, f.Lobes.B, 1e-12)
	g.Sheen = texture.Constant(colour.RGB{1, 0.8, 1})
	assert.InDelta(t, 0.15, g.Face(geom.UV{}, 0).Lobes.A, 1e-12) // half stays
}

// A look-up over a footprint gives back the spread of the slopes that it evens out, as roughness. By hand.
func TestFootprintPutsSlopesBack(t *testing.T) {
	pix := []float32{0.2, 0.05, 0, -0.1, 0.05, 0}
	square := []float32{0.04 + 0.0025, 0.01 + 0.0025}
	c := tissue.NewCoat(1.4)
	g := NewGloss(microfacet.Pair{A: 0.3, B: 0.5, Part: 1}, &c)
	g.Tilt = texture.FromImage(texture.NewImage(2, 1, 3, pix), texture.Repeat)
	g.Square = texture.FromImage(texture.NewImage(2, 1, 1, square), texture.Repeat)
	s, q := g.Slope(geom.UV{U: 0.5, V: 0.5}, 1)
	assert.InDelta(t, 0.05, s.X, 1e-6)
	assert.InDelta(t, 0.05, s.Y, 1e-6)
	assert.InDelta(t, 0.0225, q-s.Len2(), 1e-6) // (0.2+0.1)^2/4 by hand
	g.Sheen = texture.Constant(colour.RGB{0, 1, 1})
	f := g.Face(geom.UV{}, q-s.Len2())
	assert.InDelta(t, math.Sqrt(0.09+0.0225), f.Lobes.A, 1e-6)
	// Bent normals: slope 3/4 along x tilts a normal by 3:5 away from it, whatever the object's size.
	b := &Object{ToWorld: geom.Scale(3), ToLocal: geom.Scale(1.0 / 3), Scale: 3}
	n := g.Bend(b, geom.Vec{Z: 1}, geom.Vec{X: 0.75, Z: 0.4})
	assert.InDelta(t, 0, n.Sub(geom.Vec{X: -0.6, Z: 0.8}).Len(), 1e-12)
}
