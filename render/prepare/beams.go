package prepare

import (
	"catchlight/light"
	"catchlight/material/microfacet"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
)

// smallLight is the angle from the middle to the outline, in radians, up to which a light gets a table of where it folds behind
// a cornea. Chance finds the other paths of wider lights, with some noise. Every hot spot is within it.
const smallLight = 6 * degree

// smallMapped is the same for eyes with a normal map, whose many small facets make the lists of wide lights long.
const smallMapped = 2 * degree

const degree = 0.017453292519943295

// beams makes the tables of where light folds in the eyes, one for each eye and small light.
func (p *preparer) beams() {
	s := p.out
	if len(p.errs) > 0 || !s.Settings.Manifold || !s.Settings.Caustic || !s.Settings.LightSamples || !s.Settings.Refraction {
		return
	}
	tables := make([]*frozen.Beams, len(s.Eyes)*len(s.Lights))
	for i := range s.Eyes {
		e := &s.Eyes[i]
		if e.BendAlpha() >= microfacet.MinAlpha {
			continue
		}
		box, looked := geom.Box{}, false
		for k, l := range s.Lights {
			rim, ok := smallRim(s, e, l)
			if !ok || !s.LightSampled[k] {
				continue
			}
			if !looked {
				box, looked = p.receiver(e), true
			}
			if !box.Empty() {
				tables[i*len(s.Lights)+k] = frozen.NewBeams(s, e, rim, box)
			}
		}
	}
	s.Beams = tables
}

// smallRim returns a light's outline as seen from the middle of an eye's cornea, where the light is small.
func smallRim(s *frozen.Scene, e *frozen.Eye, l *light.Light) (light.Rim, bool) {
	b := &s.Objects[e.Outer]
	rim, ok := l.Rim(b.ToWorld.Point(geom.Vec{Z: b.BVH.Bounds().Hi.Z}))
	most := smallLight
	if e.Normal.Valid() {
		most = smallMapped
	}
	return rim, ok && rim.Radius <= most
}

// receiver is the box of points, in an eye's frame, that the tables cover: the iris, a plate in front of it, and with the exact
// exit some of the tissue below.
func (p *preparer) receiver(e *frozen.Eye) geom.Box {
	const below = 0.5 // mm
	s := p.out
	b := &s.Objects[e.Outer]
	box := s.Receiver(e)
	if box.Empty() {
		return box
	}
	if s.Settings.ExactExit {
		box.Lo.Z -= below / b.Scale
	}
	if s.Plate {
		top := b.BVH.Bounds().Hi.Z
		for _, c := range [4][2]float64{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
			w, h := float64(p.d.Picture.Width), float64(p.d.Picture.Height)
			o, _, _ := s.Camera.Ray(c[0]*w, c[1]*h, 0.5, 0.5)
			if q := b.ToLocal.Point(o); q.Z > 0 && q.Z < top {
				box.Lo.Z, box.Hi.Z = min(box.Lo.Z, q.Z), max(box.Hi.Z, q.Z)
			}
		}
	}
	return box
}
