package render

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sync"

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

// Cache keeps prepared eyes by the content of what they are made from, so that a variation that leaves an eye alone
// does not build it again. It may be shared by calls one after another.
type Cache struct {
	mu   sync.Mutex
	eyes map[string]*shells
}

// NewCache returns an empty cache.
func NewCache() *Cache { return &Cache{eyes: map[string]*shells{}} }

// shells is the geometry and tissue colour of an eye: all that is dear to make.
type shells struct {
	outer, inner       *mesh.Mesh
	outerBVH, innerBVH *accel.BVH
	colour             *frozen.VolumeMap
	alpha              *frozen.VolumeMap
	film               *frozen.VolumeMap // nil without vessels on top
	far                float64
	bytes              int64
	notes              []string
}

// eye makes a two-shell eye.
func (p *preparer) eye(b *scene.Body) {
	d := b.Eye
	key := "bodies." + b.Name + ".eye"
	id, err := json.Marshal(d)
	if err != nil {
		p.fail(key, err)
		return
	}
	var s *shells
	if c := p.o.Cache; c != nil {
		c.mu.Lock()
		s = c.eyes[string(id)]
		c.mu.Unlock()
	}
	if s == nil {
		if s, err = p.shells(d); err != nil {
			p.fail(key, err)
			return
		}
		if c := p.o.Cache; c != nil {
			c.mu.Lock()
			c.eyes[string(id)] = s
			c.mu.Unlock()
		}
	}
	p.warn = append(p.warn, s.notes...)
	p.bytes += s.bytes
	to := place(&b.Place)
	scale := b.Place.Scale
	e := frozen.Eye{
		LimbusRadius: d.Limbus.Radius, LimbusWidth: d.Limbus.Width, ForceCoat: !p.out.Settings.Refraction,
		Index: d.Cornea.Index, ReflectIndex: d.Cornea.ReflectIndex,
		AlphaCornea: d.Cornea.Roughness * d.Cornea.Roughness, AlphaSclera: d.Cornea.ScleraRough * d.Cornea.ScleraRough,
		SmoothRefract: d.Cornea.SmoothRefract, NormalGain: d.Cornea.NormalStrength, Far: s.far,
	}
	if e.ReflectIndex == 0 {
		e.ReflectIndex = e.Index
	}
	if d.Cornea.Normal.Given {
		if e.Normal, err = p.texture(&d.Cornea.Normal, false); err != nil {
			p.fail(key+".cornea.normal", err)
		}
	}
	if d.Iris.Normal.Given {
		if e.InnerNormal, err = p.texture(&d.Iris.Normal, false); err != nil {
			p.fail(key+".iris.normal", err)
		}
	}
	e.Prepare()
	e.Tissue = frozen.Tissue{
		ScatterIris: d.Iris.Scatter, ScatterSclera: d.Sclera.Scatter, Colour: s.colour, Alpha: s.alpha, Film: s.film,
	}
	p.extinction(&e, d, scale)
	ix := int32(len(p.out.Eyes))
	body := frozen.Body{Name: b.Name + ".outer", Shape: frozen.Mesh, ToWorld: to, Mask: p.mask(b), Mesh: s.outer, BVH: s.outerBVH,
		Closed: true, Material: frozen.Material{Kind: frozen.Outer}, Eye: ix}
	e.Outer = p.add(body, s.outer.Bounds())
	body.Name, body.Mesh, body.BVH, body.Material.Kind = b.Name+".inner", s.inner, s.innerBVH, frozen.Inner
	e.Inner = p.add(body, s.inner.Bounds())
	p.out.Eyes = append(p.out.Eyes, e)
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
	for c := 0; c < 3; c++ {
		e.Tissue.SigmaIris[c] = scale / tissue.MeanFreePath(d.Iris.HalfRadius[c], tissue.SingleScatterAlbedo(iris[c]))
		e.Tissue.SigmaSclera[c] = scale / tissue.MeanFreePath(d.Sclera.HalfRadius[c], tissue.SingleScatterAlbedo(white[c]))
	}
}

