package asset

import (
	"fmt"
	"strconv"
	"strings"

	"catchlight/scene/mesh"
)

// Named returns the parts of the node of that name. NAME#1 is the first part of several alone, and NAME/2 the second largest
// island of node NAME.
func (a *Asset) Named(name string) []Node {
	var out []Node
	if first, ok := strings.CutSuffix(name, "#1"); ok {
		for _, n := range a.Nodes {
			if n.Name == name {
				return []Node{n}
			}
			if n.Name == first && out == nil {
				out = []Node{n}
			}
		}
		if out != nil {
			return out
		}
	}
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
	whole := a.Named(name[:i])
	if err != nil || k < 1 || len(whole) == 0 {
		return nil
	}
	m := Merge(whole)
	islands := mesh.Islands(mesh.Weld(m, 1e-6*m.Bounds().Size().MaxAbs()), 0)
	if k > len(islands) {
		return nil
	}
	return []Node{{Name: name, Mesh: islands[k-1], Material: whole[0].Material}}
}

// NodeNames lists the nodes of a file for a message, at most twelve.
func (a *Asset) NodeNames() string {
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

// Merge returns one mesh of all parts, which it copies.
func Merge(nodes []Node) *mesh.Mesh {
	m := &mesh.Mesh{}
	uv := true
	for i := range nodes {
		m.Append(nodes[i].Mesh)
		uv = uv && nodes[i].Mesh.UV != nil
	}
	if !uv {
		m.UV = nil
	}
	return m
}
