package mesh

import (
	"math"

	"catchlight/scene/geom"
)

// Tangents is the frame that a tangent-space normal map is read in, at the corners of a mesh's triangles.
type Tangents struct {
	T      []geom.Vec  // unit, square to the vertex normal: the direction in which u grows
	Sign   []int8      // one a T: the direction up in the picture is Sign (N x T), the standard's w
	Corner [][3]uint32 // one a triangle: indices into T of its corners
}

// Decode takes a vector (x, y, z) of a tangent-space normal map, x along growing u and y up in the picture, into the mesh's
// space at barycentrics u, v of a triangle: x T + y B + z N, where B = Sign (N x T) at each corner and all three are
// interpolated as they are, neither made unit nor square to each other. The result is not of unit length.
//
// A map that was baked by the inverse of this comes back exactly. Sources: glTF 2.0, section 3.7.2.1, for B; Mikkelsen 2008
// (see MakeTangents) for the interpolation.
func (f *Tangents) Decode(m *Mesh, tri uint32, u, v, x, y, z float64) (out geom.Vec) {
	c, t := f.Corner[tri], m.Tri[tri]
	for k, w := range [3]float64{1 - u - v, u, v} {
		n, d := m.N[t[k]], f.T[c[k]]
		out = out.Mad(w*x, d).Mad(w*y*float64(f.Sign[c[k]]), n.Cross(d)).Mad(w*z, n)
	}
	return out
}

// anyHand marks a triangle whose texture coordinates span no area: it joins whichever group reaches it.
const anyHand = 0

// MakeTangents computes the tangents of m, which has N and UV. Corners that agree in position, normal and texture
// coordinates are one; round each, triangles joined by edges and mapped with the same handedness share the mean of
// their directions of u, projected into the tangent plane and weighted by the corner's angle there. So a frame is
// smooth across an edge but splits where the mapping is mirrored or torn. Triangles without area take the frame of
// another at the same corner, or, as corners with no mapping at all, any direction square to the normal.
//
// Source: Mikkelsen, Simulation of Wrinkled Surfaces Revisited, MSc thesis, University of Copenhagen, 2008, section
// on tangent space; glTF 2.0, section 3.7.2.1, asks for these where a file has none.
func MakeTangents(m *Mesh) *Tangents {
	tri, kinds := weldCorners(m)
	dir, hand, flat := directions(m)
	next := neighbours(tri, flat)
	f := &Tangents{Corner: make([][3]uint32, len(tri))}
	for i := range f.Corner {
		f.Corner[i] = [3]uint32{noFrame, noFrame, noFrame}
	}
	type spot struct{ tri, corner int32 }
	var fan []spot
	// group collects the corners round one vertex that are reached from a triangle, and gives them one frame. Those
	// with a handedness start groups first, so that triangles of none are taken in.
	group := func(i, k int, want int8) {
		id := uint32(len(f.T))
		vertex := tri[i][k]
		n := kinds[vertex].n
		sum := geom.Vec{}
		fan = append(fan[:0], spot{int32(i), int32(k)})
		f.Corner[i][k] = id
		for len(fan) > 0 {
			s := fan[len(fan)-1]
			fan = fan[:len(fan)-1]
			t := m.Tri[s.tri]
			if hand[s.tri] == want {
				p := m.P[t[s.corner]]
				e1, e2 := inPlane(m.P[t[(s.corner+1)%3]].Sub(p), n), inPlane(m.P[t[(s.corner+2)%3]].Sub(p), n)
				d := inPlane(dir[s.tri], n)
				if l := d.Len(); l > 0 {
					sum = sum.Mad(angle(e1, e2)/l, d)
				}
			}
			for _, e := range [2]int32{s.corner, (s.corner + 2) % 3} { // the two edges at the corner
				j := next[s.tri][e]
				if j < 0 || hand[j] != want && hand[j] != anyHand {
					continue
				}
				for c := range 3 {
					if tri[j][c] == vertex && f.Corner[j][c] == noFrame {
						f.Corner[j][c] = id
						fan = append(fan, spot{j, int32(c)})
					}
				}
			}
		}
		if l := sum.Len(); l > 1e-12 {
			sum = sum.Mul(1 / l)
		} else {
			sum = geom.NewFrame(n).S
		}
		f.T, f.Sign = append(f.T, sum), append(f.Sign, want)
	}
	for _, handed := range [2]bool{true, false} {
		for i := range tri {
			if flat[i] || (hand[i] != anyHand) != handed {
				continue
			}
			for k := range 3 {
				if f.Corner[i][k] == noFrame {
					sign := hand[i]
					if sign == anyHand {
						sign = 1
					}
					group(i, k, sign)
				}
			}
		}
	}
	f.borrow(tri, kinds, flat)
	return f
}

