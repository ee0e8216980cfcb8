package render

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
	"catchlight/scene/parallel"
	"catchlight/scene/pupil"
	"catchlight/scene/texture"
)

// Quiet colours for an asset that brings none: a dark brown iris and a warm white. Our own choice, no published source.
var (
	plainIris  = colour.RGB{0.11, 0.085, 0.055}
	plainWhite = colour.RGB{0.70, 0.64, 0.60}
)

// readMesh returns all nodes of a file, or the one that b.Node names, as one mesh in mm with normals. Texture
// coordinates are kept only where every part has them.
func (p *preparer) readMesh(b *scene.Object) (*mesh.Mesh, error) {
	a, err := meshio.ReadMorphed(string(b.File), b.Unit, weights(b.Morph))
	if err != nil {
		return nil, err
	}
	for _, n := range a.Notes {
		p.warnf("object %s: %s", b.Name, n)
	}
	nodes := a.Nodes
	if b.Node != "" {
		if nodes = primitives(a, b.Node); len(nodes) == 0 {
			return nil, fmt.Errorf("%s has no node %q; it has %s", b.File, b.Node, nodeNames(a))
		}
	}
	m := merge(nodes)
	if m.UV == nil && b.Material.Colour.File != "" {
		return nil, fmt.Errorf("%s: a picture needs texture coordinates, and the file has none", b.File)
	}
	if k := b.Material.Kind; k == "dielectric" || k == "matched" || k == "tissue" {
		if open, odd := mesh.Closed(m); open+odd > 0 {
			return nil, fmt.Errorf("%s: a %s object must be closed; %d edges are open and %d do not join two triangles", b.File, k, open, odd)
		}
	}
	return m, nil
}

// weights gathers the weights of morph targets.
func weights(list []scene.Morph) gltfio.Weights {
	w := gltfio.Weights{}
	for _, m := range list {
		w[m.Target] = m.Weight
	}
	return w
}

// primitives returns the parts of the node of that name. NAME/2 is the second largest island of node NAME.
func primitives(a *asset.Asset, name string) []asset.Node {
	var out []asset.Node
	for _, n := range a.Nodes {
		if n.Name == name {
			out = append(out, n)
		} else if rest, ok := strings.CutPrefix(n.Name, name+"#"); ok {
			if _, err := strconv.Atoi(rest); err == nil {
				out = append(out, n)
			}
		}
	}
	i := strings.LastIndexByte(name, '/')
	if len(out) > 0 || i < 0 {
		return out
	}
	k, err := strconv.Atoi(name[i+1:])
	whole := primitives(a, name[:i])
	if err != nil || k < 1 || len(whole) == 0 {
		return nil
	}
	m := merge(whole)
	islands := mesh.Islands(mesh.Weld(m, 1e-6*m.Bounds().Size().MaxAbs()), 0)
	if k > len(islands) {
		return nil
	}
	return []asset.Node{{Name: name, Mesh: islands[k-1], Material: whole[0].Material}}
}

// nodeNames lists the nodes of a file for a message, at most twelve.
func nodeNames(a *asset.Asset) string {
	var q []string
	for i, n := range a.Nodes {
		if i == 12 {
			q = append(q, fmt.Sprintf("and %d more", len(a.Nodes)-i))
			break
		}
		q = append(q, strconv.Quote(n.Name))
	}
	return strings.Join(q, ", ")
}

// merge returns one mesh of all parts, which it copies.
func merge(nodes []asset.Node) *mesh.Mesh {
	m := &mesh.Mesh{}
	uv := true
	for i := range nodes {
		q := nodes[i].Mesh
		base := uint32(len(m.P))
		m.P = append(m.P, q.P...)
		m.N = append(m.N, q.N...)
		m.UV = append(m.UV, q.UV...)
		uv = uv && q.UV != nil
		for _, t := range q.Tri {
			m.Tri = append(m.Tri, [3]uint32{base + t[0], base + t[1], base + t[2]})
		}
	}
	if !uv {
		m.UV = nil
	}
	return m
}

