package prepare

import (
	"errors"
	"fmt"

	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// ownLook is what a file of meshes says of a material where the scene asks for it.
type ownLook struct {
	colour texture.Map // not valid: nothing
	rough  float64     // perceptual; 0: nothing
}

// look lays normal map and opacity on a mesh, from the scene or, where it asks for that, from the file's own material, and
// returns colour and roughness of the latter.
func (p *preparer) look(b *scene.Object, i *instance, f *frozen.Object) *ownLook {
	m := &b.Material
	key := "objects." + b.Name + ".material"
	var file asset.Material
	if m.FromFile {
		file = i.look
	}
	switch {
	case m.Normal != nil:
		if i.mesh.UV == nil {
			p.fail(key+".normal", errors.New("the mesh has no texture coordinates to lay it on"))
			return nil
		}
		t, err := p.normals(key+".normal", m.Normal)
		if err != nil {
			p.fail(key+".normal", err)
			return nil
		}
		f.Bump, f.BumpGain = t, m.Normal.Strength
	case file.NormalMap != nil && i.mesh.UV != nil:
		f.Bump, f.BumpGain = texture.FromImage(file.NormalMap, file.Wrap), file.NormalScale
	}
	if f.Bump.Valid() {
		f.Tangents = mesh.MakeTangents(i.mesh)
	}
	if f.OpacityMask == nil && file.AlphaMode != asset.Opaque {
		f.OpacityMask = alphaOf(&file, i.mesh)
		f.Closed = f.Closed && f.OpacityMask == nil
	}
	if !m.FromFile {
		return nil
	}
	own := &ownLook{rough: file.Roughness}
	if file.RoughMap != nil {
		own.rough *= file.RoughMap.Mean()[0]
		p.warn = append(p.warn, fmt.Sprintf("objects.%s.material: of the roughness map of %q its mean counts, %.3g", b.Name, file.Name, own.rough))
	}
	if file.Name == "" {
		return &ownLook{} // the standard's default: nothing was said
	}
	if m.Colour.Given || m.Colour.File != "" {
		return own
	}
	said := making{}
	own.colour = said.colours(fmt.Sprintf("%s: colour of material %q", b.File, file.Name), ownColour(&file, i.mesh))
	p.warn = append(p.warn, said.notes...)
	return own
}

// ownColour is the colour of a file's material: its picture times its factor.
func ownColour(m *asset.Material, q *mesh.Mesh) texture.Map {
	if m.BaseMap == nil || q.UV == nil {
		return texture.Constant(m.BaseColour)
	}
	t := texture.FromImage(m.BaseMap, m.Wrap)
	if m.BaseColour == colour.Grey(1) {
		return t
	}
	var by colour.Matrix
	for k, v := range m.BaseColour {
		by[k][k] = v
	}
	return t.Turned(&by)
}

// alphaOf is the mask of a material that is transparent; nil where nothing of it is.
func alphaOf(m *asset.Material, q *mesh.Mesh) *frozen.OpacityMask {
	t := texture.Constant(colour.Grey(m.Alpha))
	if m.AlphaMap != nil && q.UV != nil && !full(m.AlphaMap) {
		t = texture.FromImage(m.AlphaMap, m.Wrap).Scaled(m.Alpha, 0)
	}
	if !t.Varies() && (m.AlphaMode == asset.Blended && m.Alpha >= 1 || m.AlphaMode == asset.Masked && m.Alpha >= m.Cutoff) {
		return nil
	}
	return &frozen.OpacityMask{Map: t, Threshold: m.Cutoff, Blend: m.AlphaMode == asset.Blended}
}

// full says whether a picture of coverage is 1 everywhere, to a code of 8 bits: many opaque materials say that they blend.
func full(im *texture.Image) bool {
	w, h, _ := im.Size()
	for y := range h {
		for x := range w {
			if im.At(x, y, 0) < 1-0.5/255 {
				return false
			}
		}
	}
	return true
}
