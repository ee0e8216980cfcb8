package prepare

import (
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// eye makes a two-shell eye whose frame to takes into the world; it returns the outer shell's hierarchy in that frame, or
// nil.
func (p *preparer) eye(b *scene.Object, to geom.Affine) *accel.BVH {
	d := b.Eye
	key := "objects." + b.Name + ".eye"
	s, tissue, err := p.shellsAndTissue(b.Name, d)
	if err != nil {
		p.fail(key, err)
		return nil
	}
	scale := b.Transform.Scale
	e := frozen.Eye{
		LimbusRadius: d.Limbus.Radius, LimbusWidth: d.Limbus.Width, ForceCoat: !p.out.Settings.Refraction,
		Index: d.Cornea.Index, ReflectIndex: d.Cornea.ReflectionIndex,
		AlphaCornea: d.Cornea.Roughness * d.Cornea.Roughness, AlphaSclera: d.Sclera.Roughness * d.Sclera.Roughness,
		SmoothRefract: d.Cornea.SmoothRefraction, Far: s.far, Crossing: s.cross,
	}
	e.Opaque = d.Limbus.ReachOr(d.Asset == nil)
	if s.grow != nil {
		e.Bumps = frozen.Bumps{Slope: d.Sclera.Bumps, Seed: uint64(d.Seed) ^ 0xb7}
	}
	if e.ReflectIndex == 0 {
		e.ReflectIndex = e.Index
	}
	// What the scene names takes precedence over what the file brings.
	e.Normal, e.NormalGain = s.own.outerNormal.bump, s.own.outerNormal.gain
	e.InnerNormal, e.InnerNormalGain = s.own.innerNormal.bump, s.own.innerNormal.gain
	if q := d.Cornea.Normal; q != nil {
		e.NormalGain = q.Strength
		if e.Normal, err = p.normals(key+".cornea.normal", q); err != nil {
			p.fail(key+".cornea.normal", err)
		}
		p.warn = append(p.warn, tileNotes(key+".cornea.normal", s.outer, &e.Normal)...)
	}
	if q := d.Iris.Normal; q != nil {
		e.InnerNormalGain = q.Strength
		if e.InnerNormal, err = p.normals(key+".iris.normal", q); err != nil {
			p.fail(key+".iris.normal", err)
		}
		p.warn = append(p.warn, tileNotes(key+".iris.normal", s.inner, &e.InnerNormal)...)
	}
	p.oneRelief(key, s, &e)
	p.film(b.Name, &e)
	e.Tissue = frozen.Tissue{
		ScatterIris: d.Iris.Scattering, ScatterSclera: d.Sclera.Scattering, Colour: tissue.colour, Alpha: tissue.alpha, Vessels: tissue.vessels,
	}
	extinction(&e, tissue, d, scale)
	ix := int32(len(p.out.Eyes))
	object := frozen.Object{Name: b.Name + ".outer", Shape: frozen.Mesh, ToWorld: to, Mask: p.mask(b), Mesh: s.outer, BVH: s.outerBVH,
		Closed: true, Material: frozen.Material{Kind: frozen.Outer}, Eye: ix}
	var frames [2]*mesh.Tangents
	parallel.Each(2, 2, func(i int) {
		if [2]bool{e.Normal.Valid(), e.InnerNormal.Valid()}[i] {
			frames[i] = mesh.MakeTangents([2]*mesh.Mesh{s.outer, s.inner}[i])
		}
	})
	object.Tangents = frames[0]
	e.Outer = p.add(object, s.outerBVH.Bounds())
	object.Name, object.Mesh, object.BVH, object.Material.Kind, object.Tangents = b.Name+".inner", s.inner, s.innerBVH, frozen.Inner, frames[1]
	object.Depth = s.depth
	e.Inner = p.add(object, s.innerBVH.Bounds())
	p.out.Eyes = append(p.out.Eyes, e)
	return s.outerBVH
}

// shellsAndTissue makes an eye's shells and its maps over the tissue.
func (p *preparer) shellsAndTissue(name string, d *scene.Eye) (*eyeball, *coat, error) {
	if s, tissue, ok := p.quick(name, d); ok {
		p.rough = true
		return s, tissue, nil
	}
	s, err := storedStage(p, "shells "+name, shapeOf(d), shellStore(d), func(m *making) (*eyeball, error) {
		s, err := p.shells(d, m)
		if s != nil {
			m.notes = append(m.notes, s.notes...)
		}
		return s, err
	})
	if err != nil {
		return nil, nil, err
	}
	tissue, err := p.tissue(name, s, d)
	return s, tissue, err
}

// extinction sets each zone's extinction from the zone's mean colour and the radius of half re-emission. Scattering
// lengths are mm of the world: an eye scaled up keeps them, and so looks harder.
func extinction(e *frozen.Eye, c *coat, d *scene.Eye, scale float64) {
	e.Tissue.SigmaIris, e.Tissue.GuideIris = zone(c.meanIris, d.Iris.ScatterRadius, d.Iris.SigmaA, d.Iris.SigmaS, scale)
	e.Tissue.SigmaSclera, e.Tissue.GuideSclera = zone(c.meanWhite, d.Sclera.ScatterRadius, d.Sclera.SigmaA, d.Sclera.SigmaS, scale)
}

// film makes the tables of the tear film, a stage of their own.
func (p *preparer) film(name string, e *frozen.Eye) {
	coat := p.out.Settings.TearFilm
	inputs := []any{e.Index, e.ReflectIndex, e.AlphaCornea, e.AlphaSclera, e.SmoothRefract, e.Crossing, coat}
	f, err := stage(p, "tear film "+name, inputs, func(*making) (*frozen.Film, error) {
		e.Prepare()
		e.PrepareRough(coat)
		return e.Film(), nil
	})
	if err != nil {
		p.fail("objects."+name, err)
		return
	}
	e.Take(f)
}

// shapeOf is the part of an eye's description that its shells depend on.
func shapeOf(d *scene.Eye) scene.Eye {
	q := *d
	q.Iris.Colour, q.Iris.Normal, q.Iris.ScatterRadius, q.Iris.Scattering = scene.MapSpec{}, laid(d.Iris.Normal), colour.RGB{}, false
	q.Iris.SigmaA, q.Iris.SigmaS, q.Sclera.SigmaA, q.Sclera.SigmaS = nil, nil, nil, nil
	q.Sclera.Colour, q.Sclera.Tint, q.Sclera.ScatterRadius, q.Sclera.Scattering = scene.MapSpec{}, colour.RGB{}, colour.RGB{}, false
	q.Cornea.Index, q.Cornea.ReflectionIndex, q.Cornea.Roughness, q.Sclera.Roughness, q.Sclera.Bumps, q.Cornea.SmoothRefraction = 0, 0, 0, 0, 0, false
	q.Cornea.Normal = laid(d.Cornea.Normal)
	if d.Asset == nil { // a borrowed eye is painted with its shells
		q.Paint, q.Sclera.BaseColour, q.Sclera.Veins, q.Sclera.Redness, q.Sclera.Mottling, q.Sclera.ToneDown = nil, colour.RGB{}, 0, 0, 0, 0
		q.Iris.Arcus, q.Cornea.Clouding, q.Iris.Tint, q.Iris.Pigment = 0, 0, colour.RGB{}, 0
		q.Iris.Collarette, q.Iris.Ciliary, q.Iris.Margin = eye.Zone{}, eye.Zone{}, eye.Zone{}
	}
	return q
}
