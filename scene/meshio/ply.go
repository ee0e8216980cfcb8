package meshio

import (
	"encoding/binary"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// plyType is a type of number.
type plyType uint8

const (
	int8Type plyType = iota
	uint8Type
	int16Type
	uint16Type
	int32Type
	uint32Type
	float32Type
	float64Type
)

var plySize = [...]int{1, 1, 2, 2, 4, 4, 4, 8}

var plyTypes = map[string]plyType{"char": int8Type, "int8": int8Type, "uchar": uint8Type, "uint8": uint8Type,
	"short": int16Type, "int16": int16Type, "ushort": uint16Type, "uint16": uint16Type, "int": int32Type, "int32": int32Type,
	"uint": uint32Type, "uint32": uint32Type, "float": float32Type, "float32": float32Type, "double": float64Type, "float64": float64Type}

type plyProperty struct {
	name        string
	typ, length plyType // length: of the count of a list
	list        bool
}

type plyElement struct {
	name       string
	count      int
	properties []plyProperty
	line       int
}

// plyReader reads numbers in one of the three codings.
type plyReader struct {
	*reader
	text  string
	at    int // byte of the object that is next
	line  int // of at, in ASCII
	ascii bool
	order binary.ByteOrder

	m        *mesh.Mesh
	colour   []colour.RGB // of the vertices, where they have any
	faces    [][3]uint32
	corner   []geom.UV // texture coordinates of the corners of faces, where faces carry them
	hasUV    bool
	polygons int
}

func (p *plyReader) where() string {
	if p.ascii {
		return strconv.Itoa(p.line)
	}
	return fmt.Sprintf("byte %d", p.at)
}

// ply reads a .ply: vertices with normals and texture coordinates (s t, u v, texture_u texture_v), faces as lists,
// with texture coordinates of their corners where there is a list of them, or triangle strips.
func (r *reader) ply(text string) {
	p := &plyReader{reader: r, text: text, m: &mesh.Mesh{}}
	elements, ok := p.header()
	if !ok {
		return
	}
	for i := range elements {
		if !p.element(&elements[i]) {
			return
		}
	}
	if p.ascii {
		for w := p.word(); w != ""; w = p.word() {
			r.note("line %d: what follows the last element is not read", p.line)
			break
		}
	} else if p.at < len(text) {
		r.note("byte %d: %d bytes after the last element are not read", p.at, len(text)-p.at)
	}
	p.finish()
}

// header reads up to end_header.
//
// Long: one case a keyword of the header.
func (p *plyReader) header() (out []plyElement, ok bool) {
	r, l := p.reader, lines{text: p.text}
	if first, _ := l.one(); strings.TrimSpace(first) != "ply" {
		r.bad("1", "the first line is %.20q, must be \"ply\"", first)
		return nil, false
	}
	format := false
	sound := true
	fail := func(f string, args ...any) {
		r.bad(strconv.Itoa(l.read), f, args...)
		sound = false
	}
	for {
		line, more := l.one()
		if !more || l.read > 4096 {
			fail("the header does not end in its first 4096 lines (end_header)")
			return nil, false
		}
		w := strings.Fields(line)
		if len(w) == 0 {
			continue
		}
		switch w[0] {
		case "comment", "obj_info":
			if low := strings.ToLower(line); p.hint == "" && len(line) < 200 && strings.Contains(low, "unit") {
				p.hint = line
			}
		case "format":
			if len(w) < 2 {
				fail("format: wants ascii, binary_little_endian or binary_big_endian")
				continue
			}
			format = true
			switch w[1] {
			case "ascii":
				p.ascii = true
			case "binary_little_endian":
				p.order = binary.LittleEndian
			case "binary_big_endian":
				p.order = binary.BigEndian
			default:
				fail("format %.40q is none of ascii, binary_little_endian, binary_big_endian", w[1])
			}
		case "element":
			var n int64 = -1
			var err error
			if len(w) == 3 {
				n, err = strconv.ParseInt(w[2], 10, 64)
			}
			if err != nil || n < 0 {
				fail("element: wants a name and a count")
				continue
			}
			if n > int64(len(p.text)) {
				fail("element %.40s: %d of them, the file has %d bytes in all", w[1], n, len(p.text))
				n = 0
			}
			if len(out) < 256 {
				out = append(out, plyElement{name: w[1], count: int(n), line: l.read})
			}
		case "property":
			if len(out) == 0 {
				fail("a property before any element")
				continue
			}
			e := &out[len(out)-1]
			var q plyProperty
			var known [2]bool
			if len(w) == 5 && w[1] == "list" {
				q.list, q.name = true, w[4]
				q.length, known[0] = plyTypes[w[2]]
				q.typ, known[1] = plyTypes[w[3]]
				known[0] = known[0] && q.length < float32Type
			} else if len(w) == 3 {
				q.name, known[0] = w[2], true
				q.typ, known[1] = plyTypes[w[1]]
			}
			if known != [2]bool{true, true} {
				fail("property: wants a type and a name, or list, two types (the first of whole numbers) and a name")
				continue
			}
			if len(e.properties) < 256 {
				e.properties = append(e.properties, q)
			}
		case "end_header":
			p.at, p.line = l.at, l.read+1
			if !format {
				fail("the header states no format")
			}
			for _, e := range out {
				if len(e.properties) == 0 && e.count > 0 {
					r.bad(strconv.Itoa(e.line), "element %.40s has no properties", e.name)
					sound = false
				}
				if e.name == "vertex" && e.count > MaxVertices {
					r.bad(strconv.Itoa(e.line), "%d vertices, at most %d are read", e.count, MaxVertices)
					sound = false
				}
			}
			return out, sound
		default:
			r.note("line %d: %.40q is not read", l.read, w[0])
		}
	}
}

// word returns the next word of an ASCII object, "" at its end.
func (p *plyReader) word() string {
	for p.at < len(p.text) && p.text[p.at] <= ' ' {
		if p.text[p.at] == '\n' {
			p.line++
		}
		p.at++
	}
	from := p.at
	for p.at < len(p.text) && p.text[p.at] > ' ' {
		p.at++
	}
	return p.text[from:p.at]
}

// number reads one number; it is not ok where the file ends or holds none, which is reported.
func (p *plyReader) number(t plyType) (v float64, ok bool) {
	if p.ascii {
		w := p.word()
		if w == "" {
			p.bad(p.where(), "the file ends within its elements")
			return 0, false
		}
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			p.bad(p.where(), "%.40q is no number", w)
			return 0, false
		}
		return v, true
	}
	n := plySize[t]
	if len(p.text)-p.at < n {
		p.bad(p.where(), "the file ends within its elements")
		return 0, false
	}
	var b [8]byte
	copy(b[:], p.text[p.at:p.at+n])
	p.at += n
	switch t {
	case int8Type:
		return float64(int8(b[0])), true
	case uint8Type:
		return float64(b[0]), true
	case int16Type:
		return float64(int16(p.order.Uint16(b[:2]))), true
	case uint16Type:
		return float64(p.order.Uint16(b[:2])), true
	case int32Type:
		return float64(int32(p.order.Uint32(b[:4]))), true
	case uint32Type:
		return float64(p.order.Uint32(b[:4])), true
	case float32Type:
		return float64(math.Float32frombits(p.order.Uint32(b[:4]))), true
	}
	return math.Float64frombits(p.order.Uint64(b[:])), true
}

