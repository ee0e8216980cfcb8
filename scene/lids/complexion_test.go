package lids

import (
	"math"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The light skin patch of the 24-patch chart (linear sRGB of its published Lab, 64.66 19.27 17.50) is skin of 1.3 to 6.3 % melanosomes, as
// Jacques gives for light skin, and 0.2 to 5 % blood, and is met to a tenth; more melanin or blood darkens all channels, blue or green most.
func TestSkinReflectance(t *testing.T) {
	patch := colour.RGB{0.545, 0.311, 0.229}
	k := SkinOf(patch)
	assert.True(t, k.Melanin > 0.013 && k.Melanin < 0.063, "melanin %.4f", k.Melanin)
	assert.True(t, k.Blood > 0.002 && k.Blood < 0.05, "blood %.4f", k.Blood)
	q := k.Reflectance()
	for c := range q {
		assert.InEpsilon(t, patch[c], q[c], 0.1)
	}
	dark, red := Skin{k.Blood, 2 * k.Melanin}.Reflectance(), Skin{2 * k.Blood, k.Melanin}.Reflectance()
	for c := range q {
		assert.Less(t, dark[c], q[c])
		assert.Less(t, red[c], q[c])
	}
	assert.Less(t, dark[2]/q[2], dark[1]/q[1])
	assert.Less(t, dark[1]/q[1], dark[0]/q[0])
	assert.Less(t, red[1]/q[1], red[0]/q[0])

	// Without pigment, and with blood that absorbs half as much as is scattered, the albedo is two thirds by hand.
	mu := skinScatter[1] / 2
	b := (mu - skinBase[1]) / (skinBlood[1] - skinBase[1])
	through := math.Exp(-pigmentWay * skinBase[1])
	got := Skin{b, 0}.Reflectance()[1]
	require.InDelta(t, halfSpace(2.0/3)*through+pigmentBack*(1-through), got, 1e-9)
}

// What SkinOf finds in the reflectance of a skin is that skin.
func TestSkinOfItsOwnReflectance(t *testing.T) {
	for _, k := range []Skin{{0.004, 0.02}, {0.015, 0.05}, {0.05, 0.03}, {0.01, 0.2}} {
		got := SkinOf(k.Reflectance())
		assert.InEpsilon(t, k.Blood, got.Blood, 0.02)
		assert.InEpsilon(t, k.Melanin, got.Melanin, 0.02)
	}
}

// Floors of folds stay brown: what stains them makes red no more than a fifth stronger against blue than in the lid beside, where 1.8 times
// would look like a gutter. The mean of the skin that shows is the colour asked for but for thin lids and freckles, and more melanin or
// less blood change it as they should.
func TestComplexion(t *testing.T) {
	p := Defaults()
	p.Detail, p.Lines, p.Age, p.LashDensity, p.BrowDensity, p.DownDensity = 0.3, 0, 0, 0, 0, 0
	l := one(t, p, geom.Vec{Z: 1})
	im := l.Complexion(1, 1)
	w, h, _ := im.Size()
	mean := func(im *texture.Image) (c colour.RGB) {
		n := 0.0
		for y := range h {
			for x := range w {
				if l.Tone.At(x, y, 0) != 1 {
					continue // margin, beneath the lid, and the dark edge
				}
				for k := range c {
					c[k] += im.At(x, y, k)
				}
				n++
			}
		}
		return c.Scale(1 / n)
	}
	c := mean(im)
	for k := range c {
		assert.InEpsilon(t, p.Colour[k], c[k], 0.2)
	}
	dark, pale := mean(l.Complexion(2, 1)), mean(l.Complexion(1, 0.4))
	assert.Less(t, dark[0], 0.85*c[0])
	assert.Greater(t, pale[1]/pale[0], 1.1*c[1]/c[0])
	s := sockets(t, p, geom.Vec{Z: 1})
	redness := func(groove float64) float64 {
		v := place{t: 0.5, upper: 1, d: 6, e: 4, rim: 2, land: 1, part: skin, fold: fold{groove: groove}}
		q := v.spot()
		k, _ := s.stainAt(&v, &q, geom.Vec{Y: 10, Z: 12})
		base := SkinOf(p.Colour)
		c := Skin{base.Blood * k.blood, base.Melanin * k.melanin}.Reflectance()
		return c[0] / c[2]
	}
	assert.Less(t, redness(1), 1.2*redness(0))
}
