package prepare

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
	"catchlight/scene/plinth"
	"catchlight/scene/shells"
)

// instance is a mesh with its hierarchy, which objects of the same file share.
type instance struct {
	mesh  *mesh.Mesh
	bvh   *accel.BVH
	look  asset.Material // as the file gives it: of its first part
	depth frozen.Depth   // made for the first object that is walked in
	key   []byte         // what it was made from
	file  string         // that it was read from
}

// mesh returns the mesh of an object. Objects that differ in place, material and rays alone share one.
func (p *preparer) mesh(b *scene.Object) (*instance, error) {
	q := *b
	q.Name, q.On, q.Transform, q.OpacityMask, q.Visibility = "", false, scene.Transform{}, nil, scene.Visibility{}
	// What a closed volume asks of a mesh, and what moves it.
	q.Material = scene.Material{Kind: q.Material.Kind, Scattering: q.Material.Scattering, Height: q.Material.Height, Colour: scene.MapSpec{File: q.Material.Colour.File}}
	if q.Material.Height != nil {
		q.Transform.Scale = b.Transform.Scale // heights are mm of the world
	}
	key, err := json.Marshal(q)
	if err != nil {
		return nil, err
	}
	if i := p.meshes[string(key)]; i != nil {
		return i, nil
	}
	made, err := stage(p, "mesh "+b.Name, json.RawMessage(key), func(s *making) (*instance, error) {
		m, look, err := p.readMesh(b, s)
		if err != nil {
			return nil, err
		}
		bvh, err := p.hierarchy(m)
		return &instance{mesh: m, look: look, bvh: bvh, key: key, file: string(b.File)}, err
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

// readMesh returns all nodes of a file, or the one that b.Node names, as one mesh in mm with normals, and the look of the first of
// them; a plinth is made. Texture coordinates are kept only where every part has them.
func (p *preparer) readMesh(b *scene.Object, s *making) (*mesh.Mesh, asset.Material, error) {
	var none asset.Material
	if b.Shape == "plinth" {
		m, err := plinth.Build(b.Measures())
		return m, none, err
	}
	s.opens(string(b.File))
	a, err := meshio.ReadMorphed(string(b.File), b.Unit, weights(b.Morph))
	if err != nil {
		return nil, none, err
	}
	for _, n := range a.Notes {
		s.notes = append(s.notes, fmt.Sprintf("object %s: %s", b.Name, n))
	}
	nodes := a.Nodes
	if b.Node != "" {
		if nodes = a.Named(b.Node); len(nodes) == 0 {
			return nil, none, fmt.Errorf("%s has no node %q; it has %s", b.File, b.Node, a.NodeNames())
		}
	}
	m := asset.Merge(nodes)
	if m.UV == nil && (b.Material.Colour.File != "" || b.Material.Height != nil) {
		return nil, none, fmt.Errorf("%s: a picture needs texture coordinates, and the file has none", b.File)
	}
	if b.Subdivide > 0 {
		if m, err = mesh.Subdivide(m, b.Subdivide); err != nil {
			return nil, none, fmt.Errorf("%s: subdivide: %w", b.File, err)
		}
	}
	if h := b.Material.Height; h != nil {
		if err := s.raise(m, b, h); err != nil {
			return nil, none, err
		}
	}
	if b.Close {
		if m, err = capped(m); err != nil {
			return nil, none, fmt.Errorf("%s: close: %w", b.File, err)
		}
	}
	if k := b.Material.Kind; k == "dielectric" || k == "matched" || k == "tissue" && b.Material.Scattering {
		if open, odd := mesh.Closed(m); open+odd > 0 {
			hint := ""
			if odd == 0 && !b.Close {
				hint = "; close: true on the object puts caps on its holes"
			}
			if k == "tissue" {
				hint += "; tissue with scattering: false may be open"
			}
			return nil, none, fmt.Errorf("%s: a %s object must be closed; %d edges are open and %d do not join two triangles%s", b.File, k, open, odd, hint)
		}
	}
	return m, nodes[0].Material, nil
}

// capped closes a mesh: a cap over each hole, of the same matter as the rest.
func capped(m *mesh.Mesh) (*mesh.Mesh, error) {
	out, _, err := mesh.Close(m)
	if err != nil {
		return nil, err
	}
	if out != m {
		out.Part = nil
	}
	return out, nil
}

// raise moves a mesh's vertices by a height map in mm of the world, whatever the mesh is scaled by. The map is read over the width of a facet, so that none finer is sampled by chance.
func (m *making) raise(q *mesh.Mesh, b *scene.Object, h *scene.HeightMap) error {
	t, err := m.read(h.File, h.Tiling, imageio.As{Channel: h.Channel})
	if err != nil {
		return err
	}
	area, texels := 0.0, 0.0
	for _, t := range q.Tri {
		a, b, c := q.UV[t[0]], q.UV[t[1]], q.UV[t[2]]
		area += math.Abs((b.U-a.U)*(c.V-a.V) - (c.U-a.U)*(b.V-a.V))
	}
	facet := math.Sqrt(area / float64(max(1, len(q.Tri)))) // a triangle's width in texture coordinates
	if im := t.Image(); im != nil {
		w, _, _ := im.Size()
		texels = facet * float64(w)
	}
	if texels > 4 {
		m.notes = append(m.notes, fmt.Sprintf("object %s: a facet is %.0f texels of %s wide: relief finer than that does not show; subdivide (now the mesh has %d triangles) or a normal map brings it",
			b.Name, texels, filepath.Base(string(h.File)), len(q.Tri)))
	}
	up := make([]float64, len(q.P))
	for i, uv := range q.UV {
		up[i] = h.Scale / b.Transform.Scale * (t.Scalar(uv, facet) - h.ZeroLevel)
		if !(math.Abs(up[i]) < 1e6) {
			return fmt.Errorf("%s: at u %.4g, v %.4g it is no height", h.File, uv.U, uv.V)
		}
	}
	mesh.Displace(q, func(i int) float64 { return up[i] })
	return nil
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
