package render

import (
	"errors"
	"fmt"
	"math"

	"catchlight/material/tissue"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// shells is the geometry of an eye, and where each direction from the globe's centre finds its colour.
type shells struct {
	outer, inner       *mesh.Mesh
	outerBVH, innerBVH *accel.BVH
	far                float64

	grown *eye.Eye                            // of a built eye
	own   assetTissue                         // of an imported one
	front func(v geom.Vec) (geom.UV, float64) // texture coordinates and zone weight in front of a direction

	lent    func(v geom.Vec) geom.UV // where the built-in eye keeps the colour in front of a direction
	lentMap texture.Map              // its colours; not valid where nothing is borrowed

	// What the stage says; making takes it over.
	notes []string
}

// front is the answer of shells.front for each texel of a volume map: u, v, weight.
type front []float32

// coat is the tissue's maps over the volume.
type coat struct {
	colour, alpha *frozen.VolumeMap
	film          *frozen.VolumeMap // nil without vessels on top
}

// eye makes a two-shell eye whose frame to takes into the world; it returns the outer shell's hierarchy in that frame, or
// nil.
func (p *preparer) eye(b *scene.Object, to geom.Affine) *accel.BVH {
	d := b.Eye
	key := "objects." + b.Name + ".eye"
	s, err := stage(p, "shells "+b.Name, shapeOf(d), func(m *making) (*shells, error) {
		s, err := p.shells(d, m)
		if s != nil {
			m.notes = append(m.notes, s.notes...)
		}
		return s, err
	})
	if err != nil {
		p.fail(key, err)
		return nil
	}
	tissue, err := p.tissue(b.Name, s, d)
	if err != nil {
		p.fail(key, err)
		return nil
	}
	scale := b.Transform.Scale
	e := frozen.Eye{
		LimbusRadius: d.Limbus.Radius, LimbusWidth: d.Limbus.Width, ForceCoat: !p.out.Settings.Refraction,
		Index: d.Cornea.Index, ReflectIndex: d.Cornea.ReflectionIndex,
		AlphaCornea: d.Cornea.Roughness * d.Cornea.Roughness, AlphaSclera: d.Sclera.Roughness * d.Sclera.Roughness,
		SmoothRefract: d.Cornea.SmoothRefraction, Far: s.far,
	}
	if e.ReflectIndex == 0 {
		e.ReflectIndex = e.Index
	}
	// What the scene names goes before what the file brings.
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
	e.Prepare()
	e.PrepareRough(p.out.Settings.Coat)
	e.Tissue = frozen.Tissue{
		ScatterIris: d.Iris.Scattering, ScatterSclera: d.Sclera.Scattering, Colour: tissue.colour, Alpha: tissue.alpha, Film: tissue.film,
	}
	p.extinction(&e, d, scale)
	ix := int32(len(p.out.Eyes))
	object := frozen.Object{Name: b.Name + ".outer", Shape: frozen.Mesh, ToWorld: to, Mask: p.mask(b), Mesh: s.outer, BVH: s.outerBVH,
		Closed: true, Material: frozen.Material{Kind: frozen.Outer}, Eye: ix}
	if e.Normal.Valid() {
		object.Tangents = mesh.MakeTangents(s.outer)
	}
	e.Outer = p.add(object, s.outer.Bounds())
	object.Name, object.Mesh, object.BVH, object.Material.Kind, object.Tangents = b.Name+".inner", s.inner, s.innerBVH, frozen.Inner, nil
	if e.InnerNormal.Valid() {
		object.Tangents = mesh.MakeTangents(s.inner)
	}
	e.Inner = p.add(object, s.inner.Bounds())
	p.out.Eyes = append(p.out.Eyes, e)
	return s.outerBVH
}

// extinction sets each zone's extinction from the zone's mean colour and the radius of half re-emission. Scattering
// lengths are mm of the world: an eye scaled up keeps them, and so looks harder.
func (p *preparer) extinction(e *frozen.Eye, d *scene.Eye, scale float64) {
	limb := math.Atan2(e.LimbusRadius, d.Globe.Radius)
	iris := e.Tissue.Colour.Mean(func(v geom.Vec) bool {
		a := math.Acos(v.Z)
		return a < 0.9*limb && a > 0.45*limb
	})
	white := e.Tissue.Colour.Mean(func(v geom.Vec) bool {
		a := math.Acos(v.Z)
		return a > 1.3*limb && a < math.Pi/2
	})
	e.Tissue.SigmaIris, e.Tissue.GuideIris = zone(iris, d.Iris.ScatterRadius, d.Iris.SigmaA, d.Iris.SigmaS, scale)
	e.Tissue.SigmaSclera, e.Tissue.GuideSclera = zone(white, d.Sclera.ScatterRadius, d.Sclera.SigmaA, d.Sclera.SigmaS, scale)
}

// zone returns a zone's extinction per mm of the eye's frame and its guide, from its mean reflectance and radius or from
// its coefficients where the scene gives those.
func zone(mean, half colour.RGB, a, s *colour.RGB, scale float64) (sigma colour.RGB, g frozen.Guide) {
	var nu colour.RGB
	for c := range nu {
		alpha := tissue.SingleScatterAlbedo(mean[c])
		sigma[c] = scale / tissue.MeanFreePath(half[c], alpha)
		if s != nil {
			alpha, sigma[c] = s[c]/(a[c]+s[c]), scale*(a[c]+s[c])
		}
		nu[c] = tissue.DiffusionLength(alpha)
	}
	return sigma, frozen.NewGuide(nu)
}

// albedo returns the single-scattering albedo of a zone: of its coefficients, else of a reflectance.
func albedo(q colour.RGB, a, s *colour.RGB) (alpha colour.RGB) {
	for c := range alpha {
		if s != nil {
			alpha[c] = s[c] / (a[c] + s[c])
		} else {
			alpha[c] = tissue.SingleScatterAlbedo(q[c])
		}
	}
	return alpha
}

// shapeOf is the part of an eye's description that its shells depend on.
func shapeOf(d *scene.Eye) scene.Eye {
	q := *d
	q.Iris.Colour, q.Iris.Normal, q.Iris.ScatterRadius, q.Iris.Scattering = scene.MapSpec{}, nil, colour.RGB{}, false
	q.Iris.SigmaA, q.Iris.SigmaS, q.Sclera.SigmaA, q.Sclera.SigmaS = nil, nil, nil, nil
	q.Sclera.Colour, q.Sclera.Tint, q.Sclera.ScatterRadius, q.Sclera.Scattering = scene.MapSpec{}, colour.RGB{}, colour.RGB{}, false
	q.Cornea.Index, q.Cornea.ReflectionIndex, q.Cornea.Roughness, q.Sclera.Roughness, q.Cornea.SmoothRefraction = 0, 0, 0, 0, false
	q.Cornea.Normal = nil
	return q
}

func (p *preparer) shells(d *scene.Eye, m *making) (*shells, error) {
	var s *shells
	var err error
	if d.Asset != nil {
		s, err = p.assetShells(d, m)
	} else {
		s, err = p.builtShells(d, m)
	}
	if err != nil {
		return s, err
	}
	if s.inner.Part != nil && d.Iris.PupilClosed {
		s.inner.Part = nil
	}
	if s.outerBVH, err = p.hierarchy(s.outer); err != nil {
		return s, fmt.Errorf("outer shell: %w", err)
	}
	if s.innerBVH, err = p.hierarchy(s.inner); err != nil {
		return s, fmt.Errorf("inner shell: %w", err)
	}
	s.far = s.inner.Bounds().Size().Len()
	if d.Asset != nil {
		s.front = s.meet(d)
	}
	return s, nil
}

func (p *preparer) builtShells(d *scene.Eye, m *making) (*shells, error) {
	par, err := d.Params()
	if err != nil {
		return nil, err
	}
	grown, err := eye.Build(par)
	if err != nil {
		return nil, err
	}
	s := &shells{outer: grown.Outer, inner: grown.Inner, grown: grown}
	if err := p.displaceShells(s, d, m); err != nil {
		return nil, err
	}
	// The surface in front of a direction: the iris plane within the root, the globe outside.
	s.front = func(v geom.Vec) (geom.UV, float64) {
		q := v.Mul(par.GlobeRadius)
		if v.Z > 0 {
			if r := math.Hypot(v.X, v.Y) / v.Z * grown.IrisZ; r < grown.LipRadius {
				q = v.Mul(grown.IrisZ / v.Z)
			}
		}
		return grown.SurfaceUV(q), grown.Zone(q)
	}
	return s, nil
}

// tissue makes the maps over the volume. With a cache the way from directions to texture coordinates is a stage of its
// own, so that a saved picture costs a look-up a texel.
func (p *preparer) tissue(name string, s *shells, d *scene.Eye) (*coat, error) {
	workers := p.o.workers()
	// Rounded as the table keeps it, so that a cache changes no bit.
	look := func(_ int, v geom.Vec) (geom.UV, float64) {
		uv, w := s.front(v)
		return geom.UV{U: float64(float32(uv.U)), V: float64(float32(uv.V))}, float64(float32(w))
	}
	if p.o.Cache != nil {
		table, err := stage(p, "front "+name, []any{shapeOf(d), p.stamps(d)}, func(*making) (front, error) {
			t := make(front, 3*d.MapSize*d.MapSize)
			frozen.Directions(d.MapSize, func(i int, v geom.Vec) {
				uv, w := s.front(v)
				t[3*i], t[3*i+1], t[3*i+2] = float32(uv.U), float32(uv.V), float32(w)
			}, workers)
			return t, nil
		})
		if err != nil {
			return nil, err
		}
		look = func(i int, _ geom.Vec) (geom.UV, float64) {
			return geom.UV{U: float64(table[3*i]), V: float64(table[3*i+1])}, float64(table[3*i+2])
		}
	}
	inputs := []any{shapeOf(d), p.stamps(d), d.Iris.Colour, d.Sclera.Colour, d.Sclera.Tint,
		d.Iris.SigmaA, d.Iris.SigmaS, d.Sclera.SigmaA, d.Sclera.SigmaS}
	return stage(p, "tissue "+name, inputs, func(m *making) (*coat, error) {
		iris, white, irisTint, whiteTint, err := p.tissueMaps(s, d, m)
		if err != nil {
			return nil, err
		}
		c := &coat{}
		if s.grown != nil && !d.Sclera.Colour.Given && d.Sclera.Veins > 0 {
			film := texture.FromImage(s.grown.Film, texture.Clamp)
			c.film = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
				uv, _ := look(i, v)
				return film.RGB(uv, 0)
			}, workers)
		}
		lend := s.lentMap.Valid() && !s.own.picture
		lendIris, lendWhite := lend && !d.Iris.Colour.Given, lend && !d.Sclera.Colour.Given
		c.colour = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
			uv, w := look(i, v)
			in, out := iris.RGB(uv, 0).Mul(irisTint), white.RGB(uv, 0).Mul(whiteTint)
			if lendIris || lendWhite {
				l := s.lentMap.RGB(s.lent(v), 0)
				if lendIris {
					in = l
				}
				if lendWhite {
					out = l.Mul(d.Sclera.Tint)
				}
			}
			q := colour.Lerp(out, in, w)
			for k := range q {
				q[k] = max(0, min(q[k], maxColour))
			}
			return q
		}, workers)
		if d.Iris.SigmaS == nil && d.Sclera.SigmaS == nil {
			c.alpha = c.colour.Map(func(q colour.RGB) colour.RGB { return albedo(q, nil, nil) }, workers)
			return c, nil
		}
		c.alpha = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
			uv, w := look(i, v)
			return colour.Lerp(albedo(white.RGB(uv, 0).Mul(whiteTint), d.Sclera.SigmaA, d.Sclera.SigmaS),
				albedo(iris.RGB(uv, 0).Mul(irisTint), d.Iris.SigmaA, d.Iris.SigmaS), w)
		}, workers)
		return c, nil
	})
}

