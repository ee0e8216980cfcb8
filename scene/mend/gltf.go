package mend

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
)

// document is a glTF file's JSON, of which only what is touched is known; all else stays as it is.
type document map[string]json.RawMessage

// glb mends a binary file: its JSON, and the indices and normals in its own buffer.
func glb(data []byte, c *Changes) ([]byte, []string, error) {
	const head, chunk = 12, 8
	if len(data) < head+chunk || string(data[:4]) != "glTF" {
		return nil, nil, errors.New("is no .glb")
	}
	n := int(binary.LittleEndian.Uint32(data[head:]))
	if n < 0 || n > len(data)-head-chunk {
		return nil, nil, fmt.Errorf("its JSON claims %d bytes of %d", n, len(data))
	}
	text, rest := data[head+chunk:head+chunk+n], data[head+chunk+n:]
	var bin []byte
	if len(rest) >= chunk {
		k := int(binary.LittleEndian.Uint32(rest))
		if k < 0 || k > len(rest)-chunk {
			return nil, nil, fmt.Errorf("its buffer claims %d bytes of %d", k, len(rest))
		}
		rest = bytes.Clone(rest)
		bin = rest[chunk : chunk+k]
	}
	out, did, err := c.apply(text, bin)
	if err != nil {
		return nil, nil, err
	}
	for len(out)%4 != 0 {
		out = append(out, ' ')
	}
	var b bytes.Buffer
	b.Write(data[:8])
	b.Write(binary.LittleEndian.AppendUint32(nil, uint32(head+chunk+len(out)+len(rest))))
	b.Write(binary.LittleEndian.AppendUint32(nil, uint32(len(out))))
	b.WriteString("JSON")
	b.Write(out)
	b.Write(rest)
	return b.Bytes(), did, nil
}

// gltf mends a text file, whose buffers stay as they are.
func gltf(data []byte, c *Changes) ([]byte, []string, error) {
	if len(c.Over)+len(c.Negate) > 0 {
		return nil, nil, errors.New("triangles and normals of a .gltf lie in other files; export it as .glb to have them turned")
	}
	return c.apply(data, nil)
}

// apply changes the JSON, and the buffer in place.
func (c *Changes) apply(text, bin []byte) ([]byte, []string, error) {
	var d document
	if err := json.Unmarshal(text, &d); err != nil {
		return nil, nil, fmt.Errorf("its JSON: %w", err)
	}
	did := c.did()
	if len(c.Over)+len(c.Negate) > 0 {
		more, err := c.meshes(d, bin)
		if err != nil {
			return nil, nil, err
		}
		did = append(did, more...)
	}
	if c.scales() || c.turns() {
		if err := c.above(d); err != nil {
			return nil, nil, err
		}
	}
	out, err := json.Marshal(d)
	return out, did, err
}

// above puts a node over the roots of every scene.
func (c *Changes) above(d document) error {
	var nodes []json.RawMessage
	var scenes []document
	if err := unmarshal(d, "nodes", &nodes); err != nil {
		return err
	}
	if err := unmarshal(d, "scenes", &scenes); err != nil {
		return err
	}
	if len(scenes) == 0 {
		return errors.New("it has no scene")
	}
	for _, s := range scenes {
		var roots []int
		if err := unmarshal(s, "nodes", &roots); err != nil {
			return err
		}
		over, err := json.Marshal(map[string]any{"name": "mended", "matrix": c.matrix(), "children": roots})
		if err != nil {
			return err
		}
		nodes = append(nodes, over)
		if s["nodes"], err = json.Marshal([]int{len(nodes) - 1}); err != nil {
			return err
		}
	}
	var err error
	if d["nodes"], err = json.Marshal(nodes); err != nil {
		return err
	}
	d["scenes"], err = json.Marshal(scenes)
	return err
}

func unmarshal(d document, key string, to any) error {
	if d[key] == nil {
		return nil
	}
	if err := json.Unmarshal(d[key], to); err != nil {
		return fmt.Errorf("%s: %w", key, err)
	}
	return nil
}

// pieces are what turning needs to know of a file.
type pieces struct {
	nodes []struct {
		Name string
		Mesh *int
	}
	meshes []struct {
		Name       string
		Primitives []struct {
			Attributes map[string]int
			Indices    *int
			Mode       *int
			Targets    []map[string]int
		}
	}
	accessors []struct {
		BufferView    *int
		ByteOffset    int
		ComponentType int
		Count         int
		Type          string
		Sparse        *json.RawMessage
	}
	views []struct {
		Buffer, ByteOffset, ByteLength, ByteStride int
	}
}