// The places of what is read of a vertex.
const (
	plyX = iota
	plyY
	plyZ
	plyNX
	plyNY
	plyNZ
	plyU
	plyV
	plyRed
	plyGreen
	plyBlue
	plyKept
)

var plyVertex = map[string]int{"x": plyX, "y": plyY, "z": plyZ, "nx": plyNX, "ny": plyNY, "nz": plyNZ,
	"red": plyRed, "green": plyGreen, "blue": plyBlue, "diffuse_red": plyRed, "diffuse_green": plyGreen, "diffuse_blue": plyBlue,
	"u": plyU, "v": plyV, "s": plyU, "t": plyV, "texture_u": plyU, "texture_v": plyV, "texture_s": plyU, "texture_t": plyV}

// element reads all of one element; false where reading can't go on.
//
// Long: the row is read in one pass, with the columns, lists and place in the file at hand.
func (p *plyReader) element(e *plyElement) bool {
	line := strconv.Itoa(e.line)
	to := make([]int, len(e.properties)) // where each property goes, -1 nowhere
	var given [plyKept]bool
	var top float64 // of the numbers of a colour; 0: they are linear
	var index, coords, strips = -1, -1, -1
	for i, q := range e.properties {
		to[i] = -1
		k, known := plyVertex[q.name]
		switch {
		case e.name == "vertex" && known && !q.list:
			to[i], given[k] = k, true
			if k == plyRed {
				top = map[plyType]float64{uint8Type: 255, uint16Type: 65535}[q.typ]
			}
		case e.name == "face" && q.list && (q.name == "vertex_indices" || q.name == "vertex_index"):
			index = i
		case e.name == "face" && q.list && q.name == "texcoord":
			coords = i
		case e.name == "tristrips" && q.list && (q.name == "vertex_indices" || q.name == "vertex_index"):
			strips = i
		}
	}
	switch {
	case e.name == "vertex" && !(given[plyX] && given[plyY] && given[plyZ]):
		p.bad(line, "element vertex lacks x, y or z")
		return false
	case e.name == "face" && index < 0:
		p.bad(line, "element face has no list vertex_indices")
		return false
	}
	tinted := given[plyRed] && given[plyGreen] && given[plyBlue]
	if !tinted && (given[plyRed] || given[plyGreen] || given[plyBlue]) {
		p.note("vertex colours are not read: red, green and blue are not all there")
	}
	normals := given[plyNX] && given[plyNY] && given[plyNZ]
	uv := given[plyU] && given[plyV]
	var list, texcoord []float64
	for range e.count {
		if p.full() {
			return false
		}
		start, startLine := p.at, p.line
		var x [plyKept]float64
		list, texcoord = list[:0], texcoord[:0]
		for i, q := range e.properties {
			if !q.list {
				v, ok := p.number(q.typ)
				if !ok {
					return false
				}
				if k := to[i]; k >= 0 {
					x[k] = v
				}
				continue
			}
			v, ok := p.number(q.length)
			if !ok {
				return false
			}
			left := len(p.text) - p.at
			if !p.ascii {
				left /= plySize[q.typ]
			}
			if v != math.Trunc(v) || v < 0 || v > float64(left) {
				p.bad(p.where(), "a list of %g values, the file has %d bytes left", v, len(p.text)-p.at)
				return false
			}
			for range int(v) {
				v, ok := p.number(q.typ)
				if !ok {
					return false
				}
				switch {
				case i == index || i == strips:
					list = append(list, v)
				case i == coords:
					texcoord = append(texcoord, v)
				}
			}
		}
		at := fmt.Sprintf("byte %d", start)
		if p.ascii {
			at = strconv.Itoa(startLine)
			if p.text[start] == '\n' || p.text[start] == '\r' {
				at = strconv.Itoa(startLine + 1)
			}
		}
		switch e.name {
		case "vertex":
			p.vertex(at, &x, normals, uv)
			if tinted {
				p.colour = append(p.colour, plyColour(x[plyRed:plyKept], top))
			}
		case "face":
			p.face(at, list, texcoord)
		case "tristrips":
			p.strip(at, list)
		}
	}
	return true
}

