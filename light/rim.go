package light

import (
	"math"

	"catchlight/scene/geom"
)

// Rim is how far a light reaches, for those who must know all directions that it may shine from before it is sampled.
type Rim struct {
	Distant bool       // Points are unit directions; else points, mm
	Points  []geom.Vec // the middle first, then points round the outside or a little beyond
	Radius  float64    // rad, the largest angle between the middle and any of the others as seen from the point that was asked for
}

// Rim returns the light's outline as seen from ref; ok is false for skies, which have none, and from inside a ball.
func (l *Light) Rim(ref geom.Vec) (r Rim, ok bool) {
	const beyond = 1.09 // an octagon about a circle has its corners at 1/cos(22.5 degrees) = 1.083 radii
	round := func(c, s, t geom.Vec, rad float64) {
		for k := range 8 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 4)
			r.Points = append(r.Points, c.Mad(rad*cos, s).Mad(rad*sin, t))
		}
	}
	cone := func(axis geom.Vec, angle float64) {
		r.Distant = true
		r.Points = append(r.Points, axis)
		f := geom.NewFrame(axis)
		round(axis, f.S, f.T, math.Tan(min(1.5, angle*beyond)))
		for i := range r.Points {
			r.Points[i] = r.Points[i].Unit()
		}
	}
	switch l.Kind {
	case Rectangle:
		r.Points = append(r.Points, l.centre)
		for k := range 9 {
			if x, y := float64(k%3-1)*l.w/2, float64(k/3-1)*l.h/2; k != 4 {
				r.Points = append(r.Points, l.centre.Mad(x, l.frame.S).Mad(y, l.frame.T))
			}
		}
	case Disc:
		r.Points = append(r.Points, l.centre)
		round(l.centre, l.frame.S, l.frame.T, l.radius*beyond)
	case Sphere:
		to := l.centre.Sub(ref)
		if to.Len2() <= l.radius*l.radius {
			return r, false
		}
		f := geom.NewFrame(to.Unit())
		r.Points = append(r.Points, l.centre.Mad(-l.radius/2, f.N)) // half-way between its nearest point and its outline
		round(l.centre, f.S, f.T, l.radius*beyond)
		r.Points = append(r.Points, l.centre.Mad(-l.radius, f.N))
	case Distant:
		cone(l.frame.N, l.radius)
	case Environment:
		if !l.hot {
			return r, false
		}
		axis, angle := l.env.Cone()
		cone(l.fromMap(axis), angle)
	default:
		return r, false
	}
	at := func(p geom.Vec) geom.Vec {
		if r.Distant {
			return p
		}
		return p.Sub(ref).Unit()
	}
	mid := at(r.Points[0])
	for _, p := range r.Points {
		r.Radius = max(r.Radius, math.Acos(max(-1, min(1, mid.Dot(at(p))))))
	}
	return r, true
}
