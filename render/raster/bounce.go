package raster

import (
	"math"
	"slices"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// bounce is a place of a plain object that sends diffuse light to an eye: where a baked ray ends. There is no light in it, so that it
// stays when lights change.
type bounce struct {
	at     geom.Vec   // a little off the surface
	n      geom.Vec   // unit, on the side that is seen
	albedo [3]float32 // reflectance
}

// bounceOff returns what the ray meets at h.
func (k *Look) bounceOff(r geom.Ray, h *frozen.Hit) bounce {
	f := fragment{sf: k.scene.Surface(r, h), wo: r.D.Neg()}
	_, n := f.facing()
	m := &k.scene.Objects[h.Object].Material
	a := colour.Grey(0.5)
	if m.Colour.Valid() {
		a = m.Colour.RGB(f.sf.UV, 0)
	}
	return bounce{f.sf.P.Mad(2*f.sf.Eps+1e-4, n), n, [3]float32{float32(a[0]), float32(a[1]), float32(a[2])}}
}

// shineInputs is all that a lamp's light on bounces reads.
type shineInputs struct {
	Bounces []bounce
	Lamp    lampInputs
	Casters []casterInputs
}

// glow returns the radiance of each bounce: surroundings as they fall on its plane, and lamps with one ray for what stands between.
func (k *Look) glow(name string, list []bounce) []colour.RGB {
	if len(list) == 0 {
		return nil
	}
	lit := make([][]float32, len(k.lamps))
	for i := range k.lamps {
		l := &k.lamps[i]
		in := shineInputs{list, l.inputs(), k.plainCasters()}
		lit[i] = derived(k, name+" by lamp "+l.name(), in, func() []float32 { return k.shine(list, l) })
	}
	out := make([]colour.RGB, len(list))
	const step = 4096
	parallel.Each((len(list)+step-1)/step, k.workers, func(part int) {
		for q := part * step; q < min(len(list), (part+1)*step); q++ {
			b := &list[q]
			e := k.ambient.Irradiance(b.n)
			for i := range lit {
				if s := lit[i][q]; s > 0 {
					e = e.Add(k.lamps[i].strength().Scale(float64(s)))
				}
			}
			out[q] = colour.RGB{e[0] * float64(b.albedo[0]) / math.Pi, e[1] * float64(b.albedo[1]) / math.Pi, e[2] * float64(b.albedo[2]) / math.Pi}
		}
	})
	return out
}

// shine returns the irradiance of a lamp on each bounce over pi times its radiance.
func (k *Look) shine(list []bounce, l *lamp) []float32 {
	out := make([]float32, len(list))
	const step = 1024
	parallel.With((len(list)+step-1)/step, k.workers, accel.NewScratch, func(sc *accel.Scratch, part int) {
		for q := part * step; q < min(len(list), (part+1)*step); q++ {
			b := &list[q]
			if c := l.cosine(b.at, b.n); c > 0 {
				if d, _, _, _ := l.toward(b.at); !k.blocked(sc, b.at, d, l) {
					out[q] = float32(c)
				}
			}
		}
	})
	return out
}

// joined puts the bounces of rows one after another and returns where each begins.
func joined(rows [][]bounce) (list []bounce, first []int32) {
	first = make([]int32, len(rows)+1)
	for i, r := range rows {
		first[i+1] = first[i] + int32(len(r))
	}
	return slices.Concat(rows...), first
}
