package inspect

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/adopt"
	"catchlight/scene/asset"
	"catchlight/scene/measure"
	"catchlight/scene/meshio"
	"catchlight/scene/texture"
)

// Source says which eye of which file is looked at, and what the asker knows of it. What is empty is found out.
type Source struct {
	Asset        string
	Folder       string // of its maps
	Side         string // left or right, of a pair
	Unit         string // of a file without one
	Factor       float64
	Outer, Inner string // names of the shells
	Known        measure.Known
	Names        adopt.Names
}

// Read reads an eye from a file of meshes: its shells are those that adopt.Propose finds, unless they are named.
func Read(q Source) (*Subject, error) {
	in, err := adopt.Read(q.Asset, q.Folder, q.Side, q.Names)
	if err != nil {
		return nil, err
	}
	in.Unit = q.Unit
	var all asset.Asset
	for i := range in.Parts {
		all.Nodes = append(all.Nodes, asset.Node{Name: in.Parts[i].Name, Mesh: in.Parts[i].Mesh})
	}
	told := Told{MM: 1, Known: q.Known}
	if q.Factor > 0 {
		told.MM = q.Factor
	}
	guess, unit := "", 1.0
	var p *adopt.Proposal
	if q.Outer == "" && q.Inner == "" {
		if p, err = adopt.Propose(in); err != nil {
			return nil, fmt.Errorf("%s: %w", q.Asset, err)
		}
		q.Outer, q.Inner = p.Outer, p.Inner
		if in.Grown != nil && told.Known.Limbus == 0 {
			told.Known.Limbus = p.Globe.Limbus / max(p.Scale, 1e-12) // as its report says
		}
		if !in.Metres {
			unit, _ = asset.Unit(p.Unit)
			if q.Unit == "" {
				guess = p.Unit
			}
		}
	} else if mm, ok := asset.Unit(q.Unit); ok {
		unit = mm
	}
	told.MM *= unit
	taken := map[string]bool{}
	part := func(name string) *Part {
		nodes := all.Named(name)
		if name == "" || len(nodes) == 0 {
			return nil
		}
		base, _, _ := strings.Cut(name, "/")
		taken[base], taken[name] = true, true
		return &Part{Name: name, Mesh: asset.Merge(nodes)}
	}
	outer, inner := part(q.Outer), part(q.Inner)
	for _, n := range []string{q.Outer, q.Inner} {
		if n != "" && !taken[n] {
			return nil, fmt.Errorf("%s: there is no node %q; there are %s", q.Asset, n, all.NodeNames())
		}
	}
	var others []*Part
	for i := range in.Parts {
		if n := in.Parts[i].Name; !taken[n] {
			others = append(others, &Part{Name: n, Role: RoleOf(n), Mesh: in.Parts[i].Mesh})
		}
	}
	s, err := NewSubject(filepath.Base(q.Asset), outer, inner, others, told)
	if err != nil {
		return nil, err
	}
	s.File, s.Notes, s.Guess, s.Unit = q.Asset, in.Notes, guess, unit
	s.InMetres = in.Metres
	if p != nil {
		s.Maps = mapsOf(p)
		s.Scene = func(dir string) string { return p.Scene(in, dir) }
	}
	if p != nil {
		s.Side = p.Side
	}
	s.ownMaps(in.Parts, q.Outer, q.Inner)
	return s, nil
}

// mapsOf are the pictures that a proposal lays on an eye.
func mapsOf(p *adopt.Proposal) (list []Map) {
	for _, m := range p.Maps {
		role := Inner
		if m.Shell == "outer" || strings.HasPrefix(m.Slot, "cornea.") {
			role = Outer
		}
		if strings.Contains(m.File, "{tile}") {
			role = Other // its first tile alone: it is not laid on the shell
		}
		list = append(list, Map{Key: m.Slot, File: m.First, Role: role, Colour: strings.HasSuffix(m.Slot, ".colour"), GreenDown: m.GreenDown, Mid: m.Mid, MM: m.Scale})
	}
	return list
}

// ownMaps adds the pictures that the shells' materials bring, where no file of a folder fills their place.
func (s *Subject) ownMaps(parts []adopt.Part, outer, inner string) {
	for i := range parts {
		n, look := parts[i].Name, &parts[i].Look
		role, of := Other, ""
		switch {
		case n == outer || strings.HasPrefix(n, outer+"/") && outer != "":
			role, of = Outer, "cornea."
		case n == inner || strings.HasPrefix(n, inner+"/") && inner != "":
			role, of = Inner, "iris."
		default:
			continue
		}
		for _, k := range []struct {
			kind   string
			im     *texture.Image
			linear bool
		}{{"colour", look.BaseMap, true}, {"normal", look.NormalMap, false}, {"roughness", look.RoughMap, false}} {
			there := func(m Map) bool { return m.Role == role && m.kind() == k.kind }
			if k.im != nil && !slices.ContainsFunc(s.Maps, there) {
				s.Maps = append(s.Maps, Map{Key: of + k.kind, File: k.kind + " of material " + look.Name, Role: role, Colour: k.linear, Held: k.im, HeldLinear: k.linear, Whole: true})
			}
		}
	}
}

// LayMaps lays the maps of a scene on the eye; pictures that its file of meshes brings stay where the scene has none.
func (s *Subject) LayMaps(list []Map) {
	for _, m := range s.Maps {
		if m.Held != nil && !slices.ContainsFunc(list, func(o Map) bool { return o.Role == m.Role && o.kind() == m.kind() }) {
			list = append(list, m)
		}
	}
	s.Maps = list
}

// ReadMesh reads a file as one mesh, for a pair of a high and a low one. unit is that of a format without one.
func ReadMesh(path, unit string) (*Part, []string, error) {
	a, err := meshio.ReadIn(path, unit)
	if err != nil {
		return nil, nil, err
	}
	return &Part{Name: filepath.Base(path), Mesh: asset.Merge(a.Nodes)}, a.Notes, nil
}
