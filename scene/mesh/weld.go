package mesh

import (
	"math"

	"catchlight/scene/geom"
)

// Weld returns a mesh in which vertices that lie within eps mm of each other and have the same texture coordinates
// are one. Where texture coordinates differ the seam stays, with exactly the same position on both sides. Each vertex
// takes the position of the first within reach, its normal is the mean of those it replaces. Unused vertices go;
// triangles stay, in their order, also those that lose their area. eps is 0 or more; 0 joins equal positions only.
func Weld(m *Mesh, eps float64) *Mesh {
	place, at := places(m.P, eps)
	seen := newTable[wedge](len(m.P))
	to := make([]uint32, len(m.P))
	used := make([]bool, len(m.P))
	for _, t := range m.Tri {
		for _, v := range t {
			used[v] = true
		}
	}
	out := &Mesh{Tri: make([][3]uint32, len(m.Tri)), Part: append([]Part(nil), m.Part...)}
	for v := range m.P {
		if !used[v] {
			continue
		}
		k := wedge{place: place[v]}
		if m.UV != nil {
			k.uv = m.UV[v]
		}
		id := seen.number(k, hashWedge(k))
		if int(id) == len(out.P) {
			out.P = append(out.P, at[place[v]])
			if m.UV != nil {
				out.UV = append(out.UV, m.UV[v])
			}
			if m.N != nil {
				out.N = append(out.N, geom.Vec{})
			}
		}
		to[v] = id
		if m.N != nil {
			out.N[id] = out.N[id].Add(m.N[v])
		}
	}
	for i, t := range m.Tri {
		out.Tri[i] = [3]uint32{to[t[0]], to[t[1]], to[t[2]]}
	}
	if m.N != nil {
		unitOrFacet(out)
	}
	return out
}

// places numbers the distinct positions of p: vertices within eps mm of the first one found in a place share its
// number. at holds the position of each place.
func places(p []geom.Vec, eps float64) (place []uint32, at []geom.Vec) {
	place = make([]uint32, len(p))
	if !(eps > 0) {
		seen := newTable[geom.Vec](len(p))
		for v, x := range p {
			x = x.Add(geom.Vec{}) // -0 becomes 0
			id := seen.number(x, hashVec(x))
			if int(id) == len(at) {
				at = append(at, p[v])
			}
			place[v] = id
		}
		return place, at
	}
	// Cells of four eps: a point reaches into a neighbour on one side at most, and seldom.
	type cell [3]int64
	hash := func(c cell) uint64 { return mix(mix(mix(0, uint64(c[0])), uint64(c[1])), uint64(c[2])) }
	const none = math.MaxUint32
	grid := newTable[cell](len(p))
	head := make([]uint32, 0, len(p)) // the last place in each cell
	next := make([]uint32, 0, len(p)) // the place before it in the same cell
	width := 4 * eps
	for v, x := range p {
		lo := cell{int64(math.Floor((x.X - eps) / width)), int64(math.Floor((x.Y - eps) / width)), int64(math.Floor((x.Z - eps) / width))}
		hi := cell{int64(math.Floor((x.X + eps) / width)), int64(math.Floor((x.Y + eps) / width)), int64(math.Floor((x.Z + eps) / width))}
		id := uint32(none)
		for i := lo[0]; i <= hi[0]; i++ {
			for j := lo[1]; j <= hi[1]; j++ {
				for k := lo[2]; k <= hi[2]; k++ {
					c := cell{i, j, k}
					n, ok := grid.find(c, hash(c))
					if !ok {
						continue
					}
					for q := head[n]; q != none; q = next[q] {
						if at[q].Sub(x).Len2() <= eps*eps && q < id {
							id = q
						}
					}
				}
			}
		}
		if id == none {
			id = uint32(len(at))
			at = append(at, x)
			c := cell{int64(math.Floor(x.X / width)), int64(math.Floor(x.Y / width)), int64(math.Floor(x.Z / width))}
			n := grid.number(c, hash(c))
			if int(n) == len(head) {
				head = append(head, none)
			}
			next = append(next, head[n])
			head[n] = id
		}
		place[v] = id
	}
	return place, at
}

// topology returns the triangles of m with vertices numbered by exact position, and the positions.
func topology(m *Mesh) (tri [][3]uint32, at []geom.Vec, place []uint32) {
	place, at = places(m.P, 0)
	tri = make([][3]uint32, len(m.Tri))
	for i, t := range m.Tri {
		tri[i] = [3]uint32{place[t[0]], place[t[1]], place[t[2]]}
	}
	return tri, at, place
}

// edge is an undirected edge, the smaller vertex first.
type edge [2]uint32

func edgeOf(a, b uint32) edge {
	if a > b {
		a, b = b, a
	}
	return edge{a, b}
}

