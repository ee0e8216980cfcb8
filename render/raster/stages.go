package raster

import (
	"fmt"
	"slices"
	"unsafe"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// A look is baked in stages, which a cache keeps with those of Prepare: the tint of an eye rests on its tissue; the relief of its iris on the
// inner shell and its normal map; what its cornea does on the outer one, all in its own frame, whatever its pose; the prefiltered
// surroundings on the lights far away; what lamps send through the cornea and what stands about the eye, and the whole look, on all
// that is in the scene but the camera; a lamp's shadows on what casts them, on its shape and on about what the picture shows.

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

// litInputs is all that light about an eye reads: the scene without its camera.
type litInputs struct {
	Eye     int
	Still   still
	Lights  []*light.Light
	Tags    []int
	Objects []frozen.Object
	Eyes    []frozen.Eye
	How     frozen.Settings
	Set     scene.Raster
}

// farInputs is all that the prefiltered surroundings read.
type farInputs struct {
	Lights []*light.Light
	Size   int
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

// lit is what the light about an eye makes of it.
type lit struct {
	sky    *skyShare     // nil: nothing hides the surroundings
	around *surround     // nil: nothing stands about the eye
	behind *behindCornea // nil: the iris is lit without focus
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

// lit returns what the light about an eye makes of it.
func (k *Look) lit(index int, y *eyeLook, st *still) *lit {
	in := litInputs{Eye: index, Still: *st, Lights: k.scene.Lights, Tags: k.scene.LightTag, Objects: k.scene.Objects, Eyes: k.scene.Eyes, How: k.scene.Settings, Set: k.set}
	return derived(k, fmt.Sprintf("raster light about eye %d", index), in, func() *lit {
		q := new(lit)
		if k.standsAbout() {
			if k.set.Occlusion == "baked" {
				q.sky = k.newSkyShare(y)
			}
			q.around = k.newSurround(y)
		}
		if k.set.Caustic == "baked" {
			q.behind = k.newBehindCornea(y, st)
		}
		return q
	})
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