// directions returns for each triangle the unit direction of growing u, the handedness of its texture coordinates (0 where they
// span nothing), and whether two of its corners are in one place.
func directions(m *Mesh) (dir []geom.Vec, hand []int8, flat []bool) {
	dir, hand, flat = make([]geom.Vec, len(m.Tri)), make([]int8, len(m.Tri)), make([]bool, len(m.Tri))
	for i, t := range m.Tri {
		p0, p1, p2 := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		if p0 == p1 || p1 == p2 || p2 == p0 {
			flat[i] = true
			continue
		}
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		du1, dv1, du2, dv2 := b.U-a.U, a.V-b.V, c.U-a.U, a.V-c.V // v upward
		det := du1*dv2 - du2*dv1
		d := p1.Sub(p0).Mul(dv2).Sub(p2.Sub(p0).Mul(dv1))
		l := d.Len()
		if !(math.Abs(det) > math.SmallestNonzeroFloat32) || !(l > 0) || math.IsInf(l, 0) {
			continue
		}
		hand[i] = 1
		if det < 0 {
			hand[i], l = -1, -l
		}
		dir[i] = d.Mul(1 / l)
	}
	return dir, hand, flat
}

// noFrame is a corner without a frame.
const noFrame = math.MaxUint32

// borrow gives triangles with two corners in one place the frame of a sound one.
func (f *Tangents) borrow(tri [][3]uint32, kinds []cornerKind, flat []bool) {
	first := make([]uint32, len(kinds))
	for v := range first {
		first[v] = noFrame
	}
	for i, t := range tri {
		for k, v := range t {
			if !flat[i] && first[v] == noFrame {
				first[v] = f.Corner[i][k]
			}
		}
	}
	for i, t := range tri {
		if !flat[i] {
			continue
		}
		for k, v := range t {
			if first[v] == noFrame {
				first[v] = uint32(len(f.T))
				f.T, f.Sign = append(f.T, geom.NewFrame(kinds[v].n).S), append(f.Sign, 1)
			}
			f.Corner[i][k] = first[v]
		}
	}
}

// cornerKind is what corners must share to be one.
type cornerKind struct {
	p, n geom.Vec
	uv   geom.UV
}

// weldCorners numbers the distinct corners of m's triangles.
func weldCorners(m *Mesh) (tri [][3]uint32, kinds []cornerKind) {
	to, kinds := intern(len(m.P), func(v int) cornerKind {
		return cornerKind{m.P[v].Add(geom.Vec{}), m.N[v].Add(geom.Vec{}), m.UV[v]} // -0 becomes 0
	}, func(k cornerKind) uint64 {
		return mix(mix(mix(hashVec(k.p), hashVec(k.n)), math.Float64bits(k.uv.U+0)), math.Float64bits(k.uv.V+0))
	})
	tri = make([][3]uint32, len(m.Tri))
	for i, t := range m.Tri {
		tri[i] = [3]uint32{to[t[0]], to[t[1]], to[t[2]]}
	}
	return tri, kinds
}

// neighbours returns for each edge k (corner k to k + 1) of each triangle the triangle across, which runs along it the
// other way, or -1. Triangles marked as flat have none.
func neighbours(tri [][3]uint32, flat []bool) [][3]int32 {
	id, count := edgesOf(tri)
	open := make([][2]int32, count) // by direction: 3 x triangle + edge + 1 of one that waits for its neighbour
	next := make([][3]int32, len(tri))
	for i, t := range tri {
		next[i] = [3]int32{-1, -1, -1}
		if flat[i] {
			continue
		}
		for k := range 3 {
			run := 0
			if t[k] > t[(k+1)%3] {
				run = 1
			}
			o := &open[id[i][k]]
			if j := o[1-run] - 1; j >= 0 {
				next[i][k], next[j/3][j%3] = j/3, int32(i)
				o[1-run] = 0
			} else if o[run] == 0 {
				o[run] = int32(3*i + k + 1)
			}
		}
	}
	return next
}

// inPlane projects v into the plane square to the unit normal n.
func inPlane(v, n geom.Vec) geom.Vec { return v.Mad(-v.Dot(n), n) }
