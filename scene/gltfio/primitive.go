package gltfio

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"

	"github.com/qmuntal/gltf"
)

// instance is how a node shows a primitive.
type instance struct {
	name    string
	set     uvSet         // of the texture coordinates to take
	world   geom.Affine   // the node's coordinates to ours; without meaning for a skin
	joints  []geom.Affine // of a skin: bind space to ours
	weights []float64     // one a morph target
}

// mesh adds the primitives of node i's mesh.
func (r *reader) mesh(i int) error {
	n := r.doc.Nodes[i]
	if *n.Mesh < 0 || *n.Mesh >= len(r.doc.Meshes) {
		return r.bad("nodes[%d] (%s) refers to mesh %d, there are %d", i, r.nodeName(i), *n.Mesh, len(r.doc.Meshes))
	}
	at := instance{world: r.world[i]}
	var err error
	if at.weights, err = r.weights(i); err != nil {
		return r.bad("nodes[%d] (%s): %v", i, r.nodeName(i), err)
	}
	if n.Skin != nil {
		if at.joints, err = r.joints(*n.Skin); err != nil {
			return r.bad("nodes[%d] (%s): %v", i, r.nodeName(i), err)
		}
	} else if det := at.world.Det(); det == 0 {
		r.note("%s is "+asset.ScaledToNothing+" (a scale of zero) and left out", r.nodeName(i))
		return nil
	} else if !(math.Abs(det) > 0) || math.IsInf(det, 0) || !at.world.T.Finite() {
		return r.bad("nodes[%d] (%s): its place in the world is not finite", i, r.nodeName(i))
	}
	m := r.doc.Meshes[*n.Mesh]
	shown := 0
	for k, p := range m.Primitives {
		where := fmt.Sprintf("nodes[%d] (%s): meshes[%d].primitives[%d]", i, r.nodeName(i), *n.Mesh, k)
		if p.Mode != gltf.PrimitiveTriangles && p.Mode != gltf.PrimitiveTriangleStrip && p.Mode != gltf.PrimitiveTriangleFan {
			r.note("%s: points and lines are not read", where)
			continue
		}
		if _, ok := p.Attributes[gltf.COLOR_0]; ok {
			r.note("%s: vertex colours are read, for what is baked from them; what is rendered does not have them", r.nodeName(i))
		}
		at.name = r.nodeName(i)
		if shown > 0 {
			at.name = fmt.Sprintf("%s#%d", at.name, shown+1)
		}
		var mat Material
		if mat, at.set, err = r.material(p.Material); err != nil {
			return r.bad("%s: %v", where, err)
		}
		if want, ok := r.sets[r.nodeName(i)]; ok {
			if err := r.choose(p, &at, &mat, want); err != nil {
				return r.bad("%s: %v", where, err)
			}
		}
		out, err := r.primitive(p, &at)
		if err != nil {
			return r.bad("%s: %v", where, err)
		}
		tint, err := r.colours(p, out)
		if err != nil { // a picture has no use for them, so the file is no worse
			r.note("%s: its vertex colours are left out: %v", at.name, err)
		}
		r.asset.Nodes = append(r.asset.Nodes, Node{Name: at.name, Mesh: out, Material: mat, Colour: tint})
		shown++
	}
	return nil
}

// choose lays a primitive out by the set of texture coordinates that was asked for. Maps of its material that use another
// are left out.
func (r *reader) choose(p *gltf.Primitive, in *instance, m *Material, want int) error {
	if _, ok := p.Attributes[fmt.Sprintf("TEXCOORD_%d", want)]; !ok {
		var have []string
		for _, name := range slices.Sorted(maps.Keys(p.Attributes)) {
			if strings.HasPrefix(name, "TEXCOORD_") {
				have = append(have, name)
			}
		}
		return fmt.Errorf("uv_set %d: it has no TEXCOORD_%d, but %s", want, want, cmp.Or(strings.Join(have, ", "), "no texture coordinates at all"))
	}
	set := plainSet(want)
	if set != in.set && (m.BaseMap != nil || m.NormalMap != nil || m.RoughMap != nil) {
		m.BaseMap, m.NormalMap, m.RoughMap = nil, nil, nil
		r.note("material %q: its own maps are left out of %s: they use other texture coordinates than the uv_set %d that was asked for", m.Name, in.name, want)
	}
	in.set = set
	return nil
}

