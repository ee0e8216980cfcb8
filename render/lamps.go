package render

import (
	"math"

	"catchlight/scene/geom"
)

// Lamp is where one light of a scene stands as an eye has it.
type Lamp struct {
	Name  string
	Dir   geom.Vec // mean direction toward it, by irradiance; unit
	Share float64  // of the irradiance of all lights, each on a surface that faces its mean direction
	Even  bool     // it comes from all around: its direction says nothing
}

// evenLamp is how short the mean direction of a light is, beside 1 for a small lamp, that counts as even.
const evenLamp = 0.35

// Lamps says where the lights stand about an eye: the mean direction of what comes from each, without shadows. Hot spots of an
// environment count as it.
func (p *Prepared) Lamps(eye int) []Lamp {
	at := geom.Vec{}
	if eye >= 0 && eye < len(p.Scene.Eyes) {
		at = p.Scene.Objects[p.Scene.Eyes[eye].Outer].ToWorld.Point(geom.Vec{Z: p.Scene.Eyes[eye].Far / 2})
	}
	type sum struct {
		name string
		v    geom.Vec
		l    float64
	}
	by := map[int]*sum{}
	var order []int
	const samples = 1024
	for i, q := range p.Scene.Lights {
		tag := p.Scene.LightTag[i]
		s := by[tag]
		if s == nil {
			s = &sum{name: q.Name}
			by[tag] = s
			order = append(order, tag)
		}
		for k := range samples {
			// Source of the point set: Roberts, The Unreasonable Effectiveness of Quasirandom Sequences, web note, 2018.
			u, v := math.Mod(0.5+float64(k)*0.7548776662466927, 1), math.Mod(0.5+float64(k)*0.5698402909980532, 1)
			if e, ok := q.Sample(at, u, v); ok && e.Pdf > 0 {
				w := e.L.Luminance() / (e.Pdf * samples)
				s.v, s.l = s.v.Mad(w, e.Wi), s.l+w
			}
		}
	}
	total := 0.0
	var out []Lamp
	for _, tag := range order {
		s := by[tag]
		if !(s.l > 0) {
			continue
		}
		l := Lamp{Name: s.name, Share: s.l, Even: s.v.Len() < evenLamp*s.l}
		if !l.Even {
			l.Dir = s.v.Unit()
		}
		total += s.l
		out = append(out, l)
	}
	for i := range out {
		out[i].Share /= total
	}
	return out
}
