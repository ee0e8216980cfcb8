package raster

import (
	"math"

	"catchlight/light"
	"catchlight/scene/geom"
)

// cardDistance is how far away painted cards stand, mm: so far that they look the same from all of an eye.
const cardDistance = 1e5

// paintCards makes the bright rectangles that the tear film alone mirrors, at their places about the first eye: common practice in
// games, no published source.
func (k *frame) paintCards() {
	var centre geom.Vec
	if len(k.scene.Eyes) > 0 {
		centre = k.scene.Objects[k.scene.Eyes[0].Outer].ToWorld.T
	}
	for _, c := range k.set.Cards {
		f := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}
		if c.Fixed == "camera" {
			f = k.camera.Frame()
		}
		sa, ca := math.Sincos(geom.Radians(c.Direction.Azimuth))
		se, ce := math.Sincos(geom.Radians(c.Direction.Elevation))
		d := f.World(geom.Vec{X: sa * ce, Y: se, Z: ca * ce})
		// It faces the eye; its height points up.
		n := d.Neg()
		s := f.T.Cross(n).Unit()
		sr, cr := math.Sincos(geom.Radians(c.Roll))
		t := n.Cross(s)
		face := geom.Frame{S: s.Mul(cr).Mad(sr, t), T: t.Mul(cr).Mad(-sr, s), N: n}
		size := func(degrees float64) float64 { return 2 * cardDistance * math.Tan(geom.Radians(degrees)/2) }
		k.cards = append(k.cards, newLamp(light.Form{
			Kind: light.Rectangle, Radiance: c.Radiance, Frame: face, Centre: centre.Mad(cardDistance, d),
			W: size(c.Width), H: size(c.Height), NX: c.Panes[0], NY: c.Panes[1], Bar: size(c.Bar),
		}, -1))
	}
}
