package render

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/lids"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// tearIndex is the index of tears at 588 nm. Source: Campbell, JOSA A 27 (2010), 730.
const tearIndex = 1.336

// looking is one of an object's eyes: where its globe's centre is in the object's place, and how it is turned there.
type looking struct {
	object scene.Object
	at     float64 // x
	turn   geom.Affine
}

// eyes makes an object's eye, or its pair of eyes, and the lids about them.
func (p *preparer) eyes(b *scene.Object) {
	to := place(&b.Transform)
	list := gazes(b, to)
	var outer []*accel.BVH
	for i := range list {
		q := &list[i]
		h := p.eye(&q.object, q.turn.Then(geom.Translate(geom.Vec{X: q.at})).Then(to))
		if h == nil {
			return
		}
		outer = append(outer, h)
	}
	if l := p.d.LidsOf(b); l != nil {
		p.lids(b, l, list, outer, to)
	}
}

// ownSeed sets the left eye of a pair apart: its veins and iris are its own.
const ownSeed = 7919

// gazes returns an object's eyes with their turns; to takes the object's place into the world.
func gazes(b *scene.Object, to geom.Affine) []looking {
	if b.Pair == 0 {
		return []looking{{*b, 0, gaze(b.Gaze, b.Eye.Side == "left", geom.Vec{}, to)}}
	}
	g := b.Gaze
	if g == nil {
		g = &scene.Gaze{Kappa: kappa}
	}
	out := make([]looking, 2)
	for i, side := range []string{"right", "left"} {
		q := &out[i]
		q.object = *b
		q.at = (float64(i) - 0.5) * b.Pair
		e := *b.Eye
		e.Side = side
		if i == 1 {
			e.Seed = int((int64(e.Seed) + ownSeed) & math.MaxInt32)
		}
		q.object.Eye, q.object.Name = &e, b.Name+"."+side
		q.turn = gaze(g, i == 1, geom.Vec{X: q.at}, to)
	}
	return out
}

// kappa is the angle in degrees between the optical axis and the line of sight, which lies nasal of it.
// Source: Le Grand and El Hage, Physiological Optics (1980), give 5 degrees for the angle alpha; from memory.
const kappa = 5

// gaze returns the turn that lets an eye at a place of its object look as g says. The line of sight lies kappa toward the nose
// of the optical axis; from straight ahead it goes to its direction by the smallest rotation.
//
// Source: Listing's law (Helmholtz, Handbuch der physiologischen Optik, section 27).
func gaze(g *scene.Gaze, left bool, at geom.Vec, to geom.Affine) geom.Affine {
	if g == nil {
		return geom.Identity()
	}
	o := scene.Orbit{Azimuth: g.Azimuth, Elevation: g.Elevation}
	d := o.Direction()
	if g.Target != nil {
		d = to.Inverse().Point(*g.Target).Sub(at).Unit()
	}
	k := geom.Radians(g.Kappa)
	if left {
		k = -k
	}
	return geom.RotateY(-k).Then(geom.Turn(geom.Vec{Z: 1}, d))
}

// LooksAlong returns the azimuth and elevation in degrees, in an eye's place, of the point that the object looks at.
func LooksAlong(b *scene.Object) (azimuth, elevation float64) {
	d := place(&b.Transform).Inverse().Point(*b.Gaze.Target).Unit()
	return geom.Degrees(math.Atan2(d.X, d.Z)), geom.Degrees(math.Asin(d.Y))
}

// grown is lids with their hierarchies.
type grown struct {
	*lids.Lids
	skin, corner, tears, lashes *accel.BVH
}

// lids makes the lids about an object's eyes.
func (p *preparer) lids(b *scene.Object, l *scene.Lids, eyes []looking, outer []*accel.BVH, to geom.Affine) {
	par := l.Params(b.Eye)
	if b.Pair > 0 {
		par.Spacing = b.Pair / l.Scale
	}
	inputs := []any{par, l.Scale}
	var sockets []lids.Socket
	sc := accel.NewScratch()
	for i := range eyes {
		q := &eyes[i]
		back := q.turn.Inverse()
		inputs = append(inputs, shapeOf(q.object.Eye), p.stamps(q.object.Eye), q.turn)
		sockets = append(sockets, lids.Socket{
			Left: q.object.Eye.Side == "left", Axis: q.turn.Vector(geom.Vec{Z: 1}),
			Far: func(d geom.Vec) float64 {
				var h accel.Hit
				if !outer[i].Closest(sc, geom.Vec{}, back.Vector(d), 0, math.Inf(1), &h) {
					return b.Eye.Globe.Radius / l.Scale // through a crack of an imported shell
				}
				return h.T / l.Scale
			},
		})
	}
	key := "objects." + b.Name + ".lids"
	g, err := stage(p, "lids "+b.Name, inputs, func(*making) (*grown, error) {
		made, err := lids.Build(par, sockets)
		if err != nil {
			return nil, err
		}
		g := &grown{Lids: made}
		for _, q := range []struct {
			m *mesh.Mesh
			h **accel.BVH
		}{{made.Skin, &g.skin}, {made.Corner, &g.corner}, {made.Tears, &g.tears}, {made.Lashes, &g.lashes}} {
			if q.m == nil {
				continue
			}
			if *q.h, err = p.hierarchy(q.m); err != nil {
				return nil, err
			}
		}
		return g, nil
	})
	if err != nil {
		p.fail(key, err)
		return
	}
	to = geom.Scale(l.Scale).Then(to)
	add := func(name string, m *mesh.Mesh, h *accel.BVH, mat frozen.Material, closed bool, mask frozen.Mask) {
		if m == nil {
			return
		}
		p.add(frozen.Object{Name: b.Name + "." + name, Shape: frozen.Mesh, ToWorld: to, Mask: mask, Mesh: m, BVH: h, Closed: closed, Eye: -1, Material: mat}, m.Bounds())
	}
	mask := p.mask(b)
	if !p.d.Effects.Shadow {
		mask &^= frozen.ShadowRays
	}
	s := &l.Skin
	add("skin", g.Skin, g.skin, soft(texture.FromImage(g.Colour, texture.Repeat), s.ScatterRadius, s.Index, s.Roughness, s.Scattering), true, mask)
	add("corner", g.Corner, g.corner, soft(texture.FromImage(g.Pink, texture.Clamp), s.ScatterRadius.Scale(0.7), tearIndex, 0.25, s.Scattering), true, mask)
	add("lashes", g.Lashes, g.lashes, soft(texture.Constant(l.Lashes.Colour), s.ScatterRadius, 1.55, 0.5, false), false, mask)
	add("tears", g.Tears, g.tears, frozen.Material{Kind: frozen.Sheet, Index: tearIndex}, false, mask&^frozen.ShadowRays)
}

// soft makes a scattering object under a coat.
func soft(c texture.Map, half colour.RGB, index, roughness float64, scatter bool) frozen.Material {
	m := scene.Material{ScatterRadius: half, Index: index, Roughness: roughness, Scattering: scatter}
	return frozen.Material{Kind: frozen.Soft, Colour: c, Index: index, Alpha: roughness * roughness, Flesh: flesh(&m, &c)}
}
