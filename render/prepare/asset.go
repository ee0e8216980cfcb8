package prepare

import (
	"fmt"
	"strings"

	"catchlight/scene"
	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
	"catchlight/scene/parallel"
	"catchlight/scene/pupil"
	"catchlight/scene/shells"
	"catchlight/scene/texture"
)

// Quiet colours for an asset that brings none: a dark brown iris and a warm white. Our own choice, no published source.
var (
	plainIris  = colour.RGB{0.11, 0.085, 0.055}
	plainWhite = colour.RGB{0.70, 0.64, 0.60}
)

// assetShells takes both shells from the file, in the frame of the eye, with their tissue colour.
//
// Long: an imported eye passes through its stages once, in this order.
func (p *preparer) assetShells(d *scene.Eye, by uvSets, m *making) (*eyeball, error) {
	m.opens(string(d.Asset.File))
	sets, err := by.nodes(d.Asset)
	if err != nil {
		return nil, err
	}
	a, err := meshio.ReadSets(string(d.Asset.File), d.Asset.Unit, weights(d.Asset.Morph), sets)
	if err != nil {
		return nil, err
	}
	s := &eyeball{}
	for _, n := range a.Notes {
		s.notes = append(s.notes, fmt.Sprintf("%s: %s", d.Asset.File, n))
	}
	outer, inner := a.Named(d.Asset.Outer), a.Named(d.Asset.Inner)
	var missing []string
	if len(outer) == 0 && d.Asset.Outer != "" {
		missing = append(missing, fmt.Sprintf("the outer shell %q", d.Asset.Outer))
	}
	if len(inner) == 0 && d.Asset.Inner != "" {
		missing = append(missing, fmt.Sprintf("the inner shell %q", d.Asset.Inner))
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("asset: %s lacks %s; it has %s", d.Asset.File, strings.Join(missing, " and "), a.NodeNames())
	}
	if d.Asset.Outer == d.Asset.Inner {
		return nil, fmt.Errorf("asset: outer and inner are both %q; an eye needs two shells", d.Asset.Outer)
	}
	turn, err := shells.Frame(d.Asset.Axis)
	if err != nil {
		return nil, err
	}
	look, err := s.take(d.Asset, outer, inner, turn)
	if err != nil {
		return nil, err
	}
	s.notes = append(s.notes, shells.Centre(s.outer, s.inner, d.Limbus.Radius+d.Limbus.Width/2)...)
	if err := s.moveMaps(d); err != nil {
		return nil, err
	}
	var q pupil.Pupil
	if s.inner != nil {
		q = s.pupil(d)
		if want := d.Iris.Pupil; want > 0 {
			if err := q.Warp(s.inner, want, d.Limbus.Radius-d.Limbus.Width/2); err != nil {
				lead := s.outer
				if lead == nil {
					lead = s.inner
				}
				if size := shells.SizeDoubt(lead); size != "" {
					return nil, fmt.Errorf("asset.factor: %s (iris.pupil then: %w)", size, err)
				}
				return nil, fmt.Errorf("iris.pupil: %w", err)
			}
			s.notes = append(s.notes, fmt.Sprintf("the pupil, %.3g mm across in the file, is warped to %.3g mm", 2*q.Radius, want))
			q = s.pupil(d)
		}
	}
	if d.Asset.Borrow {
		if err := s.borrow(d, q); err != nil {
			return nil, err
		}
	}
	if err := p.displaceShells(s, d, m); err != nil {
		return nil, err
	}
	if err := s.charted(d); err != nil {
		return nil, err
	}
	if err := p.judge(s, d); err != nil {
		return nil, err
	}
	s.own = ownTissue(look[0], look[1])
	if s.own.picture {
		said := making{}
		s.own.iris = said.colours(fmt.Sprintf("%s: colour of the inner shell", d.Asset.File), s.own.iris)
		s.own.white = s.own.iris
		s.notes = append(s.notes, said.notes...)
	}
	if s.own.outerWhite && s.outer.UV == nil {
		s.own.white, s.own.outerWhite = texture.Constant(plainWhite), false
	}
	if s.own.outerWhite {
		said := making{}
		s.own.white = said.colours(fmt.Sprintf("%s: colour of the outer shell", d.Asset.File), s.own.white)
		s.notes = append(s.notes, said.notes...)
		s.notes = append(s.notes, fmt.Sprintf("%s: the sclera has the colours of the picture on the outer shell", d.Asset.File))
	}
	s.own.outerNormal, s.own.innerNormal = normalOf(look[0], s.outer), normalOf(look[1], s.inner)
	return s, nil
}

// moveMaps moves the pictures on the inner shell as the scene says.
func (s *eyeball) moveMaps(d *scene.Eye) error {
	a := d.Asset
	scale := a.MapsScale
	if scale == 0 {
		scale = 1 // a description made in code
	}
	if s.inner == nil || a.MapsShift == [2]float64{} && a.MapsTurn == 0 && scale == 1 {
		return nil
	}
	flat, err := shells.FlatOf(s.inner, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, d.Limbus.Radius)
	if err != nil {
		return fmt.Errorf("asset.maps_shift, maps_turn, maps_scale: %w", err)
	}
	shells.MoveMaps(s.inner, flat, a.MapsShift, a.MapsTurn, scale)
	return nil
}

