package bake

import (
	"math"
	"runtime"

	"catchlight/render/accel"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// Relay is a low mesh cut finely, so that a picture of it shows what maps say: each vertex has the place and the normal that a map, or the
// high mesh itself, has there.
type Relay struct {
	Tri  []uint32 // of the low mesh, a vertex each
	U, V []float64
	Mesh mesh.Mesh // triangles and texture coordinates; places and normals are the caller's
}

// Cut cuts the triangles of a base so that no edge is longer than edge, mm.
func (b *Base) Cut(edge float64) *Relay {
	r := &Relay{}
	for i, t := range b.Mesh.Tri {
		p := [3]geom.Vec{b.Mesh.P[t[0]], b.Mesh.P[t[1]], b.Mesh.P[t[2]]}
		long := math.Sqrt(max(p[1].Sub(p[0]).Len2(), p[2].Sub(p[1]).Len2(), p[0].Sub(p[2]).Len2()))
		n := max(1, min(512, int(math.Ceil(long/edge))))
		first := uint32(len(r.Tri))
		for row := range n + 1 {
			for k := range n + 1 - row {
				u, v := float64(k)/float64(n), float64(row)/float64(n)
				r.Tri, r.U, r.V = append(r.Tri, uint32(i)), append(r.U, u), append(r.V, v)
				w := 1 - u - v
				a, c, d := b.Mesh.UV[t[0]], b.Mesh.UV[t[1]], b.Mesh.UV[t[2]]
				r.Mesh.UV = append(r.Mesh.UV, geom.UV{U: w*a.U + u*c.U + v*d.U, V: w*a.V + u*c.V + v*d.V})
			}
		}
		at := func(row, k int) uint32 { return first + uint32(row*(n+1)-row*(row-1)/2+k) }
		for row := range n {
			for k := range n - row {
				r.Mesh.Tri = append(r.Mesh.Tri, [3]uint32{at(row, k), at(row, k+1), at(row+1, k)})
				if k+1 < n-row {
					r.Mesh.Tri = append(r.Mesh.Tri, [3]uint32{at(row, k+1), at(row+1, k+1), at(row+1, k)})
				}
			}
		}
	}
	return r
}

// Truth is what the high mesh has at the vertices of a relay: as a bake's rays meet it, without texels and codes.
type Truth struct {
	P, N   []geom.Vec
	Height []float64
	Met    []bool
}

// Truth casts a relay's rays.
func (b *Bake) Truth(r *Relay) *Truth {
	n := len(r.Tri)
	t := &Truth{P: make([]geom.Vec, n), N: make([]geom.Vec, n), Height: make([]float64, n), Met: make([]bool, n)}
	const run = 4096
	parallel.With((n+run-1)/run, runtime.GOMAXPROCS(0), accel.NewScratch, func(k *accel.Scratch, block int) {
		for i := block * run; i < min(n, (block+1)*run); i++ {
			_, o, d, at := b.Low.ray(r.Tri[i], r.U[i], r.V[i])
			var q Spot
			if b.Nearest {
				q, t.Met[i], _ = b.High.nearest(k, o, d, at, at+b.Low.Depth)
			} else {
				q, t.Met[i], _ = b.High.meet(k, o, d, at+b.Low.Depth)
			}
			t.P[i], t.N[i], t.Height[i] = q.P, q.N, at-q.T
		}
	})
	return t
}

// Raised is the place at height h along the smooth normal over a vertex of a relay.
func (b *Base) Raised(r *Relay, i int, h float64) geom.Vec {
	p, _, d, _ := b.ray(r.Tri[i], r.U[i], r.V[i])
	return p.Mad(-h, d)
}

// Decoded is the normal, unit, that a map's vector stands for at a vertex of a relay.
func (b *Base) Decoded(r *Relay, i int, v geom.Vec) geom.Vec {
	n := b.Frames.Decode(b.Mesh, r.Tri[i], r.U[i], r.V[i], v.X, v.Y, v.Z).Unit()
	if !n.Finite() {
		return geom.Vec{Z: 1}
	}
	return n
}
