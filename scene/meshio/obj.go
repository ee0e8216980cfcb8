package meshio

import (
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// maxRefs is the most corners of all faces of an .obj together.
const maxRefs = 1 << 25

// ref is a corner of a face: places in the lists of positions, texture coordinates and normals from 0, -1 for none.
type ref struct{ v, t, n int32 }

// face is a polygon of an .obj.
type face struct {
	first, count int32 // of refs
	line         int32
	smooth       int32 // smoothing group, 0: faceted
}

// part is what one object, group and material show.
type part struct {
	object, group, material string
	faces                   []face
}

// objReader collects an .obj.
type objReader struct {
	*reader
	l         lines
	p, n      []geom.Vec
	uv        []geom.UV
	colour    []colour.RGB // of the positions, where they have any
	refs      []ref
	parts     []*part
	byKey     map[[3]string]*part
	now       [3]string // object, group, material
	smooth    int32
	smoothing bool // there is a smoothing statement
	triangles int
	libraries []string
	materials map[string]*look
	unread    map[string]bool // first words of lines that are not read
	last      *part           // of the face before, where now is as it was
	lastKey   [3]string
}

// obj reads a Wavefront file: objects, groups and materials make parts. A part is called by its object, or by
// object/group where an object has several groups, or by its group where there are no objects.
func (r *reader) obj(text string) {
	o := &objReader{reader: r, l: lines{text: text}, byKey: map[[3]string]*part{}, materials: map[string]*look{}, unread: map[string]bool{}}
	if !o.l.skipMark() {
		r.bad("1", "the text encoding is UTF-16; it must be UTF-8")
		return
	}
	for !r.full() {
		line, ok := o.l.next()
		if !ok {
			break
		}
		o.statement(line)
	}
	for _, name := range o.libraries {
		o.library(name)
	}
	o.check()
	if len(r.problems) == 0 {
		o.build()
	}
}

// statement reads one line.
func (o *objReader) statement(line string) {
	if i := strings.IndexByte(line, '#'); i >= 0 {
		if c := line[i:]; o.hint == "" && len(c) < 200 && strings.Contains(strings.ToLower(c), "unit") {
			o.hint = strings.TrimSpace(c)
		}
		line = line[:i]
	}
	key, rest := field(line)
	switch key {
	case "":
	case "v":
		o.position(rest)
	case "vn":
		var x [3]float64
		o.vector(key, rest, x[:], 3)
		o.n = append(o.n, geom.Vec{X: x[0], Y: x[1], Z: x[2]})
	case "vt":
		var x [3]float64
		o.vector(key, rest, x[:], 1)
		o.uv = append(o.uv, geom.UV{U: x[0], V: 1 - x[1]})
	case "f", "fo":
		o.face(rest)
	case "o":
		o.now[0], o.now[1] = strings.TrimSpace(rest), ""
	case "g":
		o.now[1] = strings.TrimSpace(rest)
	case "usemtl":
		o.now[2] = strings.TrimSpace(rest)
	case "s":
		o.smoothing = true
		w, _ := field(rest)
		if w == "off" {
			w = "0"
		}
		g, err := strconv.ParseInt(w, 10, 32)
		if err != nil || g < 0 {
			o.bad(o.l.where(), "s %.40q: a smoothing group is off or a whole number", w)
			return
		}
		o.smooth = int32(g)
	case "mtllib":
		if name := strings.TrimSpace(rest); name != "" && len(o.libraries) < 64 {
			o.libraries = append(o.libraries, name)
		}
	default:
		if !o.unread[key] && len(o.unread) < 32 {
			o.unread[key] = true
			o.note("line %s: %.40q is not read", o.l.where(), key)
		}
	}
}

// vector reads at least need numbers of a line into x, and returns how many. A mistaken line still counts as one, so
// that later numbers mean what they meant.
func (o *objReader) vector(key, rest string, x []float64, need int) int {
	n, bad := numbers(rest, x)
	switch {
	case bad != "":
		o.bad(o.l.where(), "%s: %.40q is no finite number", key, bad)
	case n < need:
		o.bad(o.l.where(), "%s has %d numbers, wants %d", key, n, need)
	}
	return n
}

// position reads a vertex: three numbers, a weight that means nothing for polygons, or a colour behind.
func (o *objReader) position(rest string) {
	var x [7]float64
	n := o.vector("v", rest, x[:], 3)
	if len(o.p) == MaxVertices {
		o.bad(o.l.where(), "more than %d vertices", MaxVertices)
		o.more = math.MaxInt32 // nothing more to learn
		return
	}
	o.p = append(o.p, geom.Vec{X: x[0], Y: x[1], Z: x[2]})
	if n >= 6 {
		o.note("vertex colours are read, for what is baked from them; what is rendered does not have them")
		o.colour = append(o.colour, plyColour(x[n-3:n], 1))
	}
}

// index reads one number of a corner: from 1, or back from the last of the list. An empty one is none.
func (o *objReader) index(w string, have int) (i int32, ok bool) {
	if w == "" {
		return -1, true
	}
	n, err := strconv.ParseInt(w, 10, 64)
	if n < 0 {
		n += int64(have) + 1
	}
	if err != nil || n < 1 {
		return 0, false
	}
	return int32(min(n-1, math.MaxInt32)), true
}

func (o *objReader) face(rest string) {
	f := face{first: int32(len(o.refs)), line: int32(o.l.n), smooth: o.smooth}
	for {
		var w string
		if w, rest = field(rest); w == "" {
			break
		}
		a, tail, _ := strings.Cut(w, "/")
		b, c, _ := strings.Cut(tail, "/")
		v, ok1 := o.index(a, len(o.p))
		t, ok2 := o.index(b, len(o.uv))
		n, ok3 := o.index(c, len(o.n))
		if !ok1 || !ok2 || !ok3 || a == "" {
			o.bad(o.l.where(), "f: %.40q is no corner: it wants v, v/vt, v//vn or v/vt/vn, whole numbers from 1 or back from -1", w)
			o.refs = o.refs[:f.first]
			return
		}
		q := ref{v, t, n}
		if last := len(o.refs) - 1; last >= int(f.first) && o.refs[last].v == v {
			o.note("line %s: a face names a vertex twice in a row; once counts", o.l.where())
			continue
		}
		o.refs = append(o.refs, q)
	}
	if last := len(o.refs) - 1; last > int(f.first) && o.refs[last].v == o.refs[f.first].v {
		o.refs = o.refs[:last]
	}
	f.count = int32(len(o.refs)) - f.first
	o.triangles += int(f.count) - 2
	switch {
	case f.count < 3:
		o.note("line %s: a face of %d vertices is left out", o.l.where(), f.count)
		o.triangles -= int(f.count) - 2
		o.refs = o.refs[:f.first]
		return
	case f.count > maxCorners:
		o.bad(o.l.where(), "f has %d corners, at most %d are read", f.count, maxCorners)
		o.refs = o.refs[:f.first]
		return
	case o.triangles > MaxTriangles || len(o.refs) > maxRefs:
		o.bad(o.l.where(), "more than %d triangles", MaxTriangles)
		o.more = math.MaxInt32
		return
	}
	if o.last != nil && o.lastKey == o.now {
		o.last.faces = append(o.last.faces, f)
		return
	}
	p := o.byKey[o.now]
	if p == nil {
		if len(o.parts) == MaxParts {
			o.bad(o.l.where(), "more than %d objects, groups and materials", MaxParts)
			o.more = math.MaxInt32
			return
		}
		p = &part{object: o.now[0], group: o.now[1], material: o.now[2]}
		o.byKey[o.now] = p
		o.parts = append(o.parts, p)
	}
	p.faces = append(p.faces, f)
	o.last, o.lastKey = p, o.now
}

// check finds corners that name what the file does not have.
func (o *objReader) check() {
	for _, p := range o.parts {
		for _, f := range p.faces {
			for _, q := range o.refs[f.first : f.first+f.count] {
				for _, c := range []struct {
					what string
					i    int32
					have int
				}{{"vertex", q.v, len(o.p)}, {"texture coordinate", q.t, len(o.uv)}, {"normal", q.n, len(o.n)}} {
					if int(c.i) >= c.have {
						o.bad(strconv.Itoa(int(f.line)), "f refers to %s %d, the file has %d", c.what, int64(c.i)+1, c.have)
					}
				}
			}
		}
	}
}

// names returns what each part is called.
func (o *objReader) names() []string {
	groups := map[string]map[string]bool{}
	objects := false
	for _, p := range o.parts {
		if groups[p.object] == nil {
			groups[p.object] = map[string]bool{}
		}
		groups[p.object][p.group] = true
		objects = objects || p.object != ""
	}
	count := map[string]int{}
	out := make([]string, len(o.parts))
	for i, p := range o.parts {
		name := p.object
		switch {
		case !objects:
			name = p.group
		case len(groups[p.object]) > 1 && p.group != "":
			name = strings.TrimPrefix(p.object+"/"+p.group, "/")
		}
		if name == "" {
			base := filepath.Base(o.path)
			name = strings.TrimSuffix(base, filepath.Ext(base))
		}
		if count[name]++; count[name] > 1 {
			name += "#" + strconv.Itoa(count[name])
		}
		out[i] = name
	}
	return out
}

// build makes a node of each part.
func (o *objReader) build() {
	names := o.names()
	if !o.smoothing && len(o.parts) > 0 && len(o.n) == 0 {
		o.note("the file has neither normals nor smoothing groups; its surfaces are taken as smooth")
	}
	for i, p := range o.parts {
		look := o.materials[p.material]
		if p.material != "" && look == nil {
			o.note("%s: the material %q is in no material library that was read", names[i], p.material)
		}
		m, tint := o.mesh(p, names[i], look)
		o.asset.Nodes = append(o.asset.Nodes, asset.Node{Name: names[i], Mesh: m, Material: look.material(), Colour: tint})
	}
}

// corner is what makes a vertex of a mesh.
type corner struct {
	ref
	smooth int32 // smoothing group, or minus the number of the face where it is faceted
}

// crease is a vertex within a smoothing group; creases sums the normals about each, weighted by the angles.
type (
	crease  struct{ v, smooth int32 }
	creases map[crease]geom.Vec
)

// add counts a triangle of a polygon with corners at.
func (s creases) add(at []geom.Vec, refs []ref, t [3]int, smooth int32) {
	for i := range 3 {
		a, b, c := at[t[i]], at[t[(i+1)%3]], at[t[(i+2)%3]]
		u, v := b.Sub(a), c.Sub(a)
		x := u.Cross(v)
		if l := x.Len(); l > 0 {
			key := crease{refs[t[i]].v, smooth}
			s[key] = s[key].Mad(math.Atan2(l, u.Dot(v))/l, x)
		}
	}
}

// mesh makes the triangles of a part. Texture coordinates and normals are kept where every corner has them; missing
// normals follow the smoothing groups. Colours are those of the vertices, nil where not all have one.
func (o *objReader) mesh(p *part, name string, look *look) (*mesh.Mesh, []colour.RGB) {
	noUV, noN := o.lacking(p, name)
	groups := noN > 0 && o.smoothing
	m := &mesh.Mesh{}
	coloured := len(o.colour) == len(o.p)
	var tint []colour.RGB
	seen := make(map[corner]uint32)
	var sum creases
	var of []crease // of each vertex
	if groups {
		sum = creases{}
	}
	var at []geom.Vec
	var ids []uint32
	var cut [][3]int
	for k, f := range p.faces {
		at, ids = at[:0], ids[:0]
		smooth := f.smooth
		if smooth == 0 {
			smooth = -int32(k) - 1
		}
		refs := o.refs[f.first : f.first+f.count]
		for _, q := range refs {
			c := corner{ref: q}
			if noUV > 0 {
				c.t = -1
			}
			if noN > 0 {
				c.n = -1
			}
			if groups {
				c.smooth = smooth
			}
			id, ok := seen[c]
			if !ok {
				id = uint32(len(m.P))
				seen[c] = id
				m.P = append(m.P, o.p[c.v])
				if coloured {
					tint = append(tint, o.colour[c.v])
				}
				if noUV == 0 {
					m.UV = append(m.UV, look.move(o.uv[c.t]))
				}
				if noN == 0 {
					m.N = append(m.N, o.n[c.n].Unit())
				}
				if groups {
					of = append(of, crease{c.v, smooth})
				}
			}
			at, ids = append(at, o.p[q.v]), append(ids, id)
		}
		cut = polygon(at, cut[:0], &o.budget)
		for _, t := range cut {
			m.Tri = append(m.Tri, [3]uint32{ids[t[0]], ids[t[1]], ids[t[2]]})
			if groups {
				sum.add(at, refs, t, smooth)
			}
		}
	}
	if o.budget <= 0 {
		o.note("%s: polygons with many corners are cut without care for their shape", name)
	}
	if groups {
		m.N = make([]geom.Vec, len(m.P))
		for i, c := range of {
			m.N[i] = geom.Vec{Z: 1}
			if n := sum[c]; n.Len2() > 0 {
				m.N[i] = n.Unit()
			}
		}
	}
	return m, tint
}

// lacking counts the corners of a part without texture coordinates and those without a normal, and notes them.
func (o *objReader) lacking(p *part, name string) (noUV, noN int) {
	for _, f := range p.faces {
		for _, q := range o.refs[f.first : f.first+f.count] {
			if q.t < 0 {
				noUV++
			}
			if q.n < 0 {
				noN++
			}
			if q.n >= 0 && !(o.n[q.n].Len2() > 1e-20) {
				noN++
			}
		}
	}
	corners := 0
	for _, f := range p.faces {
		corners += int(f.count)
	}
	switch {
	case noUV == corners:
		o.note("%s: no texture coordinates", name)
	case noUV > 0:
		o.note("%s: %d of %d corners have no texture coordinates; none are read", name, noUV, corners)
	}
	if noN > 0 && noN < corners {
		o.note("%s: %d of %d corners have no normal; all are made anew", name, noN, corners)
	}
	return noUV, noN
}
