package gltfio

import (
	"bytes"
	"errors"
	"io"
	"math"

	"github.com/qmuntal/gltf"
	"github.com/qmuntal/gltf/modeler"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
)

// Part is one node to be written: a mesh in mm and its look.
type Part struct {
	Name   string
	Mesh   *mesh.Mesh // N must be there; UV where a picture is
	Look   Look
	Extras map[string]any // what the node says of itself; nil for nothing

	UV1     []geom.UV // a second set of texture coordinates, one a vertex; nil for none
	Targets []Target
}

// Target is a morph target of a part: how far each vertex and its normal move at a weight of 1, mm.
type Target struct {
	Name string
	P, N []geom.Vec
}

// Look is the material of a part.
type Look struct {
	BaseColour   [3]float64 // linear, 0 to 1; multiplies BaseMap
	Roughness    float64    // perceptual, 0 to 1
	IOR          float64    // 0 leaves the standard's 1.5
	Transmission float64    // 0 to 1
	Thickness    float64    // mm of the volume behind a transmitting surface; 0: a thin wall
	Blend        bool       // BaseMap's fourth channel is coverage

	// PNG pictures of 8 or 16 bits; nil for none. The same bytes are stored once.
	BaseMap      []byte // sRGB; of four channels where Blend
	NormalMap    []byte // green up
	RoughMap     []byte // green: roughness, blue: metallic; both multiply. Source: glTF 2.0, 5.22.5
	OcclusionMap []byte // red: what is left of light from all sides. Source: glTF 2.0, 5.19.6; it may be RoughMap's picture
}

// Write writes parts as one .glb of the standard's metres, +Y up, one node and one primitive a part. Index of refraction,
// transmission and volume are the standard's extensions of those names.
func Write(path string, parts []Part) error {
	doc := gltf.NewDocument()
	doc.Asset.Generator = "catchlight"
	used := map[string]bool{}
	b := pictureBook{doc: doc, at: map[*byte]int{}}
	for i := range parts {
		p := &parts[i]
		prim, err := writePrimitive(doc, p)
		if err != nil {
			return &FormatError{path, "node " + p.Name + ": " + err.Error()}
		}
		if prim.Material, err = writeLook(&b, p, used); err != nil {
			return &FormatError{path, "node " + p.Name + ": " + err.Error()}
		}
		m := &gltf.Mesh{Name: p.Name, Primitives: []*gltf.Primitive{prim}}
		if len(p.Targets) > 0 {
			names := make([]string, len(p.Targets))
			for k, t := range p.Targets {
				names[k] = t.Name
			}
			m.Weights = make([]float64, len(names))
			m.Extras = map[string]any{"targetNames": names} // glTF 2.0, 3.7.2.2: the place that all agree on
		}
		doc.Meshes = append(doc.Meshes, m)
		doc.Nodes = append(doc.Nodes, &gltf.Node{Name: p.Name, Mesh: gltf.Index(i), Extras: extrasOf(p)})
		doc.Scenes[0].Nodes = append(doc.Scenes[0].Nodes, i)
	}
	for _, name := range []string{"KHR_materials_ior", "KHR_materials_transmission", "KHR_materials_volume"} {
		if used[name] {
			doc.ExtensionsUsed = append(doc.ExtensionsUsed, name)
		}
	}
	return imageio.WriteAtomic(path, func(w io.Writer) error {
		e := gltf.NewEncoder(w)
		e.AsBinary = true
		return e.Encode(doc)
	})
}

func writePrimitive(doc *gltf.Document, p *Part) (*gltf.Primitive, error) {
	m := p.Mesh
	if len(m.P) == 0 || len(m.Tri) == 0 || len(m.N) != len(m.P) || m.UV != nil && len(m.UV) != len(m.P) {
		return nil, errors.New("a part needs triangles, and a normal a vertex")
	}
	pos, nor := make([][3]float32, len(m.P)), make([][3]float32, len(m.P))
	for i, q := range m.P {
		pos[i] = [3]float32{float32(q.X / millimetres), float32(q.Y / millimetres), float32(q.Z / millimetres)}
		n := m.N[i]
		if l := n.Len(); l > 0 {
			n = n.Mul(1 / l)
		} else {
			n = geom.Vec{Z: 1}
		}
		nor[i] = [3]float32{float32(n.X), float32(n.Y), float32(n.Z)}
	}
	ix := make([]uint32, 0, 3*len(m.Tri))
	for _, t := range m.Tri {
		if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
			ix = append(ix, t[0], t[1], t[2])
		}
	}
	prim := &gltf.Primitive{
		Indices:    gltf.Index(modeler.WriteIndices(doc, ix)),
		Attributes: gltf.PrimitiveAttributes{gltf.POSITION: modeler.WritePosition(doc, pos), gltf.NORMAL: modeler.WriteNormal(doc, nor)},
	}
	if m.UV != nil {
		uv := make([][2]float32, len(m.UV))
		for i, q := range m.UV {
			uv[i] = [2]float32{float32(q.U), float32(q.V)}
		}
		prim.Attributes[gltf.TEXCOORD_0] = modeler.WriteTextureCoord(doc, uv)
		if p.Look.NormalMap != nil {
			prim.Attributes[gltf.TANGENT] = modeler.WriteTangent(doc, tangents(m))
		}
	}
	if p.UV1 != nil {
		if len(p.UV1) != len(m.P) {
			return nil, errors.New("the second set of texture coordinates needs one a vertex")
		}
		uv := make([][2]float32, len(p.UV1))
		for i, q := range p.UV1 {
			uv[i] = [2]float32{float32(q.U), float32(q.V)}
		}
		prim.Attributes[gltf.TEXCOORD_1] = modeler.WriteTextureCoord(doc, uv)
	}
	for _, t := range p.Targets {
		if len(t.P) != len(m.P) || len(t.N) != len(m.P) {
			return nil, errors.New("morph target " + t.Name + " needs a move a vertex, and one of its normal")
		}
		move, turn := make([][3]float32, len(t.P)), make([][3]float32, len(t.P))
		for i, q := range t.P {
			move[i] = [3]float32{float32(q.X / millimetres), float32(q.Y / millimetres), float32(q.Z / millimetres)}
			turn[i] = [3]float32{float32(t.N[i].X), float32(t.N[i].Y), float32(t.N[i].Z)}
		}
		prim.Targets = append(prim.Targets, gltf.PrimitiveAttributes{gltf.POSITION: modeler.WritePosition(doc, move), gltf.NORMAL: modeler.WriteNormal(doc, turn)})
	}
	return prim, nil
}

