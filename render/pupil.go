package render

import (
	"catchlight/scene/geom"
	"catchlight/scene/pupil"
)

// Pupil says how wide the pupil of the scene's n-th eye is, in mm across, and how wide it could be warped; both are 0 where its
// iris has none.
func (p *Prepared) Pupil(n int) (mm, widest float64) {
	e := &p.Scene.Eyes[n]
	m := p.Scene.Objects[e.Inner].Mesh
	if m == nil {
		return 0, 0
	}
	q := pupil.Find(m, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, e.LimbusRadius)
	if !q.Open {
		return 0, 0
	}
	return 2 * q.Radius, q.Widest(e.LimbusRadius - e.LimbusWidth/2)
}