// vertex keeps a vertex; at is its place in the file.
func (p *plyReader) vertex(at string, x *[plyKept]float64, normals, uv bool) {
	q := geom.Vec{X: x[plyX], Y: x[plyY], Z: x[plyZ]}
	if !q.Finite() || q.MaxAbs() > 1e30 {
		p.bad(at, "a vertex at (%g, %g, %g) is not finite", q.X, q.Y, q.Z)
	}
	p.m.P = append(p.m.P, q)
	if normals {
		p.m.N = append(p.m.N, geom.Vec{X: x[plyNX], Y: x[plyNY], Z: x[plyNZ]})
	}
	if uv {
		if !(math.Abs(x[plyU])+math.Abs(x[plyV]) < 1e30) {
			p.bad(at, "a texture coordinate is not finite")
		}
		p.m.UV = append(p.m.UV, geom.UV{U: x[plyU], V: 1 - x[plyV]})
	}
}

// plyColour is a vertex's colour, linear. Whole numbers are coded as sRGB, others are linear (common practice, no published source).
func plyColour(x []float64, top float64) (c colour.RGB) {
	for i, v := range x {
		if top > 0 {
			v = colour.DecodeSRGB(v / top)
		}
		if c[i] = v; !(v >= 0 && v <= 1e6) {
			c[i] = 0
		}
	}
	return c
}

// corners turns the numbers of a list into vertex numbers; the vertices must come first in the file.
func (p *plyReader) corners(at string, list []float64, ids []uint32) ([]uint32, bool) {
	for _, v := range list {
		if !(v >= 0 && v < float64(len(p.m.P)) && v == math.Trunc(v)) {
			p.bad(at, "a face uses vertex %g, the file has %d before it", v, len(p.m.P))
			return nil, false
		}
		ids = append(ids, uint32(v))
	}
	return ids, true
}