// Closed counts the edges that keep m from bounding a volume, with vertices of exactly equal position taken as one
// (Weld first where they are only close). open are edges of one triangle; nonManifold are edges of more than two, or
// of two that do not run along it in opposite directions. Triangles with two corners in one place do not count.
// A closed, consistently wound surface gives 0, 0.
func Closed(m *Mesh) (open, nonManifold int) {
	tri, _, _ := topology(m)
	tri = sound(tri)
	id, n := edgesOf(tri)
	type runs struct{ up, down int32 }
	count := make([]runs, n)
	for i, t := range tri {
		for k, e := range id[i] {
			if t[k] < t[(k+1)%3] {
				count[e].up++
			} else {
				count[e].down++
			}
		}
	}
	for _, c := range count {
		switch {
		case c.up+c.down == 1:
			open++
		case c.up != 1 || c.down != 1:
			nonManifold++
		}
	}
	return open, nonManifold
}

// Volume returns the volume that m encloses in mm^3, negative where it is inside out. It means something for a
// closed mesh only. Source: the divergence theorem, a sixth of the sum of the triangles' triple products.
func (m *Mesh) Volume() float64 {
	if len(m.P) == 0 {
		return 0
	}
	o := m.Bounds().Centre() // keeps the terms small
	sum := 0.0
	for _, t := range m.Tri {
		a, b, c := m.P[t[0]].Sub(o), m.P[t[1]].Sub(o), m.P[t[2]].Sub(o)
		sum += a.Dot(b.Cross(c))
	}
	return sum / 6
}

// Normals gives every vertex the mean normal of the triangles about its position, across texture seams too, each weighted
// by sin a/(|e1| |e2|) for its edges e1, e2 there and the angle a between them. With these weights normals are exact where
// the vertices of a fan lie on a sphere, whatever the triangles; at the corner of three square faces they are
// even, however these are cut in triangles. Where the mean vanishes a vertex takes the normal of one of its triangles, or +Z
// where none has an area.
//
// Slivers that single precision can't tell from a line, thinner than 1e-5 of the mesh, have no normal to speak of and would
// weigh most: they count only where a vertex has nothing else.
//
// Source: Max, Weights for Computing Vertex Normals from Facet Normals, JGT 4(2), 1999.
func Normals(m *Mesh) {
	tri, at, place := topology(m)
	type mean struct {
		sum   geom.Vec
		total float64 // of the lengths
	}
	sound, thin := make([]mean, len(at)), make([]mean, len(at))
	least := 1e-5 * m.Bounds().Size().MaxAbs()
	for _, t := range tri {
		p := [3]geom.Vec{at[t[0]], at[t[1]], at[t[2]]}
		n := p[1].Sub(p[0]).Cross(p[2].Sub(p[0]))
		l2 := n.Len2()
		if !(l2 > 0) {
			continue
		}
		e := [3]float64{p[1].Sub(p[0]).Len2(), p[2].Sub(p[1]).Len2(), p[0].Sub(p[2]).Len2()}
		to := sound
		if l2 < least*least*max(e[0], e[1], e[2]) { // the least height is l over the longest edge
			to = thin
		}
		for k := range 3 {
			w := 1 / (e[k] * e[(k+2)%3])
			if !(w <= math.MaxFloat64) {
				continue
			}
			q := &to[t[k]]
			q.sum, q.total = q.sum.Mad(w, n), q.total+w*math.Sqrt(l2)
		}
	}
	m.N = make([]geom.Vec, len(m.P))
	for v := range m.N {
		q := sound[place[v]]
		if q.total == 0 {
			q = thin[place[v]]
		}
		if q.total > 0 {
			m.N[v] = q.sum.Mul(1 / q.total)
		}
	}
	unitOrFacet(m)
}

// angle returns the angle between a and b, exact for small and for nearly straight ones.
func angle(a, b geom.Vec) float64 { return math.Atan2(a.Cross(b).Len(), a.Dot(b)) }

// unitOrFacet brings the normals to unit length. One that vanished becomes the normal of a triangle at its vertex.
func unitOrFacet(m *Mesh) {
	lost := false
	for v, n := range m.N {
		l := n.Len()
		if l > 1e-9 && !math.IsInf(l, 0) {
			m.N[v] = n.Mul(1 / l)
		} else {
			m.N[v], lost = geom.Vec{}, true
		}
	}
	if !lost {
		return
	}
	for _, t := range m.Tri {
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		if l := n.Len(); l > 0 {
			for _, v := range t {
				if m.N[v] == (geom.Vec{}) {
					m.N[v] = n.Mul(1 / l)
				}
			}
		}
	}
	for v := range m.N {
		if m.N[v] == (geom.Vec{}) {
			m.N[v] = geom.Vec{Z: 1}
		}
	}
}
