package inspect

import (
	"cmp"
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// half is one triangle's side of an edge.
type half struct {
	to      uint32 // the greater place
	tri     uint32
	corner  uint8 // of the triangle, at which the side begins
	forward bool  // from the lesser to the greater place
}

// topology knows which triangles share edges, by places: vertices in one place are one, whatever their coordinates.
type topology struct {
	m     *mesh.Mesh
	place []uint32   // of a vertex
	pos   []geom.Vec // of a place
	start []uint32   // of a place's sides in side
	side  []half     // by lesser place, then by greater
}

// topologyOf takes a welded mesh. Triangles with two corners in one place have no sides.
func topologyOf(m *mesh.Mesh) *topology {
	t := &topology{m: m, place: make([]uint32, len(m.P))}
	at := make(map[geom.Vec]uint32, len(m.P))
	for i, p := range m.P {
		k, ok := at[p]
		if !ok {
			k = uint32(len(t.pos))
			at[p] = k
			t.pos = append(t.pos, p)
		}
		t.place[i] = k
	}
	t.start = make([]uint32, len(t.pos)+1)
	sides := func(f func(lesser uint32, h half)) {
		for i, c := range m.Tri {
			p := [3]uint32{t.place[c[0]], t.place[c[1]], t.place[c[2]]}
			if p[0] == p[1] || p[1] == p[2] || p[2] == p[0] {
				continue
			}
			for k := range 3 {
				a, b := p[k], p[(k+1)%3]
				f(min(a, b), half{to: max(a, b), tri: uint32(i), corner: uint8(k), forward: a < b})
			}
		}
	}
	sides(func(a uint32, _ half) { t.start[a+1]++ })
	for i := range t.pos {
		t.start[i+1] += t.start[i]
	}
	t.side = make([]half, t.start[len(t.pos)])
	next := slices.Clone(t.start)
	sides(func(a uint32, h half) { t.side[next[a]] = h; next[a]++ })
	for i := range t.pos {
		slices.SortStableFunc(t.side[t.start[i]:t.start[i+1]], func(a, b half) int { return cmp.Compare(a.to, b.to) })
	}
	return t
}

// edges calls f for each edge with all its sides.
func (t *topology) edges(f func(a, b uint32, sides []half)) {
	for a := range t.pos {
		list := t.side[t.start[a]:t.start[a+1]]
		for i := 0; i < len(list); {
			j := i + 1
			for j < len(list) && list[j].to == list[i].to {
				j++
			}
			f(uint32(a), list[i].to, list[i:j])
			i = j
		}
	}
}

// normal is that of a triangle as it winds, twice its area long.
func (t *topology) normal(tri uint32) geom.Vec {
	c := t.m.Tri[tri]
	return t.m.P[c[1]].Sub(t.m.P[c[0]]).Cross(t.m.P[c[2]].Sub(t.m.P[c[0]]))
}

// middle is that of an edge.
func (t *topology) middle(a, b uint32) geom.Vec { return t.pos[a].Add(t.pos[b]).Mul(0.5) }

// rim is a closed chain of open edges.
type rim struct {
	at     geom.Vec // mean of its places
	across float64  // twice the mean distance from there
	length float64
	edges  int
}

// rims chains open edges.
func (t *topology) rims() (list []rim) {
	next := map[uint32][]uint32{}
	t.edges(func(a, b uint32, s []half) {
		if len(s) == 1 {
			next[a] = append(next[a], b)
			next[b] = append(next[b], a)
		}
	})
	seen := map[uint32]bool{}
	var starts []uint32
	for k := range next {
		starts = append(starts, k)
	}
	slices.Sort(starts)
	for _, s := range starts {
		if seen[s] {
			continue
		}
		var all []uint32
		stack := []uint32{s}
		seen[s] = true
		r := rim{}
		for len(stack) > 0 {
			p := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			all = append(all, p)
			for _, q := range next[p] {
				r.length += t.pos[p].Sub(t.pos[q]).Len() / 2
				r.edges++
				if !seen[q] {
					seen[q] = true
					stack = append(stack, q)
				}
			}
		}
		r.edges /= 2
		for _, p := range all {
			r.at = r.at.Add(t.pos[p].Mul(1 / float64(len(all))))
		}
		for _, p := range all {
			r.across += 2 * t.pos[p].Sub(r.at).Len() / float64(len(all))
		}
		list = append(list, r)
	}
	slices.SortStableFunc(list, func(a, b rim) int { return cmp.Compare(b.across, a.across) })
	return list
}

// turn is the angle in radians by which a surface turns over an edge of two sides that agree in winding, and how far its facets
// then lie beneath the arc that they stand for: a chord c whose neighbours turn by t has c tan(t/4)/2. Source: the sagitta of a
// circular arc.
func (t *topology) turn(s []half) (angle, sag float64) {
	if len(s) != 2 || s[0].forward == s[1].forward {
		return 0, 0
	}
	n0, n1 := t.normal(s[0].tri), t.normal(s[1].tri)
	l0, l1 := n0.Len(), n1.Len()
	c := t.m.Tri[s[0].tri]
	e := t.m.P[c[s[0].corner]].Sub(t.m.P[c[(s[0].corner+1)%3]]).Len()
	if !(l0 > 0 && l1 > 0 && e > 0) {
		return 0, 0
	}
	angle = math.Atan2(n0.Cross(n1).Len(), n0.Dot(n1))
	// Heights of both triangles over the edge.
	return angle, (l0 + l1) / (2 * e) * math.Tan(angle/4) / 2
}