// face adds one polygon.
func (p *plyReader) face(at string, list, texcoord []float64) {
	if len(list) > maxCorners {
		p.bad(at, "a face of %d corners, at most %d are read", len(list), maxCorners)
		return
	}
	var few [8]uint32
	ids, ok := p.corners(at, list, few[:0])
	if !ok {
		return
	}
	if len(ids) < 3 {
		p.note("a face of %d vertices is left out", len(ids))
		return
	}
	var room [8]geom.Vec
	q := room[:0]
	for _, v := range ids {
		q = append(q, p.m.P[v])
	}
	var cutRoom [8][3]int
	p.hasUV = (p.polygons == 0 || p.hasUV) && len(texcoord) == 2*len(list)
	p.polygons++
	for _, t := range polygon(q, cutRoom[:0], &p.budget) {
		if !p.triangle(at, [3]uint32{ids[t[0]], ids[t[1]], ids[t[2]]}) {
			return
		}
		if p.hasUV {
			for _, k := range t {
				p.corner = append(p.corner, geom.UV{U: texcoord[2*k], V: 1 - texcoord[2*k+1]})
			}
		}
	}
}

// strip adds triangle strips; a negative number starts the next one.
func (p *plyReader) strip(at string, list []float64) {
	p.hasUV = false
	p.polygons++
	for from := 0; from < len(list); {
		to := from
		for to < len(list) && list[to] >= 0 {
			to++
		}
		ids, ok := p.corners(at, list[from:to], nil)
		if !ok {
			return
		}
		for i := 0; i+2 < len(ids); i++ {
			t := [3]uint32{ids[i], ids[i+1+i%2], ids[i+2-i%2]}
			if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] && !p.triangle(at, t) {
				return
			}
		}
		from = to + 1
	}
}

func (p *plyReader) triangle(at string, t [3]uint32) bool {
	if len(p.faces) == MaxTriangles {
		p.bad(at, "more than %d triangles", MaxTriangles)
		p.more = math.MaxInt32
		return false
	}
	p.faces = append(p.faces, t)
	return true
}

// finish makes the one node of the file.
func (p *plyReader) finish() {
	if len(p.problems) > 0 || len(p.faces) == 0 {
		return
	}
	base := filepath.Base(p.path)
	name := strings.TrimSuffix(base, filepath.Ext(base))
	m := p.m
	m.Tri = p.faces
	for _, n := range m.N {
		if !n.Finite() || !(n.Len2() > 1e-20) {
			p.note("%s: there are normals without direction; all are made anew", name)
			m.N = nil
			break
		}
	}
	for i, n := range m.N {
		m.N[i] = n.Unit()
	}
	coloured := len(p.colour) == len(m.P) && len(p.colour) > 0
	if coloured {
		p.note("%s: vertex colours are read, for what is baked from them; what is rendered does not have them", name)
	}
	var tint []colour.RGB
	if p.hasUV && len(p.corner) == 3*len(m.Tri) && m.UV == nil {
		// Texture coordinates of corners: a vertex for each corner, welded after.
		out := &mesh.Mesh{}
		for i, t := range m.Tri {
			for k, v := range t {
				out.P = append(out.P, m.P[v])
				if coloured {
					tint = append(tint, p.colour[v])
				}
				if m.N != nil {
					out.N = append(out.N, m.N[v])
				}
				uv := p.corner[3*i+k]
				if !(math.Abs(uv.U)+math.Abs(uv.V) < 1e30) {
					p.bad("", "face %d: a texture coordinate is not finite", i)
					return
				}
				out.UV = append(out.UV, uv)
			}
			n := uint32(3 * i)
			out.Tri = append(out.Tri, [3]uint32{n, n + 1, n + 2})
		}
		m, p.colour = out, tint
	}
	if m.UV == nil {
		p.note("%s: no texture coordinates", name)
	}
	// Unused vertices go; those in one place with one texture coordinate are one.
	node := asset.Node{Name: name, Mesh: m, Material: plain("").Material}
	if coloured {
		node.Mesh, node.Colour = used(m, p.colour) // colours of one place may differ, so nothing is joined
	} else {
		node.Mesh = mesh.Weld(m, 0)
	}
	p.asset.Nodes = append(p.asset.Nodes, node)
}

// used leaves out the vertices, with their colours, that no triangle has.
func used(m *mesh.Mesh, c []colour.RGB) (*mesh.Mesh, []colour.RGB) {
	to := make([]uint32, len(m.P)) // and one more
	out := &mesh.Mesh{Tri: m.Tri}
	var tint []colour.RGB
	for i, t := range m.Tri {
		for k, v := range t {
			if to[v] == 0 {
				out.P, tint = append(out.P, m.P[v]), append(tint, c[v])
				if m.N != nil {
					out.N = append(out.N, m.N[v])
				}
				if m.UV != nil {
					out.UV = append(out.UV, m.UV[v])
				}
				to[v] = uint32(len(out.P))
			}
			m.Tri[i][k] = to[v] - 1
		}
	}
	return out, tint
}
