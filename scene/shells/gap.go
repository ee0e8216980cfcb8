package shells

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// filmGap is the least distance in mm between the shells of an asset outside the limbus: our own choice.
const filmGap = 0.03

// Gap is the distance in mm at which the inner shell comes to lie beneath the outer: the least that flat triangles allow.
func Gap(outer, inner *mesh.Mesh) float64 { return max(filmGap, sagitta(outer), sagitta(inner)) }

// sagitta returns how far the flat triangles of a globe can lie beneath its surface, from the longest edge e:
// e^2/(8 R) along an edge, at most twice that in the middle of a triangle.
func sagitta(m *mesh.Mesh) float64 {
	var e2 float64
	for _, t := range m.Tri {
		for k := range 3 {
			e2 = max(e2, m.P[t[k]].Sub(m.P[t[(k+1)%3]]).Len2())
		}
	}
	s := m.Bounds().Size()
	return e2 / (4 * (s.X + s.Y) / 4)
}

// Snug moves the outward-facing vertices of the inner shell away from the globe's centre until they lie gap mm
// beneath the outer shell: fully outside the limbus, by the zone weight (1 in the iris, 0 in the sclera) within its blend,
// not at all in the iris. Outside it the outer shell is a thin coat on the tissue, and a gap would show as a clear rim about
// the eye. Gaps of more than a quarter of the distance from the centre are left: such a shell is not a globe there. It
// returns how many vertices moved, and the farthest move.
func Snug(m *mesh.Mesh, outer Rays, zone func(q geom.Vec) float64, gap float64, workers int) (moved int, most float64) {
	hold := mesh.Touching(m, mesh.Backing) // where a triangle faces the cavity; seams hold together
	const block = 1024
	blocks := (len(m.P) + block - 1) / block
	count, far := make([]int, blocks), make([]float64, blocks)
	parallel.With(blocks, workers, outer, func(ray Ray, y int) {
		for i := y * block; i < min(len(m.P), (y+1)*block); i++ {
			q := m.P[i]
			w := 1 - zone(q)
			r := q.Len()
			if w == 0 || r == 0 || hold[i] {
				continue
			}
			dir := q.Mul(1 / r)
			h, ok := ray(q, dir, r/4)
			if !ok || h.T <= gap {
				continue
			}
			move := w * (h.T - gap)
			m.P[i] = q.Mad(move, dir)
			count[y]++
			far[y] = max(far[y], move)
		}
	})
	for y := range count {
		moved, most = moved+count[y], max(most, far[y])
	}
	mesh.Normals(m)
	return
}

// Pierced counts the vertices of in that lie outside the closed mesh m, of at most some 4000 looked at.
func Pierced(m *mesh.Mesh, rays Rays, in *mesh.Mesh) (out, of int) {
	ray := rays()
	step := max(1, len(in.P)/4000)
	// Any direction will do; this one runs along no symmetry of a mesh.
	d := geom.Vec{X: 0.4361, Y: 0.7127, Z: 0.5493}.Unit()
	for i := 0; i < len(in.P); i += step {
		of++
		h, ok := ray(in.P[i], d, math.Inf(1))
		if !ok {
			out++
			continue
		}
		t := m.Tri[h.Triangle]
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		if n.Dot(d) < 0 {
			out++
		}
	}
	return
}
