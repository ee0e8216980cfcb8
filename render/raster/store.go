package raster

import (
	"context"
	"reflect"
	"slices"
	"sync"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/render/raster/shading"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Store keeps from one Bake to the next what both need alike, so that a turn of an eye or of the lights bakes the rest alone. What is
// taken from it has the bits that baking anew would give.
//
// Of a Bake the following rests on: the eye's maps (relief, colour, normals, the grid over its cornea) on its shells and tissue, in
// its own frame, whatever its pose; the prefiltered surroundings on the lights far away; what lamps send through the cornea and what
// stands about the eye on both and on where the camera's scene puts them, so these are made anew each time.
type Store struct {
	mu    sync.Mutex
	eyes  []kept[eyeInputs, *still]
	far   []kept[farInputs, *shading.Sphere]
	Made  int // maps of eyes and surroundings baked since the store was made
	Taken int // and taken from it
}

type kept[I, V any] struct {
	inputs I
	value  V
}

// eyeInputs is all that the still maps of an eye read.
type eyeInputs struct {
	Outer, Inner                *mesh.Mesh
	Normal, InnerNormal         texture.Map
	NormalGain, InnerNormalGain float64
	Radius, Width               float64
	Colour, Vessels             *frozen.VolumeMap
	Size, Bits                  int
	Occlusion, Caustic, Net     bool
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

// find returns what was made of equal inputs, else makes it and keeps it among the last few. Pictures and meshes are equal at a
// glance where they are the same in memory.
func find[I, V any](s *Store, list *[]kept[I, V], few int, inputs I, make func() V) V {
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
	if n := len(*list) - few + 1; n > 0 {
		*list = slices.Delete(*list, 0, n)
	}
	*list = append(*list, kept[I, V]{inputs, v})
	s.Made++
	return v
}

// still is what is baked for an eye in its own frame: no pose and no light is in it.
type still struct {
	tint    texture.Map
	relief  *relief
	base    *relief     // the smooth form; nil without a baked caustic
	dome    dome        // likewise
	normals texture.Map // of the outer shell, for a net of few triangles; not valid without one
}

// still returns that of an eye.
func (k *Look) still(e *frozen.Eye) *still {
	in := eyeInputs{
		Outer: k.scene.Objects[e.Outer].Mesh, Inner: k.scene.Objects[e.Inner].Mesh,
		Normal: e.Normal, InnerNormal: e.InnerNormal, NormalGain: e.NormalGain, InnerNormalGain: e.InnerNormalGain,
		Radius: e.LimbusRadius, Width: e.LimbusWidth, Colour: e.Tissue.Colour, Vessels: e.Tissue.Vessels,
		Size: k.set.TextureSize, Bits: k.set.TextureBits,
		Occlusion: k.set.Occlusion == "baked", Caustic: k.set.Caustic == "baked", Net: k.netted(&k.scene.Objects[e.Outer]),
	}
	return find(k.store, &k.store.eyes, 2*len(k.scene.Eyes), in, func() *still {
		at := inOwnFrame(k.scene, e)
		s := &still{tint: k.tint(e), relief: newRelief(at, e, in.Size, in.Occlusion, k.workers)}
		if in.Caustic {
			s.base, s.dome = s.relief.smooth(), domeOf(at, e, s.relief.reach, causticGrid, k.workers)
		}
		if in.Net {
			s.normals = k.bakeNormals(e)
		}
		return s
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