func (p *preparer) shells(d *scene.Eye) (*shells, error) {
	if d.Asset != nil {
		return p.assetShells(d)
	}
	par, err := eyeParams(d)
	if err != nil {
		return nil, err
	}
	grown, err := eye.Build(par)
	if err != nil {
		return nil, err
	}
	s := &shells{outer: grown.Outer, inner: grown.Inner}
	if err := p.displaceShells(s, d); err != nil {
		return nil, err
	}
	built := texture.FromImage(grown.Colour, texture.Clamp)
	iris, white, err := p.tissueMaps(d, built)
	if err != nil {
		return nil, err
	}
	// The surface in front of a direction: the iris plane within the root, the globe outside.
	front := func(v geom.Vec) (geom.Vec, geom.UV) {
		q := v.Mul(par.GlobeRadius)
		if v.Z > 0 {
			if r := math.Hypot(v.X, v.Y) / v.Z * grown.IrisZ; r < grown.LipRadius {
				q = v.Mul(grown.IrisZ / v.Z)
			}
		}
		return q, grown.SurfaceUV(q)
	}
	if !d.Sclera.Colour.Given && d.Sclera.Veins > 0 {
		film := texture.FromImage(grown.Film, texture.Clamp)
		s.film = frozen.NewVolumeMap(d.Detail, func(v geom.Vec) colour.RGB {
			_, uv := front(v)
			return film.RGB(uv, 0)
		}, parallel(p.o.workers()))
	}
	at := func(v geom.Vec) colour.RGB {
		q, uv := front(v)
		w := grown.Zone(q)
		return colour.Lerp(white.RGB(uv, 0).Mul(d.Sclera.Tint), iris.RGB(uv, 0), w)
	}
	return s, p.finish(s, d, at)
}

// tissueMaps returns the maps of the iris and of the sclera; built stands in for what the scene does not give.
func (p *preparer) tissueMaps(d *scene.Eye, built texture.Map) (iris, white texture.Map, err error) {
	iris, white = built, built
	if d.Iris.Colour.Given {
		var e error
		if iris, e = p.texture(&d.Iris.Colour, true); e != nil {
			err = errors.Join(err, fmt.Errorf("iris.colour: %w", e))
		}
	}
	if d.Sclera.Colour.Given {
		var e error
		if white, e = p.texture(&d.Sclera.Colour, true); e != nil {
			err = errors.Join(err, fmt.Errorf("sclera.colour: %w", e))
		}
	}
	return
}

// finish builds hierarchies and tissue maps. at gives the diffuse reflectance in front of each direction.
func (p *preparer) finish(s *shells, d *scene.Eye, at func(geom.Vec) colour.RGB) error {
	if s.inner.Part != nil && d.Iris.PupilClosed {
		s.inner.Part = nil
	}
	var err error
	if s.outerBVH, err = p.hierarchy(s.outer); err != nil {
		return fmt.Errorf("outer shell: %w", err)
	}
	if s.innerBVH, err = p.hierarchy(s.inner); err != nil {
		return fmt.Errorf("inner shell: %w", err)
	}
	rows := parallel(p.o.workers())
	s.colour = frozen.NewVolumeMap(d.Detail, func(v geom.Vec) colour.RGB {
		c := at(v)
		for i := range c {
			c[i] = max(0, min(c[i], maxColour))
		}
		return c
	}, rows)
	s.alpha = s.colour.Map(func(c colour.RGB) colour.RGB {
		return colour.RGB{tissue.SingleScatterAlbedo(c[0]), tissue.SingleScatterAlbedo(c[1]), tissue.SingleScatterAlbedo(c[2])}
	}, rows)
	s.far = s.inner.Bounds().Size().Len()
	return nil
}

// maxColour is the largest tissue reflectance; a colour of exactly 1 is let through for energy checks.
const maxColour = 1

// eyeParams turns the description into the numbers of the built eye.
func eyeParams(d *scene.Eye) (eye.Params, error) {
	q := eye.Defaults()
	pat, err := eye.Pattern(d.Iris.Pattern)
	if err != nil {
		return q, err
	}
	q.Pattern = pat
	q.GlobeRadius = d.Globe.Radius
	q.CorneaRadius, q.Asphericity = d.Cornea.Radius, d.Cornea.Asphericity
	q.LimbusRadius, q.LimbusWidth = d.Limbus.Radius, d.Limbus.Width
	q.IrisDepth, q.IrisRelief = d.Iris.Depth, d.Iris.Relief
	q.PupilDiameter, q.PupilOffset, q.PupilClosed = d.Iris.Pupil, d.Iris.PupilOffset, d.Iris.PupilClosed
	q.WobbleSlopeCornea, q.WobbleSlopeSclera, q.WobbleSize = d.Cornea.Wobble, d.Cornea.ScleraWobble, d.Cornea.WobbleSize
	q.Veins = d.Sclera.Veins
	q.Seed = uint64(d.Seed)
	q.MapSize = d.Detail
	return q, nil
}
