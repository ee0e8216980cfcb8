package prepare

import (
	"encoding/json"
	"fmt"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
	"catchlight/scene/plinth"
	"catchlight/scene/shells"
)

// instance is a mesh with its hierarchy, which objects of the same file share.
type instance struct {
	mesh  *mesh.Mesh
	bvh   *accel.BVH
	depth frozen.Depth // made for the first object that is walked in
	key   []byte       // what it was made from
	file  string       // that it was read from
}

// mesh returns the mesh of an object. Objects that differ in place, material and rays alone share one.
func (p *preparer) mesh(b *scene.Object) (*instance, error) {
	q := *b
	q.Name, q.On, q.Transform, q.OpacityMask, q.Visibility = "", false, scene.Transform{}, nil, scene.Visibility{}
	q.Material = scene.Material{Kind: q.Material.Kind} // what a closed volume asks of a mesh
	key, err := json.Marshal(q)
	if err != nil {
		return nil, err
	}
	if i := p.meshes[string(key)]; i != nil {
		return i, nil
	}
	made, err := stage(p, "mesh "+b.Name, json.RawMessage(key), func(s *making) (*instance, error) {
		m, err := p.readMesh(b, s)
		if err != nil {
			return nil, err
		}
		bvh, err := p.hierarchy(m)
		return &instance{mesh: m, bvh: bvh, key: key, file: string(b.File)}, err
	})
	if err != nil {
		return nil, err
	}
	if p.meshes == nil {
		p.meshes = map[string]*instance{}
	}
	i := *made // what the cache keeps stays as it is
	p.meshes[string(key)] = &i
	return &i, nil
}

// thickness makes the depths of a mesh that is walked in.
func (p *preparer) thickness(name string, i *instance) (frozen.Depth, error) {
	if i.depth != nil {
		return i.depth, nil
	}
	made, err := stage(p, "depth "+name, json.RawMessage(i.key), func(s *making) (*frozen.Depth, error) {
		s.opens(i.file)
		d := frozen.NewDepth(i.mesh, i.bvh, p.o.WorkerCount())
		return &d, nil
	})
	if err != nil {
		return nil, err
	}
	i.depth = *made
	return i.depth, nil
}

// readMesh returns all nodes of a file, or the one that b.Node names, as one mesh in mm with normals; a plinth is made. Texture
// coordinates are kept only where every part has them.
func (p *preparer) readMesh(b *scene.Object, s *making) (*mesh.Mesh, error) {
	if b.Shape == "plinth" {
		return plinth.Build(b.Measures())
	}
	s.opens(string(b.File))
	a, err := meshio.ReadMorphed(string(b.File), b.Unit, weights(b.Morph))
	if err != nil {
		return nil, err
	}
	for _, n := range a.Notes {
		s.notes = append(s.notes, fmt.Sprintf("object %s: %s", b.Name, n))
	}
	nodes := a.Nodes
	if b.Node != "" {
		if nodes = a.Named(b.Node); len(nodes) == 0 {
			return nil, fmt.Errorf("%s has no node %q; it has %s", b.File, b.Node, a.NodeNames())
		}
	}
	m := asset.Merge(nodes)
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

func (p *preparer) hierarchy(m *mesh.Mesh) (*accel.BVH, error) {
	return accel.Build(m.P, m.Tri, accel.Options{Workers: p.o.WorkerCount()})
}

// caster gives the rays of a hierarchy to what knows meshes alone.
func caster(b *accel.BVH) shells.Rays {
	return func() shells.Ray {
		sc := accel.NewScratch()
		return func(o, d geom.Vec, far float64) (shells.Hit, bool) {
			var h accel.Hit
			ok := b.Closest(sc, o, d, 0, far, &h)
			return shells.Hit{T: h.T, U: h.U, V: h.V, Triangle: int(h.Prim)}, ok
		}
	}
}

// rays builds a mesh's hierarchy for its rays alone.
func rays(m *mesh.Mesh) (shells.Rays, error) {
	b, err := accel.Build(m.P, m.Tri, accel.Options{})
	if err != nil {
		return nil, err
	}
	return caster(b), nil
}