// meshes turns triangles over and negates normals.
func (c *Changes) meshes(d document, bin []byte) (did []string, err error) {
	var p pieces
	for key, to := range map[string]any{"nodes": &p.nodes, "meshes": &p.meshes, "accessors": &p.accessors, "bufferViews": &p.views} {
		if err := unmarshal(d, key, to); err != nil {
			return nil, err
		}
	}
	done := map[int]bool{} // accessors
	for i := range p.nodes {
		n := &p.nodes[i]
		over, negate, negated := has(c.Over, n.Name), has(c.Negate, n.Name), false
		if n.Mesh == nil || !over && !negate {
			continue
		}
		if *n.Mesh < 0 || *n.Mesh >= len(p.meshes) {
			return nil, fmt.Errorf("node %q has mesh %d of %d", n.Name, *n.Mesh, len(p.meshes))
		}
		for k := range p.nodes {
			if o := &p.nodes[k]; o.Mesh != nil && *o.Mesh == *n.Mesh && k != i && (has(c.Over, o.Name) != over || has(c.Negate, o.Name) != negate) {
				return nil, fmt.Errorf("nodes %q and %q share a mesh, of which one is to be turned", n.Name, o.Name)
			}
		}
		for _, q := range p.meshes[*n.Mesh].Primitives {
			if q.Mode != nil && *q.Mode != 4 {
				return nil, fmt.Errorf("%q is no list of triangles", n.Name)
			}
			if over {
				if q.Indices == nil {
					return nil, fmt.Errorf("the triangles of %q have no indices, so turning them would change the order of vertices", n.Name)
				}
				if !done[*q.Indices] {
					done[*q.Indices] = true
					if err := p.turnOver(*q.Indices, bin); err != nil {
						return nil, fmt.Errorf("%q: %w", n.Name, err)
					}
				}
			}
			if a, ok := q.Attributes["NORMAL"]; negate && ok && !done[a] {
				done[a], negated = true, true
				if err := p.negate(a, bin); err != nil {
					return nil, fmt.Errorf("%q: %w", n.Name, err)
				}
			}
		}
		if over {
			did = append(did, fmt.Sprintf("the triangles of %q are turned over", n.Name))
		}
		if negated {
			did = append(did, fmt.Sprintf("the normals of %q are negated", n.Name))
		}
	}
	if len(did) == 0 {
		return nil, errors.New("it has no node of the names that are to be turned")
	}
	return did, nil
}

// values returns the bytes of an accessor's values, and how far apart they lie.
func (p *pieces) values(i, size int, bin []byte) (data []byte, stride int, err error) {
	if i < 0 || i >= len(p.accessors) {
		return nil, 0, fmt.Errorf("accessor %d of %d", i, len(p.accessors))
	}
	a := &p.accessors[i]
	if a.BufferView == nil || a.Sparse != nil || *a.BufferView < 0 || *a.BufferView >= len(p.views) {
		return nil, 0, fmt.Errorf("accessor %d is sparse or has no data of its own", i)
	}
	v := &p.views[*a.BufferView]
	if stride = v.ByteStride; stride == 0 {
		stride = size
	}
	from := v.ByteOffset + a.ByteOffset
	if v.Buffer != 0 || a.Count < 1 || from < 0 || stride < size || a.ByteOffset < 0 || v.ByteOffset < 0 || from > len(bin) || (a.Count-1) > (len(bin)-from-size)/stride {
		return nil, 0, fmt.Errorf("accessor %d lies outside of the file's own buffer", i)
	}
	return bin[from:], stride, nil
}

// turnOver swaps the second and third corner of each triangle.
func (p *pieces) turnOver(i int, bin []byte) error {
	if i < 0 || i >= len(p.accessors) {
		return fmt.Errorf("accessor %d of %d", i, len(p.accessors))
	}
	size := map[int]int{5121: 1, 5123: 2, 5125: 4}[p.accessors[i].ComponentType]
	if size == 0 {
		return fmt.Errorf("accessor %d has components of kind %d, must be 5121, 5123 or 5125", i, p.accessors[i].ComponentType)
	}
	data, stride, err := p.values(i, size, bin)
	if err != nil {
		return err
	}
	for k := 0; k+2 < p.accessors[i].Count; k += 3 {
		b, c := data[(k+1)*stride:(k+1)*stride+size], data[(k+2)*stride:(k+2)*stride+size]
		for j := range b {
			b[j], c[j] = c[j], b[j]
		}
	}
	return nil
}

// negate negates vectors of float32.
func (p *pieces) negate(i int, bin []byte) error {
	data, stride, err := p.values(i, 12, bin)
	if err != nil {
		return err
	}
	if p.accessors[i].ComponentType != 5126 {
		return fmt.Errorf("accessor %d has components of kind %d, must be 5126", i, p.accessors[i].ComponentType)
	}
	for k := range p.accessors[i].Count {
		for j := range 3 {
			at := data[k*stride+4*j:]
			binary.LittleEndian.PutUint32(at, math.Float32bits(-math.Float32frombits(binary.LittleEndian.Uint32(at))))
		}
	}
	return nil
}