// primitive builds a mesh in world coordinates.
//
// Long: one pass over the vertices moves, counts and checks all that a vertex has.
func (r *reader) primitive(p *gltf.Primitive, in *instance) (*mesh.Mesh, error) {
	name, set := in.name, in.set
	at, ok := p.Attributes[gltf.POSITION]
	if !ok {
		return nil, fmt.Errorf("no POSITION")
	}
	pos, err := r.floats(at, gltf.AccessorVec3)
	if err != nil {
		return nil, fmt.Errorf("POSITION: %w", err)
	}
	count := len(pos) / 3
	if err := r.morph(p, gltf.POSITION, in.weights, pos); err != nil {
		return nil, err
	}
	var bent []geom.Affine
	if in.joints != nil {
		if bent, err = r.skin(p, name, in.joints, count); err != nil {
			return nil, err
		}
	}
	tri, err := r.triangleList(p, count)
	if err != nil {
		return nil, err
	}
	attribute := fmt.Sprintf("TEXCOORD_%d", set.index)
	normal, uv, err := r.normalsAndUV(p, in, attribute, count)
	if err != nil {
		return nil, err
	}
	to, used := usedVertices(tri, count)
	if r.vertices += used; r.vertices > MaxVertices {
		return nil, fmt.Errorf("more than %d vertices in all", MaxVertices)
	}
	m := &mesh.Mesh{P: make([]geom.Vec, used), Tri: tri}
	if normal != nil {
		m.N = make([]geom.Vec, used)
	}
	if uv != nil {
		m.UV = make([]geom.UV, used)
	}
	world := in.world
	inv, handed := world.Inverse(), world.Det()
	if bent != nil {
		handed = 0
	}
	lost, first, badNormals := 0, 0, 0
	for v, id := range to {
		if id == math.MaxUint32 {
			continue
		}
		if bent != nil {
			world = bent[v]
			inv = world.Inverse()
			handed += math.Copysign(1, world.Det())
		}
		q := world.Point(geom.Vec{X: float64(pos[3*v]), Y: float64(pos[3*v+1]), Z: float64(pos[3*v+2])})
		if !q.Finite() {
			if lost == 0 {
				first = v
			}
			lost++
		}
		m.P[id] = q
		if normal != nil {
			n := geom.Vec{X: float64(normal[3*v]), Y: float64(normal[3*v+1]), Z: float64(normal[3*v+2])}
			l := n.Len2()
			m.N[id] = inv.Normal(n).Unit()
			if !(l > 1e-12 && l < 1e12) || !m.N[id].Finite() {
				badNormals++
			}
		}
		if uv != nil {
			m.UV[id] = set.apply(geom.UV{U: float64(uv[2*v]), V: float64(uv[2*v+1])})
			if s := m.UV[id].U + m.UV[id].V; math.IsNaN(s) || math.IsInf(s, 0) {
				return nil, fmt.Errorf("%s: vertex %d is not finite", attribute, v)
			}
		}
	}
	if lost > 0 {
		return nil, fmt.Errorf("POSITION: %d of %d vertices are NaN or infinite, the first is vertex %d", lost, used, first)
	}
	mirrored := handed < 0
	for k, t := range tri {
		tri[k] = [3]uint32{to[t[0]], to[t[1]], to[t[2]]}
		if mirrored {
			tri[k][1], tri[k][2] = tri[k][2], tri[k][1]
		}
	}
	if badNormals > 0 {
		r.note("%s: %d normals have no direction; all are made anew", name, badNormals)
		m.N = nil
	}
	asset.Finish(m, name, r.note)
	return m, nil
}

