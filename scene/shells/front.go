package shells

import (
	"math"
	"sync"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// closeBy is how far a surface is close by, as a share of the eye's size: 0.5 mm of a person's eye, the depth of the deepest crypts,
// where pupil and globe measure mm. Our own choice.
const closeBy = 0.02

// Cavity returns the part of each triangle of the inner shell: one whose rays outward mostly meet the inner shell
// again before the outer faces a cavity and absorbs, as the choroid and the back of the iris do. Rays that meet it again close by
// say nothing: the walls of an iris' crypts and furrows stand near each other, and they are tissue.
func Cavity(m *mesh.Mesh, inner, outer Rays, workers int) []mesh.Part {
	const rays = 16
	var fan [rays]geom.Vec
	for i := range fan {
		fan[i] = geom.CosineHemisphere((float64(i)+0.5)/rays, math.Mod((float64(i)+0.5)*0.6180339887498949, 1))
	}
	part := make([]mesh.Part, len(m.Tri))
	size := m.Bounds().Size().MaxAbs()
	eps, close := 1e-5*size, closeBy*size
	const block = 256
	own := func() [2]Ray { return [2]Ray{inner(), outer()} }
	parallel.With((len(m.Tri)+block-1)/block, workers, own, func(ray [2]Ray, y int) {
		for i := y * block; i < min(len(m.Tri), (y+1)*block); i++ {
			t := m.Tri[i]
			a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
			n := b.Sub(a).Cross(c.Sub(a))
			if n.Len2() == 0 {
				continue
			}
			f := geom.NewFrame(n.Unit())
			o := geom.Mix(a, b, c, 1.0/3, 1.0/3).Mad(eps, f.N)
			again, free := 0, 0
			for k, v := range fan {
				d := f.World(v)
				in, met := ray[0](o, d, math.Inf(1))
				if met {
					_, out := ray[1](o, d, in.T*(1-1e-6))
					met = !out
				}
				switch {
				case !met:
					free++
				case in.T > close:
					again++
				}
				if left := rays - 1 - k; again > free+left || free >= again+left {
					break // the rest can't turn it
				}
			}
			if again > free {
				part[i] = mesh.Backing
			}
		}
	})
	return part
}

// Front returns what a ray from outside toward the globe's centre meets first of an imported inner shell: its texture
// coordinates and the place. Within the pupil it is the pupil's margin.
func Front(m *mesh.Mesh, rays Rays) func(v geom.Vec) (geom.UV, geom.Vec) {
	far := 2 * (m.Bounds().Size().Len() + m.Bounds().Centre().Len())
	pool := sync.Pool{New: func() any { return rays() }}
	return func(v geom.Vec) (geom.UV, geom.Vec) {
		ray := pool.Get().(Ray)
		defer pool.Put(ray)
		var h Hit
		met := false
		for i := 0; i < 64; i++ {
			if h, met = ray(v.Mul(far), v.Neg(), far); met && (m.Part == nil || m.Part[h.Triangle] == mesh.Tissue) {
				break
			}
			if v.Z <= 0.3 {
				break
			}
			// Outward from the axis, until there is tissue.
			if v.X == 0 && v.Y == 0 {
				v.X = 0.01
			}
			r := math.Hypot(v.X, v.Y)
			v = geom.Vec{X: v.X * (1 + 0.01/r), Y: v.Y * (1 + 0.01/r), Z: v.Z}.Unit()
		}
		var uv geom.UV
		q := v.Mul(far)
		if met {
			t := m.Tri[h.Triangle]
			q = geom.Mix(m.P[t[0]], m.P[t[1]], m.P[t[2]], h.U, h.V)
			if m.UV != nil {
				a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
				w := 1 - h.U - h.V
				uv = geom.UV{U: w*a.U + h.U*b.U + h.V*c.U, V: w*a.V + h.U*b.V + h.V*c.V}
			}
		}
		return uv, q
	}
}
