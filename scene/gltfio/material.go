package gltfio

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/texture"

	"github.com/qmuntal/gltf"
)

// uvSet says which texture coordinates a material looks up, and how they are moved (KHR_texture_transform).
type uvSet struct {
	index         int
	offset, scale [2]float64
	rotation      float64 // radians
}

func plainSet(index int) uvSet { return uvSet{index: index, scale: [2]float64{1, 1}} }

// apply moves a texture coordinate: scale, then rotation, then offset.
//
// Source: Khronos Group, KHR_texture_transform.
func (s uvSet) apply(uv geom.UV) geom.UV {
	u, v := uv.U*s.scale[0], uv.V*s.scale[1]
	sin, cos := math.Sincos(s.rotation)
	return geom.UV{U: cos*u + sin*v + s.offset[0], V: -sin*u + cos*v + s.offset[1]}
}

// material returns a material, or the default one for nil, and the texture coordinates that its maps use. A mesh has
// one set; maps that use another than the first map are left out with a note.
func (r *reader) material(index *int) (Material, uvSet, error) {
	m := Material{BaseColour: colour.Grey(1), Roughness: 1, Metallic: 1, IOR: 1.5, NormalScale: 1, Alpha: 1,
		AttenuationDistance: math.Inf(1), AttenuationColour: colour.Grey(1)}
	set := plainSet(0)
	if index == nil {
		return m, set, nil
	}
	if *index < 0 || *index >= len(r.doc.Materials) {
		return m, set, fmt.Errorf("material %d, there are %d", *index, len(r.doc.Materials))
	}
	src := r.doc.Materials[*index]
	m.Name = src.Name
	if m.Name == "" {
		m.Name = fmt.Sprintf("material %d", *index)
	}
	b := mapBinder{r: r, m: &m, set: set}
	if pbr := src.PBRMetallicRoughness; pbr != nil {
		c := pbr.BaseColorFactorOrDefault()
		m.BaseColour = colour.RGB{c[0], c[1], c[2]}
		m.Metallic, m.Roughness = pbr.MetallicFactorOrDefault(), pbr.RoughnessFactorOrDefault()
		for k, v := range [5]float64{c[0], c[1], c[2], m.Metallic, m.Roughness} {
			if !(v >= 0 && v <= 1) {
				what := [5]string{"red", "green", "blue", "metallic", "roughness"}[k]
				return m, set, fmt.Errorf("material %q: %s factor %g, must be 0 to 1", m.Name, what, v)
			}
		}
		if t := pbr.BaseColorTexture; t != nil {
			m.BaseMap = b.bind("base colour", t.Index, t.TexCoord, t.Extensions, true)
		}
		if t := pbr.MetallicRoughnessTexture; t != nil {
			if im := b.bind("roughness", t.Index, t.TexCoord, t.Extensions, false); im != nil {
				// Roughness is green, metallic blue; a grey picture has both in one.
				g, bl := 0, 0
				if _, _, c := im.Size(); c >= 3 {
					g, bl = 1, 2
				}
				m.RoughMap = im.Channel(g)
				m.Metallic *= im.Mean()[bl]
			}
		}
	}
	if t := src.NormalTexture; t != nil && t.Index != nil {
		m.NormalScale = t.ScaleOrDefault()
		m.NormalMap = b.bind("normal", *t.Index, t.TexCoord, t.Extensions, false)
	}
	if src.EmissiveFactor != [3]float64{} {
		r.note("material %q: emission is not read", m.Name)
	}
	if err := b.alpha(src); err != nil {
		return m, set, err
	}
	if err := r.materialExtensions(src, &m); err != nil {
		return m, set, err
	}
	return m, b.set, nil
}