// assetShells takes both shells from the file, in the frame of the eye, with their tissue colour.
func (p *preparer) assetShells(d *scene.Eye, m *making) (*shells, error) {
	m.opens(string(d.Asset.File))
	a, err := meshio.ReadMorphed(string(d.Asset.File), d.Asset.Unit, weights(d.Asset.Morph))
	if err != nil {
		return nil, err
	}
	s := &shells{}
	for _, n := range a.Notes {
		s.notes = append(s.notes, fmt.Sprintf("%s: %s", d.Asset.File, n))
	}
	outer, inner := primitives(a, d.Asset.Outer), primitives(a, d.Asset.Inner)
	var missing []string
	if len(outer) == 0 && d.Asset.Outer != "" {
		missing = append(missing, fmt.Sprintf("the outer shell %q", d.Asset.Outer))
	}
	if len(inner) == 0 && d.Asset.Inner != "" {
		missing = append(missing, fmt.Sprintf("the inner shell %q", d.Asset.Inner))
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("asset: %s lacks %s; it has %s", d.Asset.File, strings.Join(missing, " and "), nodeNames(a))
	}
	if d.Asset.Outer == d.Asset.Inner {
		return nil, fmt.Errorf("asset: outer and inner are both %q; an eye needs two shells", d.Asset.Outer)
	}
	turn, err := axisFrame(d.Asset.Axis)
	if err != nil {
		return nil, err
	}
	var look [2]asset.Material
	for i, q := range []struct {
		what  string
		nodes []asset.Node
		to    **mesh.Mesh
	}{{"outer", outer, &s.outer}, {"inner", inner, &s.inner}} {
		if len(q.nodes) == 0 {
			continue
		}
		look[i] = q.nodes[0].Material
		if *q.to, err = s.shell(q.what, merge(q.nodes), d.Asset, turn); err != nil {
			return nil, err
		}
	}
	s.centre()
	var q pupil.Pupil
	if s.inner != nil {
		q = s.pupil(d)
		if want := d.Iris.Pupil; want > 0 {
			if err := q.Warp(s.inner, want, d.Limbus.Radius-d.Limbus.Width/2); err != nil {
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
	for _, q := range []struct {
		key string
		m   *mesh.Mesh
		on  bool
	}{
		{"cornea.normal", s.outer, d.Cornea.Normal != nil}, {"iris.normal", s.inner, d.Iris.Normal != nil},
		{"iris.colour", s.inner, d.Iris.Colour.File != ""}, {"sclera.colour", s.inner, d.Sclera.Colour.File != ""},
	} {
		if q.on && q.m.UV == nil {
			return nil, fmt.Errorf("%s: %s has no texture coordinates to lay it on", q.key, d.Asset.File)
		}
	}
	if err := p.judge(s, d); err != nil {
		return nil, err
	}
	s.own = ownTissue(look[0], look[1])
	s.own.outerNormal, s.own.innerNormal = normalOf(look[0], s.outer), normalOf(look[1], s.inner)
	return s, nil
}

// pupil looks at the pupil of the inner shell.
func (s *shells) pupil(d *scene.Eye) pupil.Pupil {
	return pupil.Find(s.inner, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, d.Limbus.Radius)
}

// axisFrame returns the turn that takes axis to +Z and keeps +Y up as far as it can.
func axisFrame(axis geom.Vec) (geom.Affine, error) {
	l := axis.MaxAbs()
	if !axis.Finite() || l < 1e-12 {
		return geom.Affine{}, fmt.Errorf("asset.axis: [%g, %g, %g] is no direction", axis.X, axis.Y, axis.Z)
	}
	z := axis.Mul(1 / l).Unit()
	x := geom.Vec{Y: 1}.Cross(z)
	if x.Len2() < 1e-12 {
		x = geom.Vec{X: 1}
	}
	x = x.Unit()
	return geom.Affine{M: [3]geom.Vec{x, z.Cross(x), z}}, nil
}

// shell scales, turns, welds, subdivides and closes one shell. Loop's rules draw a surface in; it is stretched back about its
// middle so that both poles stay where they were.
func (s *shells) shell(what string, m *mesh.Mesh, a *scene.Asset, turn geom.Affine) (*mesh.Mesh, error) {
	for i := range m.P {
		m.P[i] = turn.Vector(m.P[i].Mul(a.Factor))
		m.N[i] = turn.Vector(m.N[i])
		if !m.P[i].Finite() || m.P[i].MaxAbs() > 1e9 {
			return nil, fmt.Errorf("asset: the %s shell reaches %g mm after factor %g; at most 1e9 mm", what, m.P[i].MaxAbs(), a.Factor)
		}
	}
	box := m.Bounds()
	if !(box.Size().Z > 0) {
		return nil, fmt.Errorf("asset: the %s shell has no extent along the axis", what)
	}
	m = mesh.Weld(m, 1e-6*box.Size().MaxAbs())
	open, odd := mesh.Closed(m)
	switch {
	case odd > 0 && what == "inner":
		return nil, fmt.Errorf("asset: the inner shell (%s) can't be closed: %d edges do not join two triangles of one winding (and %d are open); scattering needs a closed volume",
			a.Inner, odd, open)
	case odd > 0:
		s.notes = append(s.notes, fmt.Sprintf("the outer shell (%s) is not closed: %d edges are open and %d do not join two triangles of one winding", a.Outer, open, odd))
	case m.Volume() < 0:
		s.notes = append(s.notes, fmt.Sprintf("the %s shell was inside out; its triangles are turned", what))
		for i := range m.Tri {
			m.Tri[i][1], m.Tri[i][2] = m.Tri[i][2], m.Tri[i][1]
		}
		mesh.Normals(m)
	}
	levels, coarse := mesh.LevelsFor(m, crease, a.FacetError, 4, 1<<20)
	if a.Subdivide != nil {
		levels = *a.Subdivide
	}
	if levels > 0 {
		source := m
		m, err := mesh.Subdivide(m, levels)
		if err != nil {
			return nil, fmt.Errorf("asset.subdivide: %s shell: %w", what, err)
		}
		now := m.Bounds()
		k := box.Size().Z / now.Size().Z
		from, to := now.Centre(), box.Centre()
		for i := range m.P {
			m.P[i] = m.P[i].Sub(from).Mul(k).Add(to)
		}
		most, mean := deviation(source, m)
		s.notes = append(s.notes, fmt.Sprintf("the %s shell's smooth surface runs %.2g mm from the file's vertices in the mean, %.2g mm at most", what, mean, most))
		s.notes = append(s.notes, fmt.Sprintf("the %s shell's facets lie up to %.3g mm from a smooth surface; %d levels of subdivision make it %.2g mm", what, coarse, levels, mesh.FacetError(m, crease)))
		return s.shut(what, m)
	}
	return s.shut(what, m)
}

// deviation returns how far the vertices of the source lie from the surface made of it, at most and in the mean, along
// their normals.
func deviation(source, made *mesh.Mesh) (most, mean float64) {
	h, err := accel.Build(made.P, made.Tri, accel.Options{})
	if err != nil {
		return
	}
	sc := accel.NewScratch()
	far := made.Bounds().Size().MaxAbs()
	step, n := max(1, len(source.P)/5000), 0.0
	for i := 0; i < len(source.P); i += step {
		q, near := source.P[i], far
		for _, d := range []geom.Vec{source.N[i], source.N[i].Neg()} {
			var hit accel.Hit
			if h.Closest(sc, q.Mad(-1e-6*far, d), d, 0, near, &hit) {
				near = min(near, math.Abs(hit.T-1e-6*far))
			}
		}
		if near < far {
			most, mean, n = max(most, near), mean+near, n+1
		}
	}
	return most, mean / max(1, n)
}

// crease is the turn (rad) from which an edge between facets is meant to be sharp.
const crease = math.Pi / 3

// shut closes the holes of a shell with caps that absorb: a pupil that is the rim of a sheet, a back that is missing.
func (s *shells) shut(what string, m *mesh.Mesh) (*mesh.Mesh, error) {
	out, holes, err := mesh.Close(m)
	switch {
	case err != nil && what == "inner":
		return nil, fmt.Errorf("asset: the inner shell can't be closed: %w", err)
	case err != nil:
		return m, nil // its edges are in the notes
	case holes > 0:
		s.notes = append(s.notes, fmt.Sprintf("the %s shell is open at %d rims; caps that absorb close them", what, holes))
	}
	if what == "inner" && math.Abs(out.Volume()) < 1e-9*math.Pow(out.Bounds().Size().Len(), 3) {
		return nil, fmt.Errorf("asset: the inner shell encloses no volume, with caps over its %d holes; scattering needs an object", holes)
	}
	if holes > 0 && out.Volume() < 0 {
		s.notes = append(s.notes, fmt.Sprintf("the %s shell was inside out; its triangles are turned", what))
		for i := range out.Tri {
			out.Tri[i][1], out.Tri[i][2] = out.Tri[i][2], out.Tri[i][1]
		}
		mesh.Normals(out)
	}
	return out, nil
}

// centre moves both shells so that the optical axis is x = y = 0 and the back pole lies one radius behind the origin,
// and notes the sizes. The axis passes through the middle of the corneal cap: the front 6 % of the axial length.
func (s *shells) centre() {
	lead := s.outer
	if lead == nil {
		lead = s.inner
	}
	box := lead.Bounds()
	size := box.Size()
	length, radius := size.Z, (size.X+size.Y)/4
	var sum geom.Vec
	var area float64
	for _, t := range lead.Tri {
		a, b, c := lead.P[t[0]], lead.P[t[1]], lead.P[t[2]]
		if a.Z+b.Z+c.Z < 3*(box.Hi.Z-0.06*length) {
			continue
		}
		w := b.Sub(a).Cross(c.Sub(a)).Len()
		sum = sum.Mad(w/3, a.Add(b).Add(c))
		area += w
	}
	o := box.Centre()
	if area > 0 {
		o = sum.Mul(1 / area)
	}
	o.Z = box.Lo.Z + radius
	for _, m := range []*mesh.Mesh{s.outer, s.inner} {
		if m == nil {
			continue
		}
		for i := range m.P {
			m.P[i] = m.P[i].Sub(o)
		}
	}
	s.notes = append(s.notes, fmt.Sprintf("the asset's eye is %.4g mm long and %.4g mm wide; moved by (%.3g, %.3g, %.3g) mm, so that its globe of radius %.4g mm has its centre in the origin",
		length, size.X, -o.X, -o.Y, -o.Z, radius))
	if length < asset.ShortEye || length > asset.LongEye {
		s.notes = append(s.notes, fmt.Sprintf("the axial length of %.4g mm is outside %d to %d mm: %s", length, asset.ShortEye, asset.LongEye, unitGuess(length)))
	}
}

// unitGuess names the mistake of units that would explain an axial length in mm.
func unitGuess(length float64) string {
	for _, q := range []struct {
		k    float64
		what string
	}{{1e-3, "millimetres stored as metres"}, {1e-2, "centimetres stored as metres"}, {1e-3 * 25.4, "inches stored as metres"},
		{0.1, "a factor of ten too much"}, {10, "a factor of ten too little"}, {1e3, "metres taken for millimetres"}} {
		if l := length * q.k; l >= asset.ShortEye && l <= asset.LongEye {
			return fmt.Sprintf("probably %s; asset.factor %g times as large would give %.3g mm", q.what, q.k, l)
		}
	}
	return fmt.Sprintf("asset.factor %.3g times as large would give 24 mm", 24/length)
}

// displaceShells applies the height maps of cornea and iris.
func (p *preparer) displaceShells(s *shells, d *scene.Eye, m *making) error {
	for _, q := range []struct {
		key  string
		m    *mesh.Mesh
		spec *scene.HeightMap
	}{{"cornea.height", s.outer, d.Cornea.Height}, {"iris.height", s.inner, d.Iris.Height}} {
		if q.spec == nil || q.spec.Scale == 0 {
			continue
		}
		h, err := m.read(q.spec.File, q.spec.Tiling, imageio.As{Channel: q.spec.Channel})
		if err != nil {
			return fmt.Errorf("%s: %w", q.key, err)
		}
		s.notes = append(s.notes, tileNotes(q.key, q.m, &h)...)
		if err := displace(q.m, h, q.spec.ZeroLevel, q.spec.Scale); err != nil {
			return fmt.Errorf("%s: %w", q.key, err)
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

// judge marks what of the inner shell faces its own cavity, notes where it pierces the outer shell, and lays the rest
// of it close beneath the outer shell outside the limbus.
func (p *preparer) judge(s *shells, d *scene.Eye) error {
	outer, err := accel.Build(s.outer.P, s.outer.Tri, accel.Options{Workers: p.o.workers()})
	if err != nil {
		return fmt.Errorf("outer shell: %w", err)
	}
	inner, err := accel.Build(s.inner.P, s.inner.Tri, accel.Options{Workers: p.o.workers()})
	if err != nil {
		return fmt.Errorf("inner shell: %w", err)
	}
	if out, of := pierced(s.outer, outer, s.inner); out > 0 {
		s.notes = append(s.notes, fmt.Sprintf("the inner shell pokes through the outer shell at %d of %d vertices looked at: light is lost or wrong there", out, of))
	}
	caps := s.inner.Part
	s.inner.Part = cavity(s.inner, inner, outer, p.o.workers())
	for i, q := range caps {
		if q == mesh.Backing {
			s.inner.Part[i] = q
		}
	}
	s.outer.Part = nil
	if !d.Asset.CloseGap {
		return nil
	}
	gap := max(filmGap, sagitta(s.outer), sagitta(s.inner))
	if moved, most := snug(s.inner, outer, d.Limbus, gap); moved > 0 {
		s.notes = append(s.notes, fmt.Sprintf("outside the limbus the inner shell now lies %.2g mm beneath the outer shell, as tissue under a tear film does: %d vertices moved by up to %.3g mm",
			gap, moved, most))
	}
	return nil
}

// filmGap is the least distance in mm between the shells of an asset outside the limbus: our own choice.
const filmGap = 0.03

// sagitta returns how far the flat triangles of a globe can lie beneath its surface, from the longest edge e:
// e^2/(8 R) along an edge, at most twice that in the middle of a triangle.
func sagitta(m *mesh.Mesh) float64 {
	var e2 float64
	for _, t := range m.Tri {
		for k := range 3 {
			e2 = max(e2, m.P[t[k]].Sub(m.P[t[(k+1)%3]]).Len2())
		}
	}
	s := m.Bounds().Size()
	return e2 / (4 * (s.X + s.Y) / 4)
}

// snug moves the outward-facing vertices of the inner shell away from the globe's centre until they lie gap mm
// beneath the outer shell: fully outside the limbus, by the zone weight within its blend, not at all in the iris.
// There the outer shell is a thin coat on the tissue, and a gap would show as a clear rim about the eye. Gaps of more
// than a quarter of the distance from the centre are left: such a shell is not a globe there. It returns how many
// vertices moved, and the farthest move.
func snug(m *mesh.Mesh, outer *accel.BVH, l scene.Limbus, gap float64) (moved int, most float64) {
	hold := make(map[geom.Vec]bool) // positions with a triangle that faces the cavity; seams hold together
	for i, t := range m.Tri {
		if m.Part[i] == mesh.Backing {
			hold[m.P[t[0]]], hold[m.P[t[1]]], hold[m.P[t[2]]] = true, true, true
		}
	}
	sc := accel.NewScratch()
	for i, q := range m.P {
		w := 1 - zoneWeight(l, q)
		r := q.Len()
		if w == 0 || r == 0 || hold[q] {
			continue
		}
		var h accel.Hit
		dir := q.Mul(1 / r)
		if !outer.Closest(sc, q, dir, 0, r/4, &h) || h.T <= gap {
			continue
		}
		move := w * (h.T - gap)
		m.P[i] = q.Mad(move, dir)
		moved++
		most = max(most, move)
	}
	mesh.Normals(m)
	return
}

// zoneWeight is 1 in the iris zone and 0 in the sclera's, as the renderer blends them.
func zoneWeight(l scene.Limbus, q geom.Vec) float64 {
	e := frozen.Eye{LimbusRadius: l.Radius, LimbusWidth: l.Width}
	return e.TissueZone(q)
}

// pierced counts the vertices of in that lie outside the closed mesh m, of at most some 4000 looked at.
func pierced(m *mesh.Mesh, b *accel.BVH, in *mesh.Mesh) (out, of int) {
	sc := accel.NewScratch()
	step := max(1, len(in.P)/4000)
	// Any direction will do; this one runs along no symmetry of a mesh.
	d := geom.Vec{X: 0.4361, Y: 0.7127, Z: 0.5493}.Unit()
	for i := 0; i < len(in.P); i += step {
		of++
		var h accel.Hit
		if !b.Closest(sc, in.P[i], d, 0, math.Inf(1), &h) {
			out++
			continue
		}
		t := m.Tri[h.Prim]
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		if n.Dot(d) < 0 {
			out++
		}
	}
	return
}

// cavity returns the part of each triangle of the inner shell: one whose rays outward mostly meet the inner shell
// again before the outer faces a cavity and absorbs, as the choroid and the back of the iris do.
func cavity(m *mesh.Mesh, inner, outer *accel.BVH, workers int) []mesh.Part {
	const rays = 16
	var fan [rays]geom.Vec
	for i := range fan {
		fan[i] = geom.CosineHemisphere((float64(i)+0.5)/rays, math.Mod((float64(i)+0.5)*0.6180339887498949, 1))
	}
	part := make([]mesh.Part, len(m.Tri))
	eps := 1e-5 * m.Bounds().Size().MaxAbs()
	const block = 256
	parallel.With((len(m.Tri)+block-1)/block, workers, accel.NewScratch, func(sc *accel.Scratch, y int) {
		for i := y * block; i < min(len(m.Tri), (y+1)*block); i++ {
			t := m.Tri[i]
			a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
			n := b.Sub(a).Cross(c.Sub(a))
			if n.Len2() == 0 {
				continue
			}
			f := geom.NewFrame(n.Unit())
			o := geom.Mix(a, b, c, 1.0/3, 1.0/3).Mad(eps, f.N)
			again := 0
			for _, v := range fan {
				var hi, ho accel.Hit
				d := f.World(v)
				if inner.Closest(sc, o, d, 0, math.Inf(1), &hi) && !(outer.Closest(sc, o, d, 0, math.Inf(1), &ho) && ho.T < hi.T) {
					again++
				}
			}
			if 2*again > rays {
				part[i] = mesh.Backing
			}
		}
	})
	return part
}

// assetTissue is the colour that an asset brings: maps of iris and white, and what multiplies both.
type assetTissue struct {
	iris, white texture.Map
	tint        colour.RGB
	picture     bool // the file brings a picture

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

// ownTissue takes the inner shell's picture, then the plain colours of the file (of the inner shell for the iris, of an
// opaque outer shell for the sclera), then quiet ones of our own.
func ownTissue(out, in asset.Material) assetTissue {
	t := assetTissue{iris: texture.Constant(plainIris), white: texture.Constant(plainWhite), tint: colour.Grey(1)}
	if in.Name != "" {
		t.iris = texture.Constant(in.BaseColour)
	}
	if out.Name != "" && out.Transmission == 0 {
		t.white = texture.Constant(out.BaseColour)
	}
	if in.BaseMap != nil {
		t.iris = texture.FromImage(in.BaseMap, in.Wrap)
		t.white, t.tint, t.picture = t.iris, in.BaseColour, true
	}
	return t
}

// meet returns what a ray from outside toward the globe's centre meets first of an imported inner shell: its texture
// coordinates and zone weight. Within the pupil it is the pupil's margin.
func (s *shells) meet(d *scene.Eye) func(geom.Vec) (geom.UV, float64) {
	bvh, limbus := s.innerBVH, d.Limbus
	m := s.inner
	far := 2 * (m.Bounds().Size().Len() + m.Bounds().Centre().Len())
	pool := sync.Pool{New: func() any { return accel.NewScratch() }}
	return func(v geom.Vec) (geom.UV, float64) {
		sc := pool.Get().(*accel.Scratch)
		defer pool.Put(sc)
		var h accel.Hit
		met := false
		for i := 0; i < 64; i++ {
			if met = bvh.Closest(sc, v.Mul(far), v.Neg(), 0, far, &h); met && (m.Part == nil || m.Part[h.Prim] == mesh.Tissue) {
				break
			}
			if v.Z <= 0.3 {
				break
			}
			// Outward from the axis, until there is tissue.
			if v.X == 0 && v.Y == 0 {
				v.X = 0.01
			}
			r := math.Hypot(v.X, v.Y)
			v = geom.Vec{X: v.X * (1 + 0.01/r), Y: v.Y * (1 + 0.01/r), Z: v.Z}.Unit()
		}
		var uv geom.UV
		q := v.Mul(far)
		if met {
			t := m.Tri[h.Prim]
			q = geom.Mix(m.P[t[0]], m.P[t[1]], m.P[t[2]], h.U, h.V)
			if m.UV != nil {
				a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
				w := 1 - h.U - h.V
				uv = geom.UV{U: w*a.U + h.U*b.U + h.V*c.U, V: w*a.V + h.U*b.V + h.V*c.V}
			}
		}
		return uv, zoneWeight(limbus, q)
	}
}
