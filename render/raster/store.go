package raster

import (
	"context"
	"reflect"
	"slices"
	"sync"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/render/memory"
	"catchlight/render/raster/shading"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Store keeps from one Bake to the next what both need alike, so that a change bakes what rests on it and no more. What is taken from
// it has the bits that baking anew would give.
//
// Of a Bake the following rests on, and is kept for: the tint of an eye on its tissue; the relief of its iris on the inner shell and
// its normal map; what its cornea does on the outer one, all in its own frame, whatever its pose; the prefiltered surroundings on the
// lights far away; what lamps send through the cornea and what stands about the eye on all that is in the scene but the camera.
type Store struct {
	mu      sync.Mutex
	tints   []kept[tintInputs, texture.Map]
	reliefs []kept[reliefInputs, *iris]
	corneas []kept[corneaInputs, *cornea]
	far     []kept[farInputs, *shading.Sphere]
	lit     []kept[litInputs, *lit]
	Made    int // maps of eyes and surroundings baked since the store was made
	Taken   int // and taken from it
}

type kept[I, V any] struct {
	inputs I
	value  V
	bytes  int64
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

// Bake is the Bake of this package, with what the store holds.
func (s *Store) Bake(ctx context.Context, sc *frozen.Scene, set scene.Raster, width, height, workers int) (*Look, error) {
	return bake(ctx, s, sc, set, width, height, workers)
}

// Bake makes all that does not depend on a frame: triangles, prefiltered surroundings, maps and tables of the eyes.
func Bake(ctx context.Context, s *frozen.Scene, set scene.Raster, width, height, workers int) (*Look, error) {
	return bake(ctx, new(Store), s, set, width, height, workers)
}

// storeBytes is what a store may hold of one kind of result beside the last ones of a scene's eyes.
const storeBytes = 256 << 20

// find returns what was made of equal inputs, else makes it and keeps it among the last eight for each of so many eyes, as far as there
// is room. Pictures and meshes are equal at a glance where they are the same in memory.
func find[I, V any](s *Store, list *[]kept[I, V], eyes int, inputs I, make func() V) V {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, q := range *list {
		if reflect.DeepEqual(q.inputs, inputs) {
			*list = append(slices.Delete(*list, i, i+1), q)
			s.Taken++
			return q.value
		}
	}
	v := make()
	*list = append(*list, kept[I, V]{inputs, v, memory.SizeOf(v)})
	room, n := int64(storeBytes), 0
	for n < min(len(*list), 8*eyes) {
		if room -= (*list)[len(*list)-1-n].bytes; room < 0 && n >= eyes {
			break
		}
		n++
	}
	*list = slices.Delete(*list, 0, len(*list)-n)
	s.Made++
	return v
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
func (k *Look) still(e *frozen.Eye) *still {
	outer, inner := &k.scene.Objects[e.Outer], &k.scene.Objects[e.Inner]
	eyes := len(k.scene.Eyes)
	caustic := k.set.Caustic == "baked"
	at := inOwnFrame(k.scene, e)
	s := new(still)
	s.tint = find(k.store, &k.store.tints, eyes, tintInputs{e.Tissue.Colour, e.Tissue.Vessels, k.set.TextureSize, k.set.TextureBits}, func() texture.Map {
		return k.tint(e)
	})
	form := reliefInputs{Inner: inner.Mesh, Normal: e.InnerNormal, Gain: e.InnerNormalGain, Radius: e.LimbusRadius, Width: e.LimbusWidth,
		Size: k.set.TextureSize, Occlusion: k.set.Occlusion == "baked", Smooth: caustic}
	s.iris = find(k.store, &k.store.reliefs, eyes, form, func() *iris {
		q := &iris{relief: newRelief(at, e, form.Size, form.Occlusion, k.workers)}
		if caustic {
			q.base = q.relief.smooth()
		}
		return q
	})
	shell := corneaInputs{Outer: outer.Mesh, Normal: e.Normal, Gain: e.NormalGain, Reach: s.relief.reach, Size: k.set.TextureSize,
		Bits: k.set.TextureBits, Dome: caustic, Net: k.netted(outer)}
	s.cornea = find(k.store, &k.store.corneas, eyes, shell, func() *cornea {
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
	return find(k.store, &k.store.lit, len(k.scene.Eyes), in, func() *lit {
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
