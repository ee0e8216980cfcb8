package mesh

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"catchlight/scene/geom"
)

// intern numbers the distinct values among key(0) to key(n-1) in the order in which they come. id holds the number of
// each, keys the values. A value that differs from itself (NaN) gets a number of its own each time. Its time grows with n
// alone, however the values lie, as long as hash spreads them.
func intern[K comparable](n int, key func(i int) K, hash func(K) uint64) (id []uint32, keys []K) {
	t := newTable[K](n)
	id = make([]uint32, n)
	for i := range id {
		k := key(i)
		id[i] = t.number(k, hash(k))
	}
	return id, t.keys
}

// table is a hash table of values and their numbers, with open addressing. It does not grow.
type table[K comparable] struct {
	keys []K
	slot []uint32 // number + 1; 0 is free
	mask uint64
}

// newTable makes room for n values.
func newTable[K comparable](n int) *table[K] {
	size := 1 << bits.Len(uint(n+n/2))
	return &table[K]{slot: make([]uint32, size), mask: uint64(size - 1)}
}

// number returns the number of k, a new one where it has none.
func (t *table[K]) number(k K, hash uint64) uint32 {
	if same := k; same == k { // else it is NaN
		for h := hash & t.mask; ; h = (h + 1) & t.mask {
			s := t.slot[h]
			if s == 0 {
				t.slot[h] = uint32(len(t.keys) + 1)
				break
			}
			if t.keys[s-1] == k {
				return s - 1
			}
		}
	}
	t.keys = append(t.keys, k)
	return uint32(len(t.keys) - 1)
}

// find returns the number of k, if it has one.
func (t *table[K]) find(k K, hash uint64) (uint32, bool) {
	for h := hash & t.mask; ; h = (h + 1) & t.mask {
		s := t.slot[h]
		if s == 0 {
			return 0, false
		}
		if t.keys[s-1] == k {
			return s - 1, true
		}
	}
}

// mix takes one more word into a hash. Source: the finaliser of splitmix64 (Steele, Lea and Flood, OOPSLA 2014).
func mix(h, x uint64) uint64 {
	h ^= x + 0x9e3779b97f4a7c15
	h = (h ^ h>>30) * 0xbf58476d1ce4e5b9
	h = (h ^ h>>27) * 0x94d049bb133111eb
	return h ^ h>>31
}

func hashVec(v geom.Vec) uint64 {
	return mix(mix(mix(0, math.Float64bits(v.X)), math.Float64bits(v.Y)), math.Float64bits(v.Z))
}

// wedge is what a vertex of a texture seam is told by: its place and its texture coordinates.
type wedge struct {
	place uint32
	uv    geom.UV
}

func hashWedge(w wedge) uint64 {
	// -0 equals 0, so it must hash as 0.
	return mix(mix(uint64(w.place), math.Float64bits(w.uv.U+0)), math.Float64bits(w.uv.V+0))
}

// edgesOf numbers the undirected edges of tri in the order in which they come: id[i][k] is that of corner k to k + 1 of
// triangle i. Edges are sorted into the lists of their smaller ends, which lie near each other in memory where triangles do.
func edgesOf(tri [][3]uint32) (id [][3]uint32, count int) {
	top := uint32(0)
	for _, t := range tri {
		top = max(top, t[0], t[1], t[2])
	}
	start := make([]uint32, top+2)
	for _, t := range tri {
		for k := range 3 {
			start[min(t[k], t[(k+1)%3])+1]++
		}
	}
	for v := range top + 1 {
		start[v+1] += start[v]
	}
	type half struct{ far, at uint32 } // the larger end; 3 x triangle + corner
	list := make([]half, 3*len(tri))
	fill := slices.Clone(start)
	for i, t := range tri {
		for k := range 3 {
			e := edgeOf(t[k], t[(k+1)%3])
			list[fill[e[0]]] = half{e[1], uint32(3*i + k)}
			fill[e[0]]++
		}
	}
	first := make([]uint32, 3*len(tri)) // the earliest use of the same edge
	for v := range top + 1 {
		own := list[start[v]:start[v+1]]
		if len(own) > 32 { // a hub of many triangles
			slices.SortFunc(own, func(a, b half) int { return cmp.Or(cmp.Compare(a.far, b.far), cmp.Compare(a.at, b.at)) })
			for i, h := range own {
				if first[h.at] = h.at; i > 0 && own[i-1].far == h.far {
					first[h.at] = first[own[i-1].at]
				}
			}
			continue
		}
		for i, h := range own {
			first[h.at] = h.at
			for _, g := range own[:i] {
				if g.far == h.far {
					first[h.at] = g.at
					break
				}
			}
		}
	}
	id = make([][3]uint32, len(tri))
	for h, f := range first {
		if int(f) == h {
			id[h/3][h%3] = uint32(count)
			count++
		} else {
			id[h/3][h%3] = id[f/3][f%3]
		}
	}
	return id, count
}
