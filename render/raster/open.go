package raster

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// openRays is how many rays say how open a vertex of flesh is, and openReach how far they go in radii of the eye: a third of a globe, so
// that the rims, the corners and the folds of the lids count and the other side of the face does not.
const (
	openRays  = 20
	openReach = 0.35
)

// openInputs is all that the openness of flesh reads.
type openInputs struct {
	Object  int
	Objects []frozen.Object
}

// bakeOpen keeps how open an object's vertices are.
func (k *Look) bakeOpen(i int, b *frozen.Object) {
	if k.set.Occlusion == "baked" && b.Shape == frozen.Mesh && len(b.Mesh.N) == len(b.Mesh.P) {
		k.open[i] = derived(k, "raster openness of "+b.Name, openInputs{i, k.seen()}, func() []float32 { return k.openness(i) })
	}
}

// openness returns for each vertex of flesh about an eye the share of the surroundings that it sees past what stands near: the band
// where a lid meets the globe, the corners, the folds.
//
// Source: Landis, Production-Ready Global Illumination, SIGGRAPH course 2002 (baked ambient occlusion).
func (k *Look) openness(i int) []float32 {
	b := &k.scene.Objects[i]
	m := b.Mesh
	out := make([]float32, len(m.P))
	const step = 512
	parallel.With((len(m.P)+step-1)/step, k.workers, accel.NewScratch, func(sc *accel.Scratch, part int) {
		for v := part * step; v < min(len(m.P), (part+1)*step); v++ {
			p, n := b.ToWorld.Point(m.P[v]), b.ToWorld.Vector(m.N[v]).Unit()
			out[v] = 1
			reach := k.nearEye(p)
			if reach <= 0 {
				continue
			}
			f := geom.NewFrame(n)
			p = p.Mad(1e-3*reach, n)
			hidden := 0.0
			for s := range openRays {
				d := f.World(geom.CosineHemisphere((float64(s)+0.5)/openRays, math.Mod(float64(s)*0.618034, 1)))
				hidden += k.hidden(sc, geom.Ray{O: p, D: d}, reach)
			}
			out[v] = float32(1 - hidden/openRays)
		}
	})
	// Few rays leave grain, which the neighbours even out.
	for range 2 {
		sum, count := make([]float32, len(out)), make([]float32, len(out))
		for _, t := range m.Tri {
			mean := (out[t[0]] + out[t[1]] + out[t[2]]) / 3
			for _, v := range t {
				sum[v], count[v] = sum[v]+mean, count[v]+1
			}
		}
		for v := range out {
			if count[v] > 0 {
				out[v] = sum[v] / count[v]
			}
		}
	}
	return out
}

// nearEye returns how far rays from a place go, mm: 0 where no eye is near.
func (k *Look) nearEye(p geom.Vec) float64 {
	for _, y := range k.balls {
		if p.Sub(y.centre).Len() < 2.2*y.radius {
			return openReach * y.radius
		}
	}
	return 0
}

// hidden returns how much of a ray is held back within reach: less by what is farther, so that no edge shows where the reach ends.
func (k *Look) hidden(sc *accel.Scratch, r geom.Ray, reach float64) float64 {
	h := frozen.Hit{T: reach}
	inv := geom.Vec{X: 1 / r.D.X, Y: 1 / r.D.Y, Z: 1 / r.D.Z}
	near := reach
	for i := range k.scene.Objects {
		b := &k.scene.Objects[i]
		if b.Mask&frozen.CameraRays == 0 || letsThrough(b.Material.Kind) || b.Material.Kind == frozen.Inner || b.Material.Kind == frozen.Hair || b.Shape == frozen.Mesh && !b.Closed {
			continue
		}
		if _, _, ok := b.Bounds.Hit(r.O, inv, 0, near); ok && b.Closest(sc, r, 0, near, &h) {
			near = h.T
		}
	}
	return 1 - (near/reach)*(near/reach)
}

// opened returns what is left of light from all round on a place that is open by share o, and whose neighbours, of the same colour, send
// it on: for each channel at least o itself.
//
// Source: Jimenez, Wu, Pesce and Jarabo, Practical Realtime Strategies for Accurate Indirect Occlusion, SIGGRAPH course 2016 (constants
// from memory).
func opened(o float64, c colour.RGB) (out colour.RGB) {
	for i, q := range c {
		a, b, d := 2.0404*q-0.3324, -4.7951*q+0.6417, 2.7552*q+0.6903
		out[i] = max(o, ((a*o+b)*o+d)*o)
	}
	return out
}
