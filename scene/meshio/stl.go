package meshio

import (
	"encoding/binary"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// The layout of a binary .stl: a header of 80 bytes, the count, then 50 bytes a triangle.
const (
	stlHeader = 84
	stlFacet  = 50
)

// stl reads an .stl, binary or ASCII; a solid is a node. The file tells by its length: one that is as long as the count
// in a binary header says is binary, whatever its first word. Vertices in one place become one, and normals are new and
// smooth.
func (r *reader) stl(text string) {
	base := filepath.Base(r.path)
	name := strings.TrimSuffix(base, filepath.Ext(base))
	start := strings.TrimLeft(text[:min(len(text), 256)], " \t\r\n\xef\xbb\xbf")
	solid := len(start) >= 5 && strings.EqualFold(start[:5], "solid")
	stated := int64(-1)
	if len(text) >= stlHeader {
		stated = stlHeader + stlFacet*int64(binary.LittleEndian.Uint32([]byte(text[80:84])))
	}
	switch {
	case stated == int64(len(text)):
	case solid && (strings.Contains(strings.ToLower(text[:min(len(text), 4096)]), "facet") || strings.Contains(strings.ToLower(text[:min(len(text), 4096)]), "endsolid")):
		r.stlText(text, name)
		return
	case strings.HasPrefix(text, "\xff\xfe"), strings.HasPrefix(text, "\xfe\xff"):
		r.bad("1", "the text encoding is UTF-16; it must be ASCII")
		return
	case stated < 0:
		r.bad(fmt.Sprintf("byte %d", len(text)), "the file ends within its header of %d bytes, and it does not start with \"solid\"", stlHeader)
		return
	case stated > int64(len(text)):
		r.bad("byte 80", "the header counts %d triangles, which take %d bytes; the file has %d", (stated-stlHeader)/stlFacet, stated, len(text))
		return
	default:
		r.note("%d bytes after the last triangle are not read", int64(len(text))-stated)
	}
	count := int((stated - stlHeader) / stlFacet)
	if count > MaxTriangles {
		r.bad("byte 80", "%d triangles, at most %d are read", count, MaxTriangles)
		return
	}
	s := &stlSolid{name: name}
	for i := range count {
		at := stlHeader + stlFacet*i
		var x [12]float64
		for k := range x {
			b := text[at+4*k : at+4*k+4]
			x[k] = float64(math.Float32frombits(uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16 | uint32(b[3])<<24))
		}
		for k := 3; k < 12; k++ {
			if !(math.Abs(x[k]) <= 1e30) {
				r.bad(fmt.Sprintf("byte %d", at), "triangle %d has a corner that is not finite", i)
				break
			}
		}
		s.add(x)
	}
	r.solid(s)
}

// stlSolid collects the triangles of a solid.
type stlSolid struct {
	name string
	p    []geom.Vec // three a triangle
	n    []geom.Vec // as stated, one a triangle
}

// add takes a normal and three corners.
func (s *stlSolid) add(x [12]float64) {
	s.n = append(s.n, geom.Vec{X: x[0], Y: x[1], Z: x[2]})
	s.p = append(s.p, geom.Vec{X: x[3], Y: x[4], Z: x[5]}, geom.Vec{X: x[6], Y: x[7], Z: x[8]}, geom.Vec{X: x[9], Y: x[10], Z: x[11]})
}

// solid makes a node of a solid. Where nearly all stated normals point against the winding, the winding is turned.
func (r *reader) solid(s *stlSolid) {
	if len(s.p) == 0 || len(r.problems) > 0 {
		return
	}
	m := &mesh.Mesh{P: s.p, Tri: make([][3]uint32, len(s.n))}
	area, against := 0.0, 0.0
	for i, n := range s.n {
		v := uint32(3 * i)
		m.Tri[i] = [3]uint32{v, v + 1, v + 2}
		f := s.p[v+1].Sub(s.p[v]).Cross(s.p[v+2].Sub(s.p[v]))
		if d := f.Dot(n); d != 0 && n.Finite() {
			area += f.Len()
			if d < 0 {
				against += f.Len()
			}
		}
	}
	if against > 0.9*area && area > 0 {
		r.note("%s: the triangles wind clockwise, against their normals; they are turned", s.name)
		m.TurnOver()
	}
	m = mesh.Weld(m, 0)
	r.note("%s: no texture coordinates", s.name)
	r.asset.Nodes = append(r.asset.Nodes, asset.Node{Name: s.name, Mesh: m, Material: plain("").Material})
}

// stlText reads the ASCII form.
//
// Long: one case a keyword of the format.
func (r *reader) stlText(text, fallback string) {
	l := lines{text: text}
	var s *stlSolid
	var x [12]float64
	corners, total := -1, 0
	names := map[string]int{}
	done := func() {
		if s != nil {
			r.solid(s)
		}
		s = nil
	}
	for !r.full() {
		line, ok := l.one()
		l.n = l.read
		if !ok {
			break
		}
		key, rest := field(strings.TrimPrefix(line, "\xef\xbb\xbf"))
		switch strings.ToLower(key) {
		case "":
		case "solid":
			if s != nil {
				r.note("line %s: a solid starts before the last one has ended", l.where())
			}
			done()
			name := strings.TrimSpace(rest)
			if name == "" {
				name = fallback
			}
			if names[name]++; names[name] > 1 {
				name += "#" + strconv.Itoa(names[name])
			}
			if len(names) > MaxParts || len(r.asset.Nodes) > MaxParts {
				r.bad(l.where(), "more than %d solids", MaxParts)
				return
			}
			s = &stlSolid{name: name}
		case "facet":
			x = [12]float64{}
			word, tail := field(rest)
			n, bad := numbers(tail, x[:3])
			if !strings.EqualFold(word, "normal") || bad != "" && !infinite(bad) || bad == "" && n < 3 {
				r.bad(l.where(), "a facet wants normal and 3 numbers")
			}
			if s == nil {
				r.bad(l.where(), "a facet outside a solid")
				s = &stlSolid{name: fallback}
			}
			corners = 0
		case "vertex":
			if corners < 0 || corners > 2 {
				r.bad(l.where(), "a vertex that is none of the three of a facet")
				continue
			}
			if n, bad := numbers(rest, x[3+3*corners:6+3*corners]); bad != "" || n < 3 {
				r.bad(l.where(), "a vertex wants 3 finite numbers, has %.60q", strings.TrimSpace(rest))
			}
			corners++
		case "endfacet":
			if corners != 3 {
				r.bad(l.where(), "a facet of %d vertices, must be 3", max(0, corners))
			} else if total++; total > MaxTriangles {
				r.bad(l.where(), "more than %d triangles", MaxTriangles)
				return
			} else {
				s.add(x)
			}
			corners = -1
		case "outer", "endloop":
		case "endsolid":
			if corners >= 0 {
				r.bad(l.where(), "the solid ends within a facet")
				corners = -1
			}
			done()
		default:
			r.bad(l.where(), "%.40q is no word of the format", key)
		}
	}
	if s != nil {
		if corners >= 0 {
			r.bad(l.where(), "the file ends within a facet")
		} else {
			r.note("line %s: the file ends without endsolid", l.where())
		}
		done()
	}
}

// infinite reports whether a word stands for no finite number: some writers give flat triangles such a normal.
func infinite(w string) bool {
	v, err := strconv.ParseFloat(w, 64)
	return err == nil && (math.IsNaN(v) || math.IsInf(v, 0))
}