// materialExtensions reads index of refraction, transmission, volume and clear coat.
func (r *reader) materialExtensions(src *gltf.Material, m *Material) error {
	var ior struct{ IOR *float64 }
	var transmission struct {
		TransmissionFactor  float64
		TransmissionTexture *struct{}
	}
	var volume struct {
		AttenuationDistance *float64
		AttenuationColor    *[3]float64
	}
	var coat struct {
		ClearcoatFactor, ClearcoatRoughnessFactor                           float64
		ClearcoatTexture, ClearcoatRoughnessTexture, ClearcoatNormalTexture *struct{}
	}
	if err := errors.Join(
		extension(src.Extensions, "KHR_materials_clearcoat", &coat),
		extension(src.Extensions, "KHR_materials_ior", &ior),
		extension(src.Extensions, "KHR_materials_transmission", &transmission),
		extension(src.Extensions, "KHR_materials_volume", &volume),
	); err != nil {
		return fmt.Errorf("material %q: %w", m.Name, err)
	}
	if ior.IOR != nil {
		// 0 stands for an infinite index, which no dielectric has.
		if m.IOR = *ior.IOR; !(m.IOR >= 1 && m.IOR <= 10) {
			return fmt.Errorf("material %q: index of refraction %g, must be 1 to 10", m.Name, m.IOR)
		}
	}
	if m.Transmission = transmission.TransmissionFactor; !(m.Transmission >= 0 && m.Transmission <= 1) {
		return fmt.Errorf("material %q: transmission %g, must be 0 to 1", m.Name, m.Transmission)
	}
	if transmission.TransmissionTexture != nil {
		r.note("material %q: the transmission map is not read", m.Name)
	}
	m.Coat, m.CoatRoughness = coat.ClearcoatFactor, coat.ClearcoatRoughnessFactor
	for k, v := range [2]float64{m.Coat, m.CoatRoughness} {
		if !(v >= 0 && v <= 1) {
			return fmt.Errorf("material %q: clear coat %s %g, must be 0 to 1", m.Name, [2]string{"factor", "roughness"}[k], v)
		}
	}
	if coat.ClearcoatTexture != nil || coat.ClearcoatRoughnessTexture != nil || coat.ClearcoatNormalTexture != nil {
		r.note("material %q: the maps of the clear coat are not read", m.Name)
	}
	if m.Coat > 0 {
		r.note("material %q: its clear coat is not rendered; an eye's tear film comes from the scene file", m.Name)
	}
	if d := volume.AttenuationDistance; d != nil {
		if !(*d > 0) {
			return fmt.Errorf("material %q: attenuation distance %g, must be above 0", m.Name, *d)
		}
		m.AttenuationDistance = *d * millimetres
	}
	if c := volume.AttenuationColor; c != nil {
		for _, v := range c {
			if !(v >= 0 && v <= 1) {
				return fmt.Errorf("material %q: attenuation colour %v, must be 0 to 1", m.Name, *c)
			}
		}
		m.AttenuationColour = colour.RGB(*c)
	}
	return nil
}

// alpha reads coverage: the factor, and the fourth channel of the base colour's picture.
//
// Source: glTF 2.0, sections 3.9.4 and 5.22.
func (b *mapBinder) alpha(src *gltf.Material) error {
	if src.AlphaMode == gltf.AlphaOpaque {
		return nil
	}
	m := b.m
	m.AlphaMode, m.Cutoff = asset.Blended, 0.5
	if src.AlphaMode == gltf.AlphaMask {
		m.AlphaMode, m.Cutoff = asset.Masked, src.AlphaCutoffOrDefault()
		if !(m.Cutoff >= 0 && m.Cutoff <= 10) {
			return fmt.Errorf("material %q: alpha cutoff %g, must be 0 and more", m.Name, m.Cutoff)
		}
	}
	pbr := src.PBRMetallicRoughness
	if pbr == nil {
		return nil
	}
	if m.Alpha = pbr.BaseColorFactorOrDefault()[3]; !(m.Alpha >= 0 && m.Alpha <= 1) {
		return fmt.Errorf("material %q: alpha factor %g, must be 0 to 1", m.Name, m.Alpha)
	}
	if t := pbr.BaseColorTexture; t != nil && m.BaseMap != nil {
		// The same picture once more, its numbers as they are: coverage is never coded as a colour.
		if im := b.bind("alpha", t.Index, t.TexCoord, t.Extensions, false); im != nil {
			if _, _, c := im.Size(); c == 4 || c == 2 {
				m.AlphaMap = im.Channel(c - 1)
			} else {
				b.r.note("material %q: it is transparent by its alpha, but its picture has none", m.Name)
			}
		}
	}
	return nil
}

