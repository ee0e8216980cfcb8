package prepare

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/shells"
	"catchlight/scene/texture"
)

// eyeball is the geometry of an eye, and where each direction from the globe's centre finds its colour.
type eyeball struct {
	outer, inner       *mesh.Mesh
	outerBVH, innerBVH *accel.BVH
	depth              frozen.Depth // of the inner shell
	far                float64
	cross              frozen.Crossing // how light that leaves the sclera evenly crosses the outer shell

	grow  func() (*eye.Eye, error)            // a built eye without its paint, grown once it is asked for; nil of an imported one
	grown *eye.Eye                            // what grow returns, where it is there already: a cache counts what it takes
	own   assetTissue                         // of an imported one
	front func(v geom.Vec) (geom.UV, float64) // texture coordinates and zone weight in front of a direction

	outerRelief, innerRelief *raised // nil without a height map

	lent    func(v geom.Vec) geom.UV // where the built-in eye keeps the colour in front of a direction
	lentMap texture.Map              // its colours; not valid where nothing is borrowed

	// What the stage says; making takes it over.
	notes []string
}

// shells makes the shells of an eye with the sets of texture coordinates that its normal and height maps lie on.
func (p *preparer) shells(d *scene.Eye, m *making) (*eyeball, error) {
	q, err := setsOf(d)
	if err != nil {
		return nil, err
	}
	return p.laidShells(d, q, m)
}

// laidShells is shells with other sets of texture coordinates.
func (p *preparer) laidShells(d *scene.Eye, by uvSets, m *making) (*eyeball, error) {
	var s *eyeball
	var err error
	if d.Asset != nil {
		s, err = p.assetShells(d, by, m)
	} else {
		s, err = p.builtShells(d, m)
	}
	if err != nil {
		return s, err
	}
	if s.inner.Part != nil && d.Iris.PupilClosed {
		s.inner.Part = nil
	}
	if s.outerBVH == nil {
		if s.outerBVH, err = p.hierarchy(s.outer); err != nil {
			return s, fmt.Errorf("outer shell: %w", err)
		}
	}
	if s.innerBVH == nil {
		if s.innerBVH, err = p.hierarchy(s.inner); err != nil {
			return s, fmt.Errorf("inner shell: %w", err)
		}
	}
	s.depth = frozen.NewDepth(s.inner, s.innerBVH, p.o.WorkerCount())
	s.far = s.innerBVH.Bounds().Size().Len()
	s.cross = s.crossing(d.Limbus.Radius, d.Limbus.Width)
	if d.Asset != nil {
		front, zone := shells.Front(s.inner, caster(s.innerBVH)), zoneWeight(d.Limbus)
		s.front = func(v geom.Vec) (geom.UV, float64) {
			uv, q := front(v)
			return uv, zone(q)
		}
	}
	return s, nil
}

func (p *preparer) builtShells(d *scene.Eye, m *making) (*eyeball, error) {
	par, err := d.Params()
	if err != nil {
		return nil, err
	}
	grown, err := eye.Form(par)
	if err != nil {
		return nil, err
	}
	s := &eyeball{outer: grown.Outer, inner: grown.Inner, grown: grown, grow: func() (*eye.Eye, error) { return grown, nil }}
	if err := p.displaceShells(s, d, m); err != nil {
		return nil, err
	}
	s.front = builtFront(grown, par.GlobeRadius)
	return s, nil
}

// builtFront returns what lies in front of a direction of a built eye: the iris plane within the root, the globe outside.
func builtFront(e *eye.Eye, globe float64) func(v geom.Vec) (geom.UV, float64) {
	return func(v geom.Vec) (geom.UV, float64) {
		q := v.Mul(globe)
		if v.Z > 0 {
			if r := math.Hypot(v.X, v.Y) / v.Z * e.IrisZ; r < e.LipRadius {
				q = v.Mul(e.IrisZ / v.Z)
			}
		}
		return e.SurfaceUV(q), e.Zone(q)
	}
}

// displaceShells applies the height maps of cornea and iris.
func (p *preparer) displaceShells(s *eyeball, d *scene.Eye, m *making) error {
	for _, q := range []struct {
		key  string
		m    *mesh.Mesh
		spec *scene.HeightMap
		to   **raised
	}{{"cornea.height", s.outer, d.Cornea.Height, &s.outerRelief}, {"iris.height", s.inner, d.Iris.Height, &s.innerRelief}} {
		if q.spec == nil || q.spec.Scale == 0 {
			continue
		}
		h, err := m.read(q.spec.File, q.spec.Tiling, imageio.As{Channel: q.spec.Channel})
		if err != nil {
			return fmt.Errorf("%s: %w", q.key, err)
		}
		s.notes = append(s.notes, tileNotes(q.key, q.m, &h)...)
		base := &mesh.Mesh{P: slices.Clone(q.m.P), N: q.m.N, UV: q.m.UV, Tri: q.m.Tri}
		if err := displace(q.m, h, q.spec.ZeroLevel, q.spec.Scale); err != nil {
			return fmt.Errorf("%s: %w", q.key, err)
		}
		if h.Varies() {
			*q.to = &raised{base: base, after: q.m.N, height: h, scale: q.spec.Scale}
		}
	}
	return nil
}

// displace moves each vertex along its normal by (h - mid) scale mm and makes new normals. Vertices in one place move
// by the mean of what their texture coordinates say, so that seams stay shut.
func displace(m *mesh.Mesh, h texture.Map, mid, scale float64) error {
	if m.UV == nil && h.Varies() {
		return errors.New("the shell has no texture coordinates to lay the map on")
	}
	mesh.Displace(m, func(i int) float64 {
		var uv geom.UV
		if m.UV != nil {
			uv = m.UV[i]
		}
		return (h.Scalar(uv, 0) - mid) * scale
	})
	return nil
}

// zoneWeight is 1 in the iris zone and 0 in the sclera's, as the renderer blends them.
func zoneWeight(l scene.Limbus) func(q geom.Vec) float64 {
	e := frozen.Eye{LimbusRadius: l.Radius, LimbusWidth: l.Width}
	return e.TissueZone
}