// stamps tells the state of the files that the shells are made from.
func (p *preparer) stamps(d *scene.Eye) []string {
	var out []string
	add := func(path scene.Path) {
		if path != "" {
			s := stampOf(string(path))
			out = append(out, fmt.Sprint(s.path, s.size, s.time))
		}
	}
	if d.Asset != nil {
		add(d.Asset.File)
	}
	for _, h := range []*scene.HeightMap{d.Cornea.Height, d.Iris.Height} {
		if h != nil {
			add(h.File)
		}
	}
	return out
}

// tissueMaps returns the maps of the iris and of the sclera and what multiplies them: the scene's, else what the asset
// or the built eye brings.
func (p *preparer) tissueMaps(s *shells, d *scene.Eye, m *making) (iris, white texture.Map, irisTint, whiteTint colour.RGB, err error) {
	irisTint, whiteTint = colour.Grey(1), d.Sclera.Tint
	if s.grown != nil {
		iris = texture.FromImage(s.grown.Colour, texture.Clamp)
		white = iris
	} else {
		iris, white, irisTint = s.own.iris, s.own.white, s.own.tint
		whiteTint = whiteTint.Mul(s.own.tint)
	}
	if d.Iris.Colour.Given {
		var e error
		if iris, e = p.picture(m, &d.Iris.Colour, true); e != nil {
			err = errors.Join(err, fmt.Errorf("iris.colour: %w", e))
		}
		m.notes = append(m.notes, tileNotes("iris.colour", s.inner, &iris)...)
		irisTint = colour.Grey(1)
	}
	if d.Sclera.Colour.Given {
		var e error
		if white, e = p.picture(m, &d.Sclera.Colour, true); e != nil {
			err = errors.Join(err, fmt.Errorf("sclera.colour: %w", e))
		}
		m.notes = append(m.notes, tileNotes("sclera.colour", s.inner, &white)...)
		whiteTint = d.Sclera.Tint
	}
	if s := d.Iris.SigmaS; s != nil {
		iris, irisTint = texture.Constant(reflectance(d.Iris.SigmaA, s)), colour.Grey(1)
	}
	if s := d.Sclera.SigmaS; s != nil {
		white, whiteTint = texture.Constant(reflectance(d.Sclera.SigmaA, s)), colour.Grey(1)
	}
	return
}

// reflectance returns the colour under diffuse light of a deep object with these coefficients.
func reflectance(a, s *colour.RGB) (q colour.RGB) {
	for c, alpha := range albedo(colour.RGB{}, a, s) {
		q[c] = tissue.DiffuseAlbedo(alpha)
	}
	return q
}

// maxColour is the largest tissue reflectance; a colour of exactly 1 is let through for energy checks.
const maxColour = 1
