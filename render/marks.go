package render

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/pupil"
)

// Marks are the places in the world that are drawn over a picture of an eye, to see where they came to lie.
type Marks struct {
	Limbus []geom.Vec  // all round it, on the outer shell
	Pupil  []geom.Vec  // all round the hole of the inner shell, where it is, not where the cornea shows it; empty: no hole
	Axis   [2]geom.Vec // from behind the front pole to before it
}

// Marks finds the marks of an eye from the shells that are rendered.
func (p *Prepared) Marks(eye int) (m Marks, err error) {
	if eye < 0 || eye >= len(p.Scene.Eyes) {
		return m, fmt.Errorf("eye %d of %d", eye+1, len(p.Scene.Eyes))
	}
	const n = 96
	e := &p.Scene.Eyes[eye]
	outer, inner := &p.Scene.Objects[e.Outer], &p.Scene.Objects[e.Inner]
	m.Limbus = p.limbus(eye, n)
	top := outer.Mesh.Bounds().Hi.Z
	m.Axis = [2]geom.Vec{outer.ToWorld.Point(geom.Vec{Z: 0.5 * top}), outer.ToWorld.Point(geom.Vec{Z: 1.5 * top})}
	if inner.Mesh == nil {
		return m, nil
	}
	q := pupil.Find(inner.Mesh, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, e.LimbusRadius)
	for i := 0; q.Open && i < n; i++ {
		phi := 2 * math.Pi * float64(i) / n
		sin, cos := math.Sincos(phi)
		r := q.At(phi)
		m.Pupil = append(m.Pupil, inner.ToWorld.Point(geom.Vec{X: q.Offset[0] + r*cos, Y: q.Offset[1] + r*sin, Z: q.Lip}))
	}
	return m, nil
}
