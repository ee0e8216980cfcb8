package frozen

import (
	"math"

	"catchlight/render/accel"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Seen follows the camera ray through the film position (px, py), pixels from the top left: the first object, and behind an
// outer shell its inner one. Light is bent where the outer shell is a cornea; wobble from normal maps is left out.
func (s *Scene) Seen(sc *accel.Scratch, px, py float64) []Surface {
	o, d, _ := s.Camera.Ray(px, py, 0.5, 0.5)
	r := geom.Ray{O: o, D: d}
	var h Hit
	if !s.Intersect(sc, r, 0, math.Inf(1), CameraRays, false, &h) || h.Object < 0 {
		return nil
	}
	sf := s.Surface(r, &h)
	out := []Surface{sf}
	b := &s.Objects[h.Object]
	if b.Eye < 0 || b.Material.Kind != Outer {
		return out
	}
	e := &s.Eyes[b.Eye]
	if e.Zone(b.ToLocal.Point(sf.P)) > 0.5 {
		n := sf.Ns
		if n.Dot(d) > 0 {
			n = sf.Ng
		}
		if bent, ok := geom.Refract(d.Neg(), n, e.Index); ok {
			d = bent
		}
	}
	in := &s.Objects[e.Inner]
	r = geom.Ray{O: sf.Leave(d), D: d}
	if in.Closest(sc, r, 0, math.Inf(1), &h) {
		h.Object, h.Light = e.Inner, -1
		out = append(out, s.Surface(r, &h))
	}
	return out
}

// Albedo returns the diffuse reflectance of a surface, under the vessels that lie on tissue: light crosses them on its way in and out.
// What is clear or absorbs all has none.
func (s *Scene) Albedo(sf *Surface) (c colour.RGB) {
	b := &s.Objects[sf.Object]
	if b.Eye < 0 || b.Material.Kind != Inner {
		if b.Material.Colour.Valid() {
			c = b.Material.Colour.RGB(sf.UV, 0)
		}
		return c
	}
	if sf.Part == mesh.Backing {
		return c
	}
	t, p := &s.Eyes[b.Eye].Tissue, b.ToLocal.Point(sf.P)
	c = t.Colour.At(p)
	if t.Vessels != nil {
		q := t.Vessels.At(p)
		c = c.Mul(q).Mul(q)
	}
	return c
}
