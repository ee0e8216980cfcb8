package bake

import (
	"fmt"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// Read reads the parts of a file. unit is that of a format without one; "" is mm.
func Read(path, unit string) (parts []Part, notes []string, err error) {
	a, err := meshio.ReadIn(path, unit)
	if err != nil {
		return nil, nil, err
	}
	for i := range a.Nodes {
		n := &a.Nodes[i]
		parts = append(parts, Part{Name: n.Name, Mesh: n.Mesh, Colour: n.Colour, Look: n.Material})
	}
	return parts, a.Notes, nil
}

// Move moves parts by a turn and a scale and then a shift; turn has no scale of its own.
func Move(parts []Part, at func(p geom.Vec) geom.Vec, turn geom.Affine) []Part {
	out := slices.Clone(parts)
	for i := range out {
		m := *out[i].Mesh
		m.P, m.N = make([]geom.Vec, len(m.P)), make([]geom.Vec, len(m.N))
		for v, p := range out[i].Mesh.P {
			m.P[v] = at(p)
		}
		for v, n := range out[i].Mesh.N {
			m.N[v] = turn.Vector(n)
		}
		out[i].Mesh = &m
	}
	return out
}

// Set is what shares one picture: parts of the low mesh, with what is cast and what darkens.
type Set struct {
	Name     string // "" where there is but one
	Low      []Part
	High     []Part
	Blockers []Part
	Why      string // how high was found
	Notes    []string
}

// Mesh returns the low parts as one mesh.
func (s *Set) Mesh() *mesh.Mesh {
	if len(s.Low) == 1 {
		return s.Low[0].Mesh
	}
	m := &mesh.Mesh{}
	for i := range s.Low {
		m.Append(s.Low[i].Mesh)
	}
	return m
}

// Pairs says by name which high parts belong to a low one, or block it.
type Pairs map[string][]string

// ParsePairs reads LOW=HIGH+HIGH of each word.
func ParsePairs(words []string) (Pairs, error) {
	out := Pairs{}
	for _, w := range words {
		low, high, ok := strings.Cut(w, "=")
		if !ok || low == "" || high == "" {
			return nil, fmt.Errorf("%q: give LOW=HIGH or LOW=HIGH+HIGH, names of parts", w)
		}
		if _, twice := out[low]; twice {
			return nil, fmt.Errorf("%q: %s is given twice", w, low)
		}
		out[low] = strings.Split(high, "+")
	}
	return out, nil
}

// plainName is a part's name without what tells low from high.
func plainName(name string) string {
	name, _, _ = strings.Cut(name, "#")
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9') })
	words = slices.DeleteFunc(words, func(w string) bool {
		return slices.Contains([]string{"low", "high", "lo", "hi", "lp", "hp", "sculpt", "mesh", "geo", "base"}, w)
	})
	return strings.Join(words, " ")
}

// FileName is a name as part of a file's.
func FileName(name string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '-', r == '_':
			return r
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		}
		return '_'
	}, name), "_")
}

// byName finds parts of a list by name; NAME/2 is the second largest island of NAME.
func byName(parts []Part, names []string) ([]Part, error) {
	var out []Part
	for _, n := range names {
		found := false
		for i := range parts {
			if base, _, _ := strings.Cut(parts[i].Name, "#"); parts[i].Name == n || base == n {
				out, found = append(out, parts[i]), true
			}
		}
		if !found {
			var a asset.Asset
			for i := range parts {
				a.Nodes = append(a.Nodes, asset.Node{Name: parts[i].Name, Mesh: parts[i].Mesh, Material: parts[i].Look})
			}
			list := a.Named(n)
			if len(list) == 0 {
				return nil, fmt.Errorf("there is no part %q; there are %s", n, a.NodeNames())
			}
			for _, q := range list {
				out = append(out, Part{Name: q.Name, Mesh: q.Mesh, Look: q.Material})
			}
		}
	}
	return out, nil
}