// extension decodes an extension's object into into, and does nothing where there is none.
func extension(all gltf.Extensions, name string, into any) error {
	raw, ok := all[name].(json.RawMessage)
	if !ok {
		return nil
	}
	if err := json.Unmarshal(raw, into); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

// mapBinder loads the maps of one material and makes them agree on texture coordinates.
type mapBinder struct {
	r     *reader
	m     *Material
	set   uvSet
	bound bool
}

// bind returns the picture of a texture, or nil with a note where there is none to show.
func (b *mapBinder) bind(what string, index, texCoord int, ext gltf.Extensions, srgb bool) *texture.Image {
	miss := func(format string, args ...any) *texture.Image {
		b.r.note("material %q: the %s map is left out: %s", b.m.Name, what, fmt.Sprintf(format, args...))
		return nil
	}
	set := plainSet(texCoord)
	var move struct {
		Offset   [2]float64
		Scale    *[2]float64
		Rotation float64
		TexCoord *int
	}
	if err := extension(ext, "KHR_texture_transform", &move); err != nil {
		return miss("%v", err)
	}
	set.offset, set.rotation = move.Offset, move.Rotation
	if move.Scale != nil {
		set.scale = *move.Scale
	}
	if move.TexCoord != nil {
		set.index = *move.TexCoord
	}
	if index < 0 || index >= len(b.r.doc.Textures) {
		return miss("texture %d, there are %d", index, len(b.r.doc.Textures))
	}
	t := b.r.doc.Textures[index]
	if t.Source == nil {
		return miss("texture %d has no picture", index)
	}
	wrap := texture.Repeat
	if s := t.Sampler; s != nil && *s >= 0 && *s < len(b.r.doc.Samplers) {
		sampler := b.r.doc.Samplers[*s]
		wrap = wrapOf(sampler.WrapS)
		if sampler.WrapS != sampler.WrapT {
			b.r.note("material %q: the %s map wraps in two ways; both sides wrap as its width does", b.m.Name, what)
		}
	}
	if b.bound && set != b.set {
		return miss("it uses other texture coordinates than the material's first map")
	}
	if b.bound && wrap != b.m.Wrap {
		b.r.note("material %q: the %s map wraps as the material's first map does", b.m.Name, what)
	}
	im, err := b.r.picture(*t.Source, srgb)
	if err != nil {
		return miss("%v", err)
	}
	if !b.bound {
		b.bound, b.set, b.m.Wrap = true, set, wrap
	}
	return im
}

func wrapOf(w gltf.WrappingMode) texture.Wrap {
	switch w {
	case gltf.WrapClampToEdge:
		return texture.Clamp
	case gltf.WrapMirroredRepeat:
		return texture.Mirror
	}
	return texture.Repeat
}

type pictureKey struct {
	index int
	srgb  bool
}

type picture struct {
	im  *texture.Image
	err error
}

// picture decodes picture i, once for each meaning of its values.
func (r *reader) picture(i int, srgb bool) (*texture.Image, error) {
	if p := r.pictures[pictureKey{i, srgb}]; p != nil {
		return p.im, p.err
	}
	im, err := r.decodePicture(i, srgb)
	r.pictures[pictureKey{i, srgb}] = &picture{im, err}
	return im, err
}

func (r *reader) decodePicture(i int, srgb bool) (*texture.Image, error) {
	if i < 0 || i >= len(r.doc.Images) {
		return nil, fmt.Errorf("image %d, there are %d", i, len(r.doc.Images))
	}
	src := r.doc.Images[i]
	name := fmt.Sprintf("images[%d]", i)
	var data []byte
	var err error
	switch {
	case src.BufferView != nil:
		data, _, err = r.view(*src.BufferView)
	case src.URI != "":
		data, err = r.fetch(src.URI)
	default:
		err = fmt.Errorf("neither a uri nor a bufferView")
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	p, err := imageio.ReadBytes(name, data)
	if err != nil {
		return nil, err
	}
	if r.texels += p.W * p.H; r.texels > MaxTexels {
		return nil, fmt.Errorf("%s: more than %d texels in all pictures", name, MaxTexels)
	}
	return p.Image(srgb), nil
}