// normalsAndUV reads the normals of a primitive and its texture coordinates; nil where there are none.
func (r *reader) normalsAndUV(p *gltf.Primitive, in *instance, attribute string, count int) (normal, uv []float32, err error) {
	if at, ok := p.Attributes[gltf.NORMAL]; ok {
		if normal, err = r.floats(at, gltf.AccessorVec3); err == nil && len(normal) != 3*count {
			err = fmt.Errorf("%d values for %d vertices", len(normal)/3, count)
		}
		if err != nil {
			return nil, nil, fmt.Errorf("NORMAL: %w", err)
		}
		if err := r.morph(p, gltf.NORMAL, in.weights, normal); err != nil {
			return nil, nil, err
		}
	}
	if at, ok := p.Attributes[attribute]; ok {
		if uv, err = r.floats(at, gltf.AccessorVec2); err == nil && len(uv) != 2*count {
			err = fmt.Errorf("%d values for %d vertices", len(uv)/2, count)
		}
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", attribute, err)
		}
	} else {
		r.note("%s: no texture coordinates (%s)", in.name, attribute)
	}
	return normal, uv, nil
}

// colours reads the colours of a primitive's vertices, linear, for the mesh that was made of it; nil where there are none. Source: glTF
// 2.0, section 3.7.2.1.
func (r *reader) colours(p *gltf.Primitive, m *mesh.Mesh) ([]colour.RGB, error) {
	at, ok := p.Attributes[gltf.COLOR_0]
	if !ok {
		return nil, nil
	}
	typ := gltf.AccessorVec3
	if at >= 0 && at < len(r.doc.Accessors) && r.doc.Accessors[at].Type == gltf.AccessorVec4 {
		typ = gltf.AccessorVec4
	}
	list, err := r.floats(at, typ)
	if err != nil {
		return nil, fmt.Errorf("COLOR_0: %w", err)
	}
	n := typ.Components()
	before := r.triangles
	tri, err := r.triangleList(p, len(list)/n)
	r.triangles = before
	if err != nil {
		return nil, fmt.Errorf("COLOR_0: %w", err)
	}
	to, used := usedVertices(tri, len(list)/n)
	if used != len(m.P) {
		return nil, fmt.Errorf("COLOR_0: %d values do not fit the positions", len(list)/n)
	}
	out := make([]colour.RGB, used)
	for v, id := range to {
		if id == math.MaxUint32 {
			continue
		}
		for c := range 3 {
			if x := float64(list[n*v+c]); x >= 0 && x <= 1e6 {
				out[id][c] = x
			}
		}
	}
	return out, nil
}

// usedVertices numbers the vertices that triangles use, in the file's order; math.MaxUint32 for others.
func usedVertices(tri [][3]uint32, count int) (to []uint32, used int) {
	to = make([]uint32, count)
	for _, t := range tri {
		to[t[0]], to[t[1]], to[t[2]] = 1, 1, 1
	}
	for v := range to {
		if to[v] == 1 {
			to[v] = uint32(used)
			used++
		} else {
			to[v] = math.MaxUint32
		}
	}
	return to, used
}

// triangleList returns the triangles of a primitive by vertex number of the file, each number below count.
func (r *reader) triangleList(p *gltf.Primitive, count int) ([][3]uint32, error) {
	var index []uint32
	n := count
	if p.Indices != nil {
		var err error
		if index, err = r.indices(*p.Indices); err != nil {
			return nil, fmt.Errorf("indices: %w", err)
		}
		n = len(index)
	}
	triangles := n - 2
	if p.Mode == gltf.PrimitiveTriangles {
		triangles = n / 3
		if n%3 != 0 {
			return nil, fmt.Errorf("%d corners, a list of triangles must have a multiple of 3", n)
		}
	}
	if triangles < 1 {
		return nil, fmt.Errorf("%d corners make no triangle", n)
	}
	if r.triangles += triangles; r.triangles > MaxTriangles {
		return nil, fmt.Errorf("more than %d triangles in all", MaxTriangles)
	}
	tri := make([][3]uint32, triangles)
	for i := range tri {
		var c [3]int
		switch p.Mode {
		case gltf.PrimitiveTriangles:
			c = [3]int{3 * i, 3*i + 1, 3*i + 2}
		case gltf.PrimitiveTriangleStrip: // every other triangle would wind the other way
			c = [3]int{i, i + 1 + i%2, i + 2 - i%2}
		default: // a fan
			c = [3]int{i + 1, i + 2, 0}
		}
		for k, j := range c {
			v := uint32(j)
			if index != nil {
				v = index[j]
			}
			if int64(v) >= int64(count) {
				return nil, fmt.Errorf("triangle %d uses vertex %d of %d", i, v, count)
			}
			tri[i][k] = v
		}
	}
	return tri, nil
}