// take makes both shells of their nodes, at the same time, and returns their materials; either may have no nodes.
func (s *eyeball) take(a *scene.Asset, outer, inner []asset.Node, turn geom.Affine) (look [2]asset.Material, err error) {
	var made [2]*mesh.Mesh
	var notes [2][]string
	var failed [2]error
	parallel.Each(2, 2, func(i int) {
		nodes := [2][]asset.Node{outer, inner}[i]
		if len(nodes) == 0 {
			return
		}
		look[i] = nodes[0].Material
		from := &shells.Source{What: [2]string{"outer", "inner"}[i], Node: [2]string{a.Outer, a.Inner}[i], Factor: a.Factor, Turn: turn,
			FacetError: a.FacetError, Subdivide: a.Subdivide}
		made[i], notes[i], failed[i] = shells.Take(asset.Merge(nodes), from, rays)
	})
	for i := range made {
		if failed[i] != nil {
			return look, failed[i]
		}
		s.notes = append(s.notes, notes[i]...)
	}
	s.outer, s.inner = made[0], made[1]
	return look, nil
}

// charted refuses maps of a shell without texture coordinates.
func (s *eyeball) charted(d *scene.Eye) error {
	for _, q := range []struct {
		key string
		m   *mesh.Mesh
		on  bool
	}{
		{"cornea.normal", s.outer, d.Cornea.Normal != nil}, {"iris.normal", s.inner, d.Iris.Normal != nil},
		{"iris.colour", s.under(&d.Iris.Colour), d.Iris.Colour.File != ""}, {"sclera.colour", s.under(&d.Sclera.Colour), d.Sclera.Colour.File != ""},
	} {
		if q.on && q.m.UV == nil {
			return fmt.Errorf("%s: %s has no texture coordinates to lay it on", q.key, d.Asset.File)
		}
	}
	return nil
}

// pupil looks at the pupil of the inner shell.
func (s *eyeball) pupil(d *scene.Eye) pupil.Pupil {
	return pupil.Find(s.inner, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, d.Limbus.Radius)
}

// judge marks what of the inner shell faces its own cavity, notes where it pierces the outer shell, and lays the rest
// of it close beneath the outer shell outside the limbus.
func (p *preparer) judge(s *eyeball, d *scene.Eye) error {
	outer, err := p.hierarchy(s.outer)
	if err != nil {
		return fmt.Errorf("outer shell: %w", err)
	}
	inner, err := p.hierarchy(s.inner)
	if err != nil {
		return fmt.Errorf("inner shell: %w", err)
	}
	s.outerBVH, s.innerBVH = outer, inner // the outer shell stays as it is from here on
	if out, of := shells.Pierced(s.outer, caster(outer), s.inner); out > 0 {
		s.notes = append(s.notes, fmt.Sprintf("the inner shell pokes through the outer shell at %d of %d vertices looked at: light is lost or wrong there", out, of))
	}
	caps := s.inner.Part
	s.inner.Part = shells.Cavity(s.inner, caster(inner), caster(outer), p.o.WorkerCount())
	for i, q := range caps {
		if q == mesh.Backing {
			s.inner.Part[i] = q
		}
	}
	s.outer.Part = nil
	if !d.Asset.CloseGap {
		return nil
	}
	gap := shells.Gap(s.outer, s.inner)
	if moved, most := shells.Snug(s.inner, caster(outer), zoneWeight(d.Limbus), gap, p.o.WorkerCount()); moved > 0 {
		s.innerBVH = nil
		s.notes = append(s.notes, fmt.Sprintf("outside the limbus the inner shell now lies %.2g mm beneath the outer shell, as tissue under a tear film does: %d vertices moved by up to %.3g mm",
			gap, moved, most))
	}
	return nil
}

// assetTissue is the colour that an asset brings: maps of iris and white, and what multiplies both.
type assetTissue struct {
	iris, white texture.Map
	tint        colour.RGB
	whiteTint   colour.RGB
	picture     bool // the file brings a picture of the inner shell
	outerWhite  bool // the sclera's colour is a picture of the outer shell

	outerNormal, innerNormal ownNormal
}

// ownNormal is the normal map that a file brings for a shell; bump is not valid where there is none.
type ownNormal struct {
	bump texture.Map
	gain float64 // of its slopes
}

func normalOf(m asset.Material, q *mesh.Mesh) (n ownNormal) {
	if m.NormalMap != nil && q != nil && q.UV != nil {
		n = ownNormal{texture.FromImage(m.NormalMap, m.Wrap), m.NormalScale}
	}
	return
}

// ownTissue takes the inner shell's picture, or for the sclera that of an opaque outer shell, then the plain colours of the file (of the inner shell for the iris, of an
// opaque outer shell for the sclera), then quiet ones of our own.
func ownTissue(out, in asset.Material) assetTissue {
	t := assetTissue{iris: texture.Constant(plainIris), white: texture.Constant(plainWhite), tint: colour.Grey(1), whiteTint: colour.Grey(1)}
	if in.Name != "" {
		t.iris = texture.Constant(in.BaseColour)
	}
	if out.Name != "" && out.Transmission == 0 {
		t.white = texture.Constant(out.BaseColour)
	}
	if in.BaseMap == nil && out.BaseMap != nil && out.Transmission == 0 {
		t.white, t.whiteTint, t.outerWhite = texture.FromImage(out.BaseMap, out.Wrap), out.BaseColour, true
	}
	if in.BaseMap != nil {
		t.iris = texture.FromImage(in.BaseMap, in.Wrap)
		t.white, t.tint, t.whiteTint, t.picture = t.iris, in.BaseColour, in.BaseColour, true
	}
	return t
}
