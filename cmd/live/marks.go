package live

import (
	"math"

	"catchlight/light"
	"catchlight/render"
	"catchlight/scene/geom"
)

// marks finds where handles lie over the picture of the eye nearest to its middle; nil where there is none.
func (k *ringsOf) marks(p *render.Prepared) *Marks {
	eye := front(p, 0.5, 0.5)
	v := k.look(p, eye)
	if v == nil {
		return nil
	}
	m := &Marks{}
	for _, q := range v.rings.limbus {
		if px, py, ok := v.onto(v.outer.ToWorld.Point(q)); ok {
			m.Limbus = append(m.Limbus, v.share(px, py))
		}
	}
	for _, q := range v.rings.pupil {
		if px, py, ok := v.through(v.outer.ToWorld.Point(q)); ok {
			m.Pupil = append(m.Pupil, v.share(px, py))
		}
	}
	if px, py, ok := v.through(v.outer.ToWorld.Point(v.rings.centre)); ok {
		m.Centre = v.share(px, py)
	}
	plane := geom.Vec{}
	for _, q := range v.rings.limbus {
		plane = plane.Add(q.Mul(1 / float64(len(v.rings.limbus))))
	}
	m.MillimetresPerWidth = v.pixel(v.outer.ToWorld.Point(plane)) * v.w
	for _, i := range v.glints() {
		l := v.s.Lights[i]
		if g, ok := glintOf(l); ok {
			if c, ok := v.catchlight(l.Name, &g); ok {
				m.Catchlights = append(m.Catchlights, c)
			}
		}
	}
	turn := geom.RotateY(-geom.Radians(p.Description.LightSetup.Rotation))
	for _, l := range p.Lamps(eye) {
		q := Placed{Name: l.Name, Even: l.Even}
		if !l.Even {
			q.Azimuth, q.Elevation = angles(turn.Vector(l.Dir))
		}
		m.Lights = append(m.Lights, q)
	}
	return m
}

// glints are the lights whose catchlights are marked: those that have a shape, and of an environment its strongest hot spot.
func (v *sight) glints() (out []int) {
	spot := map[int]bool{}
	for i, l := range v.s.Lights {
		tag := v.s.LightTag[i]
		if l.Kind == light.Environment {
			if tag == i || spot[tag] {
				continue
			}
			spot[tag] = true
		}
		out = append(out, i)
	}
	return out
}

// angles are azimuth and elevation of a direction in degrees, as of an orbit.
func angles(d geom.Vec) (azimuth, elevation float64) {
	d = d.Unit()
	return geom.Degrees(math.Atan2(d.X, d.Z)), geom.Degrees(math.Asin(max(-1, min(1, d.Y))))
}
