package raster

import (
	"fmt"
	"slices"
	"strconv"
	"unsafe"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// A look is baked in stages, which a cache keeps with those of Prepare: the tint of an eye rests on its tissue; the relief of its iris on the
// inner shell and its normal map; what its cornea does on the outer one, all in its own frame, whatever its pose; the prefiltered
// surroundings on the pictures of environments, whatever their rotation and gain; how these come through the cornea, and what stands
// about the eye, on shells and objects and on no light; what a lamp sends through the cornea, and to what stands about the eye, on the
// lamp's shape too, but not on its strength; a lamp's shadows on what casts them, on its shape and on about what the picture shows. The
// whole look is kept by all that is in the scene but the camera.

// derived is prepare.Derived for what can't fail.
func derived[I, V any](k *Look, slot string, inputs I, make func() V) V {
	v, _ := prepare.Derived(k.maker, slot, inputs, func() (V, error) { return make(), nil })
	return v
}

// lookInputs is all that a look reads: the scene without its camera.
type lookInputs struct {
	Objects []frozen.Object
	Eyes    []frozen.Eye
	Lights  []*light.Light
	Tags    []int
	Seen    []bool
	Show    bool
	How     frozen.Settings
	Set     scene.Raster
}

// Bytes says what a look takes beside its stages and the scene, which others hold.
func (k *Look) Bytes() (n int64) {
	for _, list := range [][]solid{k.solids, k.clear} {
		for i := range list {
			n += int64(len(list[i].points)) * int64(unsafe.Sizeof(geom.Vec{}))
		}
	}
	for i := range k.casters {
		n += int64(len(k.casters[i].points)) * int64(unsafe.Sizeof(geom.Vec{}))
	}
	return n
}

// tintInputs is all that the colour of an eye's tissue reads.
type tintInputs struct {
	Colour, Vessels *frozen.VolumeMap
	Size, Bits      int
}

// reliefInputs is all that the relief of an iris reads.
type reliefInputs struct {
	Inner             *mesh.Mesh
	Normal            texture.Map
	Gain              float64
	Radius, Width     float64
	Size              int
	Occlusion, Smooth bool
}

// corneaInputs is all that the maps of an outer shell read.
type corneaInputs struct {
	Outer      *mesh.Mesh
	Normal     texture.Map
	Gain       float64
	Reach      float64
	Size, Bits int
	Dome, Net  bool
}

// lampInputs is the shape of a lamp: its form without its radiance.
type lampInputs light.Form

func (l *lamp) inputs() lampInputs {
	f := lampInputs(l.Form)
	f.Radiance = colour.RGB{}
	return f
}

// name tells the stages of a lamp from those of others.
func (l *lamp) name() string { return strconv.Itoa(l.index) }

// formOf is an eye without its tissue: how its outer shell lets light through.
func formOf(e *frozen.Eye) frozen.Eye {
	f := *e
	f.Tissue = frozen.Tissue{}
	return f
}

// causticInputs is all that a lamp's light behind a cornea reads.
type causticInputs struct {
	Eye     frozen.Eye
	Pose    geom.Affine
	Base    *relief
	Cornea  *cornea
	Lamp    lampInputs
	Shadow  bool
	Casters []casterInputs
}

// transferInputs is all that the way of the surroundings behind a cornea reads.
type transferInputs struct {
	Eye   frozen.Eye
	Base  *relief
	Outer *mesh.Mesh
	About []frozen.Object // and the eye's pose; nil: nothing is in the way
}

// aboutInputs is all that what stands about an eye reads.
type aboutInputs struct {
	Index int
	Eye   frozen.Eye
	About []frozen.Object
	Side  int
	Sky   bool
}

// seen returns all objects for what rays from an eye meet: form, pose and colour.
func (k *Look) seen() []frozen.Object {
	list := slices.Clone(k.scene.Objects)
	for i := range list {
		b := &list[i]
		b.Material = frozen.Material{Kind: b.Material.Kind, Colour: b.Material.Colour}
		b.Tangents, b.Depth, b.Lit, b.Before, b.Behind = nil, frozen.Depth{}, nil, nil, nil
	}
	return list
}

// still is what is baked for an eye in its own frame: no pose and no light is in it.
type still struct {
	tint texture.Map
	*iris
	*cornea
}

// iris is the relief of an eye's inner shell.
type iris struct {
	relief *relief
	base   *relief // the smooth form; nil without a baked caustic
}

// cornea is the outer shell of an eye, looked down on.
type cornea struct {
	dome    dome        // empty without a baked caustic
	normals texture.Map // for a net of few triangles; not valid without one
}

// still returns that of an eye.
func (k *Look) still(index int) *still {
	e := &k.scene.Eyes[index]
	outer, inner := &k.scene.Objects[e.Outer], &k.scene.Objects[e.Inner]
	name := func(stage string) string { return fmt.Sprintf("raster %s %d", stage, index) }
	caustic := k.set.Caustic == "baked"
	at := inOwnFrame(k.scene, e)
	s := new(still)
	s.tint = derived(k, name("tint"), tintInputs{e.Tissue.Colour, e.Tissue.Vessels, k.set.TextureSize, k.set.TextureBits}, func() texture.Map {
		return k.tint(e)
	})
	form := reliefInputs{Inner: inner.Mesh, Normal: e.InnerNormal, Gain: e.InnerNormalGain, Radius: e.LimbusRadius, Width: e.LimbusWidth,
		Size: k.set.TextureSize, Occlusion: k.set.Occlusion == "baked", Smooth: caustic}
	s.iris = derived(k, name("relief"), form, func() *iris {
		q := &iris{relief: newRelief(at, e, form.Size, form.Occlusion, k.workers)}
		if caustic {
			q.base = q.relief.smooth()
		}
		return q
	})
	shell := corneaInputs{Outer: outer.Mesh, Normal: e.Normal, Gain: e.NormalGain, Reach: s.relief.reach, Size: k.set.TextureSize,
		Bits: k.set.TextureBits, Dome: caustic, Net: k.netted(outer)}
	s.cornea = derived(k, name("cornea"), shell, func() *cornea {
		q := new(cornea)
		if shell.Dome {
			q.dome = domeOf(at, e, shell.Reach, causticGrid, k.workers)
		}
		if shell.Net {
			q.normals = k.bakeNormals(e)
		}
		return q
	})
	return s
}

// about is what stands about an eye, without light.
type about struct {
	sky    *skyRays  // nil: nothing hides the surroundings
	around *surround // nil: nothing is there
}

// light returns what the light about an eye makes of it.
func (k *Look) light(index int, y *eyeLook, st *still) {
	if k.standsAbout() {
		in := aboutInputs{index, formOf(y.e), k.seen(), k.set.PrefilterSize, k.set.Occlusion == "baked"}
		name := fmt.Sprintf("raster about eye %d", index)
		a := derived(k, name, in, func() (a about) {
			if in.Sky {
				a.sky = k.newSkyRays(y)
			}
			a.around = k.newSurround(y)
			return a
		})
		if a.sky != nil {
			y.sky = a.sky.lit(k.glow(name+": sky", a.sky.bounces))
		}
		if a.around != nil {
			y.around = a.around.lit(k.glow(name+": mirrored", a.around.bounces))
		}
	}
	if k.set.Caustic == "baked" {
		y.behind = k.newBehindCornea(index, y, st)
	}
}

// inOwnFrame returns the scene with an eye's shells where its own frame is the world, so that no rounding of a pose gets into its maps.
func inOwnFrame(s *frozen.Scene, e *frozen.Eye) *frozen.Scene {
	out := *s
	out.Objects = slices.Clone(s.Objects)
	for _, i := range []int32{e.Outer, e.Inner} {
		out.Objects[i].ToWorld, out.Objects[i].ToLocal = geom.Identity(), geom.Identity()
	}
	return &out
}
