package accel

// vert is a vertex in the hierarchy's own frame.
type vert [3]float32

// pair is two triangles with the edge v0 v2 in common: t1 is (v0, w1, v2) and t3 is (v0, w3, v2), in either sense. A
// triangle without a partner stands in both places.
type pair struct{ v0, w1, v2, w3, t1, t3 uint32 }

// ringCap limits how many triangles at a vertex are looked at for a partner, so that a fan about one vertex costs no
// more than linear time.
const ringCap = 24

// makePairs pairs triangles greedily, in the order of their numbers: each takes that free neighbour across an edge
// with which the common box is smallest.
func makePairs(v []vert, tri [][3]uint32) []pair {
	// first[k] to first[k+1] in ring: triangles at vertex k
	first := make([]uint32, len(v)+1)
	for _, t := range tri {
		first[t[0]]++
		first[t[1]]++
		first[t[2]]++
	}
	sum := uint32(0)
	for i := range first {
		sum += first[i]
		first[i] = sum
	}
	ring := make([]uint32, 3*len(tri))
	for i := len(tri) - 1; i >= 0; i-- {
		for _, k := range tri[i] {
			first[k]--
			ring[first[k]] = uint32(i)
		}
	}

	pairs := make([]pair, 0, len(tri)/2+len(tri)/8+1)
	used := make([]bool, len(tri))
	for i, t := range tri {
		if used[i] {
			continue
		}
		used[i] = true
		best := pair{t[0], t[1], t[2], t[1], uint32(i), uint32(i)}
		bestArea := float32(0)
		found := false
		for e := 0; e < 3; e++ {
			a, w, c := t[e], t[(e+1)%3], t[(e+2)%3]
			at := a
			if first[c+1]-first[c] < first[a+1]-first[a] {
				at = c
			}
			lo, hi := first[at], first[at+1]
			if hi-lo > ringCap {
				hi = lo + ringCap
			}
			for _, j := range ring[lo:hi] {
				if used[j] {
					continue
				}
				x, ok := across(&tri[j], a, c)
				if !ok {
					continue
				}
				mn, mx := v[a], v[a]
				grow(&mn, &mx, &v[w], &v[w])
				grow(&mn, &mx, &v[c], &v[c])
				grow(&mn, &mx, &v[x], &v[x])
				if s := area(&mn, &mx); !found || s < bestArea {
					found, bestArea = true, s
					best = pair{a, w, c, x, uint32(i), j}
				}
			}
		}
		if found {
			used[best.t3] = true
		}
		pairs = append(pairs, best)
	}
	return pairs
}

// across returns the vertex of t that faces its edge between a and c.
func across(t *[3]uint32, a, c uint32) (x uint32, ok bool) {
	for e := 0; e < 3; e++ {
		p, q, r := t[e], t[(e+1)%3], t[(e+2)%3]
		if p == a && r == c || p == c && r == a {
			return q, true
		}
	}
	return 0, false
}

// pairRefs returns the boxes of the pairs, inflated by boxPad.
func pairRefs(pairs []pair, v []vert) []ref {
	refs := make([]ref, len(pairs))
	for i := range pairs {
		p, r := &pairs[i], &refs[i]
		r.mn, r.mx = v[p.v0], v[p.v0]
		grow(&r.mn, &r.mx, &v[p.w1], &v[p.w1])
		grow(&r.mn, &r.mx, &v[p.v2], &v[p.v2])
		grow(&r.mn, &r.mx, &v[p.w3], &v[p.w3])
		for k := range r.mn {
			r.mn[k] -= boxPad
			r.mx[k] += boxPad
		}
		r.id = uint32(i)
	}
	return refs
}