func extrasOf(p *Part) any {
	if p.Extras == nil {
		return nil
	}
	return p.Extras
}

// pictureBook stores pictures in a file, each once.
type pictureBook struct {
	doc *gltf.Document
	at  map[*byte]int // texture by the first byte of its picture
}

// add returns the texture of a picture.
func (b *pictureBook) add(name string, png []byte) (int, error) {
	if len(png) == 0 {
		return 0, errors.New(name + ": an empty picture")
	}
	if t, ok := b.at[&png[0]]; ok {
		return t, nil
	}
	doc := b.doc
	im, err := modeler.WriteImage(doc, name, "image/png", bytes.NewReader(png))
	if err != nil {
		return 0, err
	}
	if len(doc.Samplers) == 0 {
		doc.Samplers = append(doc.Samplers, &gltf.Sampler{WrapS: gltf.WrapClampToEdge, WrapT: gltf.WrapClampToEdge})
	}
	doc.Textures = append(doc.Textures, &gltf.Texture{Source: gltf.Index(im), Sampler: gltf.Index(0)})
	b.at[&png[0]] = len(doc.Textures) - 1
	return len(doc.Textures) - 1, nil
}

// maps lays the pictures of a look on its material.
func (b *pictureBook) maps(m *gltf.Material, p *Part) error {
	l := &p.Look
	for _, q := range []struct {
		what string
		png  []byte
		lay  func(texture int)
	}{
		{"colour", l.BaseMap, func(t int) { m.PBRMetallicRoughness.BaseColorTexture = &gltf.TextureInfo{Index: t} }},
		{"normal", l.NormalMap, func(t int) { m.NormalTexture = &gltf.NormalTexture{Index: gltf.Index(t)} }},
		{"roughness", l.RoughMap, func(t int) { m.PBRMetallicRoughness.MetallicRoughnessTexture = &gltf.TextureInfo{Index: t} }},
		{"occlusion", l.OcclusionMap, func(t int) { m.OcclusionTexture = &gltf.OcclusionTexture{Index: gltf.Index(t)} }},
	} {
		if q.png == nil {
			continue
		}
		if p.Mesh.UV == nil {
			return errors.New("a picture needs texture coordinates")
		}
		t, err := b.add(p.Name+" "+q.what, q.png)
		if err != nil {
			return err
		}
		q.lay(t)
	}
	return nil
}

func writeLook(b *pictureBook, p *Part, used map[string]bool) (*int, error) {
	doc, l := b.doc, &p.Look
	for _, v := range []float64{l.BaseColour[0], l.BaseColour[1], l.BaseColour[2], l.Roughness, l.Transmission} {
		if !(v >= 0 && v <= 1) {
			return nil, errors.New("colour, roughness and transmission must be 0 to 1")
		}
	}
	metal := 0.0
	m := &gltf.Material{Name: p.Name, Extensions: gltf.Extensions{}, PBRMetallicRoughness: &gltf.PBRMetallicRoughness{
		BaseColorFactor: &[4]float64{l.BaseColour[0], l.BaseColour[1], l.BaseColour[2], 1}, MetallicFactor: &metal, RoughnessFactor: &l.Roughness,
	}}
	if l.Blend {
		m.AlphaMode, m.DoubleSided = gltf.AlphaBlend, true
	}
	if err := b.maps(m, p); err != nil {
		return nil, err
	}
	add := func(name string, v map[string]float64) { m.Extensions[name], used[name] = v, true }
	if l.IOR != 0 {
		if !(l.IOR >= 1 && l.IOR <= 10) {
			return nil, errors.New("the index of refraction must be 1 to 10")
		}
		add("KHR_materials_ior", map[string]float64{"ior": l.IOR})
	}
	if l.Transmission > 0 {
		add("KHR_materials_transmission", map[string]float64{"transmissionFactor": l.Transmission})
		if l.Thickness > 0 && !math.IsInf(l.Thickness, 1) {
			add("KHR_materials_volume", map[string]float64{"thicknessFactor": l.Thickness / millimetres})
		}
	}
	doc.Materials = append(doc.Materials, m)
	return gltf.Index(len(doc.Materials) - 1), nil
}
