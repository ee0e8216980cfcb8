package gltfio

import (
	"fmt"

	"github.com/qmuntal/gltf"
)

// countAll adds up what all nodes of the scene show together, from the counts that the file states, and refuses what is
// more than is read before any of it is decoded: a small file may show one mesh thousands of times. Mistakes in the file are
// passed over here; they are told where they are read.
func (r *reader) countAll() error {
	shown := map[int]int{} // times that each mesh is shown
	var meshes []int       // in the order of the tree
	for _, i := range r.order {
		m := r.doc.Nodes[i].Mesh
		if m == nil || *m < 0 || *m >= len(r.doc.Meshes) {
			continue
		}
		if r.doc.Nodes[i].Skin == nil && r.world[i].Det() == 0 {
			continue // left out
		}
		if shown[*m]++; shown[*m] == 1 {
			meshes = append(meshes, *m)
		}
	}
	var triangles, values, vertices, most int64
	worst := 0 // the mesh of most triangles
	for _, i := range meshes {
		n := int64(shown[i])
		var t, v int64
		for _, p := range r.doc.Meshes[i].Primitives {
			a, b, c := r.counts(p)
			t, v, values = t+a, v+b, values+n*c
		}
		triangles, vertices = triangles+n*t, vertices+n*v
		if n*t > most {
			most, worst = n*t, i
		}
	}
	about := ""
	if n := shown[worst]; n > 1 {
		about = fmt.Sprintf("; meshes[%d] is shown %d times", worst, n)
	}
	switch {
	case triangles > MaxTriangles:
		return r.bad("%d triangles in all nodes together, at most %d are read%s", triangles, MaxTriangles, about)
	case values > maxValues:
		return r.bad("%d values in all nodes together, at most %d are read%s", values, maxValues, about)
	case vertices <= MaxVertices:
		return nil
	}
	// An accessor may hold more vertices than its triangles use: those count.
	vertices = 0
	for _, i := range meshes {
		for _, p := range r.doc.Meshes[i].Primitives {
			vertices += int64(shown[i]) * r.used(p)
		}
	}
	if vertices > MaxVertices {
		return r.bad("%d vertices in all nodes together, at most %d are read%s", vertices, MaxVertices, about)
	}
	return nil
}

// counts returns the triangles of a primitive, the most vertices that it can have, and the values to decode for it.
func (r *reader) counts(p *gltf.Primitive) (triangles, vertices, values int64) {
	if p.Mode != gltf.PrimitiveTriangles && p.Mode != gltf.PrimitiveTriangleStrip && p.Mode != gltf.PrimitiveTriangleFan {
		return 0, 0, 0
	}
	count := func(i int) int64 {
		if i < 0 || i >= len(r.doc.Accessors) || r.doc.Accessors[i].Count < 0 || r.doc.Accessors[i].Count > maxValues {
			return 0
		}
		return int64(r.doc.Accessors[i].Count)
	}
	if i, ok := p.Attributes[gltf.POSITION]; ok {
		vertices = count(i)
		values = 3 * vertices
	}
	if i, ok := p.Attributes[gltf.NORMAL]; ok {
		values += 3 * count(i)
	}
	corners := vertices
	if p.Indices != nil {
		corners = count(*p.Indices)
		values += corners
	}
	vertices = min(vertices, corners)
	if triangles = max(corners-2, 0); p.Mode == gltf.PrimitiveTriangles {
		triangles = corners / 3
	}
	return triangles, vertices, values
}

// used returns how many vertices a primitive's triangles use, 0 where it has a mistake.
func (r *reader) used(p *gltf.Primitive) int64 {
	_, most, _ := r.counts(p)
	i, ok := p.Attributes[gltf.POSITION]
	if p.Indices == nil || !ok || most == 0 {
		return most
	}
	defer func(values int) { r.values = values }(r.values)
	index, err := r.indices(*p.Indices)
	if err != nil {
		return 0
	}
	seen := make([]bool, r.doc.Accessors[i].Count)
	n := int64(0)
	for _, v := range index {
		if int64(v) < int64(len(seen)) && !seen[v] {
			seen[v] = true
			n++
		}
	}
	return n
}
