package frozen

import (
	"math"

	"catchlight/render/accel"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// Depth says how thick an object is below each triangle of its mesh: half of the way from the triangle's middle straight in to
// the far side, in mm of the mesh's frame, which in a ball is its radius. It is +Inf where that way ends at a black backing or
// nowhere. It only sets the odds by which walks are guided, which no mean depends on.
type Depth []float32

// NewDepth casts one ray from each triangle, on that many workers.
func NewDepth(m *mesh.Mesh, bvh *accel.BVH, workers int) Depth {
	const run = 2048
	out := make(Depth, len(m.Tri))
	parallel.With((len(out)+run-1)/run, workers, accel.NewScratch, func(sc *accel.Scratch, k int) {
		for i := k * run; i < min((k+1)*run, len(out)); i++ {
			t := m.Tri[i]
			p0, p1, p2 := m.P[t[0]], m.P[t[1]], m.P[t[2]]
			mid := geom.Mix(p0, p1, p2, 1./3, 1./3)
			in := p2.Sub(p0).Cross(p1.Sub(p0))
			out[i] = float32(math.Inf(1))
			if in.Len2() == 0 {
				continue
			}
			in = in.Unit()
			eps := originUlps * max(mid.MaxAbs(), 1e-3)
			var h accel.Hit
			if bvh.Closest(sc, mid.Mad(eps, in), in, 0, math.Inf(1), &h) && (m.Part == nil || m.Part[h.Prim] != mesh.Backing) {
				out[i] = float32(h.T / 2)
			}
		}
	})
	return out
}

// Thickness returns the object's Depth below a triangle, in mm of the world.
func (b *Object) Thickness(prim uint32) float64 { return float64(b.Depth[prim]) * b.Scale }
