package live

import (
	"fmt"
	"math"
	"strings"

	"catchlight/render"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Pick says what one point of the film, 0 to 1, shows: the shells behind it, and where their maps are read.
func (e *Engine) Pick(x, y float64) (Picked, error) {
	s := e.shown.Load()
	if s == nil {
		return Picked{}, errNothing
	}
	return e.rings.pick(s, x, y)
}

func (k *ringsOf) pick(s *state, x, y float64) (out Picked, err error) {
	pic := &s.p.Description.Picture
	if !(x >= 0 && x <= 1 && y >= 0 && y <= 1) {
		return out, fmt.Errorf("the point %g, %g is outside the film, which goes from 0 to 1", x, y)
	}
	px, py := min(int(x*float64(pic.Width)), pic.Width-1), min(int(y*float64(pic.Height)), pic.Height-1)
	probe, err := s.p.Probe(px, py)
	if err != nil {
		return out, err
	}
	for i := range probe.Places {
		out.Places = append(out.Places, k.placed(s, &probe.Places[i]))
	}
	// A map that is made here is read where the tissue lies.
	v := k.look(s.p, front(s.p, x, y))
	if n := len(out.Places); v != nil && n > 0 && out.Places[n-1].Shell == "inner" && probe.Places[n-1].Reason != "" {
		seen := v.s.Seen(v.sc, float64(px)+0.5, float64(py)+0.5)
		if len(seen) == n {
			out.Places[n-1].Maps = append(out.Places[n-1].Maps, made(s, v, &seen[n-1]))
		}
	}
	return out, nil
}

// placed is a probed place with its zone and clock position.
func (k *ringsOf) placed(s *state, q *render.Place) Place {
	p := Place{Object: q.Object, Zone: "around", UV: [2]float64{q.UV.U, q.UV.V}, Place: [3]float64{q.Local.X, q.Local.Y, q.Local.Z}}
	for eye := range s.p.Scene.Eyes {
		v := k.look(s.p, eye)
		shells := []string{v.s.Objects[v.e.Outer].Name, v.s.Objects[v.e.Inner].Name}
		for i, shell := range []string{"outer", "inner"} {
			if q.Object != shells[i] {
				continue
			}
			p.Shell = shell
			p.Clock, p.Off = v.clock(q.World)
			p.Zone = zoneName(v, q.Local, q.Backs)
		}
	}
	for _, t := range q.Maps {
		p.Maps = append(p.Maps, Texel{strings.Replace(t.Key, ".eye.", ".", 1), t.File, [2]int{t.X, t.Y}, [2]int{t.Width, t.Height}, t.Value})
	}
	return p
}

// zoneName is the part of the eye that a point of a shell belongs to.
func zoneName(v *sight, local geom.Vec, backs bool) string {
	w := v.e.TissueZone(local)
	switch {
	case backs:
		return "pupil"
	case w >= 1:
		return "iris"
	case w > 0:
		return "limbus"
	}
	return "sclera"
}

// made is where a built colour map shows at a point of the inner shell.
func made(s *state, v *sight, sf *frozen.Surface) Texel {
	name := strings.TrimSuffix(v.outer.Name, ".outer")
	t := Texel{Slot: "objects." + name + ".sclera.colour"}
	if b := owner(s.d, v); b != nil {
		name = b.Name
		t.Slot = "objects." + name + ".sclera.colour"
		side := b.Eye.MapSize
		t.Size = [2]int{side, side}
		at := func(u float64) int { return min(side-1, int((u-math.Floor(u))*float64(side))) }
		t.Texel = [2]int{at(sf.UV.U), at(sf.UV.V)}
	}
	if sf.Part == mesh.Tissue && v.e.TissueZone(v.outer.ToLocal.Point(sf.P)) > 0.5 {
		t.Slot = "objects." + name + ".iris.colour"
	}
	c := v.s.Albedo(sf)
	t.Value = c[:]
	return t
}
