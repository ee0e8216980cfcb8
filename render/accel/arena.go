package accel

import (
	"fmt"
	"unsafe"

	"catchlight/scene/geom"
)

// block is the unit of the arena: one cache line. Refs count blocks.
type block [64]byte

const (
	leafBit = 1 << 31     // of a ref: it leads to a leaf
	noRef   = 0xffffffff  // no child; also the end of the stack
	perItem = 256 / 64    // blocks of a node and of a leaf
	maxRef  = leafBit - 8 // blocks the arena may have, so that no leaf's ref is noRef

	// boxPad inflates boxes, in the hierarchy's own frame where coordinates are at most 1 and origins at most
	// startOut = 1.25. With u = 2^-24 the box test is wrong by at most 5.75 u along each axis, in position: 1.25 u for
	// origin times reciprocal, 2.25 u each for the reciprocal and the last rounding. The triangle test takes a ray as a
	// hit that passes the triangle by at most 6.75 u across the ray: 2.25 u each for slope, depth and shift. The sum,
	// 12.5 u, is below 16 u. Own computation.
	boxPad = 1.0 / (1 << 20)

	// startOut is how far from the centre a ray may start, in the own frame, before it is moved to the box.
	startOut = 1.25
)

// node is an inner node: bounds of eight children by axis, lower then upper, and their refs. Empty places come last,
// have bounds that no ray meets, and noRef.
type node struct {
	b     [6][8]float32 // min x, max x, min y, max y, min z, max z
	child [8]uint32
	_     [8]uint32
}

// leaf holds four pairs; lanes 0 to 3 of w and prim are the first triangles, lanes 4 to 7 the second. Unused places
// repeat the last pair. All that a miss touches is in the first three cache lines. corners says of each lane which of
// its triangle's corners are v0 and w: number of v0 plus four times that of w, plus sliver for a triangle in which
// single precision can't tell a place well.
type leaf struct {
	v0, v2  [3][4]float32
	w       [3][8]float32
	prim    [8]uint32
	corners [8]uint32
}

// emitter lays the tree out: depth first, the leaves of a node right behind it.
type emitter struct {
	s     *sah
	pairs []pair
	v     []vert
	tri   [][3]uint32
	mem   []block
	at    uint32
	kids  int
	nodes int
	leafs int
	depth int
}

// emit lays out the arena.
func (b *BVH) emit(s *sah, pairs []pair, v []vert) error {
	inner, ends := s.count(0)
	blocks := perItem * (inner + ends)
	if blocks > maxRef {
		return fmt.Errorf("accel: the hierarchy needs %d blocks of %d bytes: more than %d", blocks, len(block{}), maxRef)
	}
	e := &emitter{s: s, pairs: pairs, v: v, tri: b.tri, mem: newArena(blocks)}
	b.mem = e.mem
	b.base = unsafe.Pointer(unsafe.SliceData(b.mem))
	b.root = e.alloc(0)
	if s.nodes[0].l < 0 {
		e.leaf(b.root, 0)
	} else {
		e.inner(b.root, 0, 1)
	}
	if need := 7*e.depth + 2; need > stackSize {
		return fmt.Errorf("accel: the hierarchy is %d deep and needs a stack of %d: more than %d", e.depth, need, stackSize)
	}
	st := &b.stats
	st.Nodes, st.Leaves, st.Depth = e.nodes, e.leafs, e.depth
	st.Bytes = blocks * len(block{})
	if e.nodes > 0 {
		st.Children = float64(e.kids) / float64(e.nodes)
	}
	st.Fill = float64(st.Triangles) / float64(e.leafs)
	st.Paired = 2 * float64(st.Triangles-len(pairs)) / float64(st.Triangles)
	return nil
}

// count returns the number of wide nodes and of leaves below and including ni.
func (s *sah) count(ni int32) (inner, ends int) {
	if s.nodes[ni].l < 0 {
		return 0, 1
	}
	var ch [8]int32
	inner = 1
	for _, c := range ch[:s.children(ni, &ch)] {
		i, e := s.count(c)
		inner += i
		ends += e
	}
	return inner, ends
}

// newArena returns n zeroed blocks that start on a cache line.
func newArena(n int) []block {
	m := make([]block, n+1)
	skip := -uintptr(unsafe.Pointer(&m[0])) & 63
	return unsafe.Slice((*block)(unsafe.Add(unsafe.Pointer(&m[0]), skip)), n)
}

// alloc takes room for node ni and returns its ref.
func (e *emitter) alloc(ni int32) uint32 {
	r := e.at
	e.at += perItem
	if e.s.nodes[ni].l < 0 {
		r |= leafBit
	}
	return r
}

func (e *emitter) inner(r uint32, ni int32, depth int) {
	var ch [8]int32
	k := e.s.children(ni, &ch)
	e.nodes++
	e.kids += k
	e.depth = max(e.depth, depth)
	n := (*node)(unsafe.Pointer(&e.mem[r]))
	for i := range n.child {
		mn, mx := emptyBounds()
		if i < k {
			mn, mx = e.s.nodes[ch[i]].mn, e.s.nodes[ch[i]].mx
		}
		for a := range mn {
			n.b[2*a][i], n.b[2*a+1][i] = mn[a], mx[a]
		}
		n.child[i] = noRef
		if i < k && e.s.nodes[ch[i]].l < 0 {
			n.child[i] = e.alloc(ch[i])
			e.leaf(n.child[i], ch[i])
		}
	}
	for i, c := range ch[:k] {
		if e.s.nodes[c].l >= 0 {
			n.child[i] = e.alloc(c)
			e.inner(n.child[i], c, depth+1)
		}
	}
}

func (e *emitter) leaf(r uint32, ni int32) {
	e.leafs++
	b := &e.s.nodes[ni]
	l := (*leaf)(unsafe.Pointer(&e.mem[r&^leafBit]))
	for k := range l.v0[0] {
		p := &e.pairs[e.s.refs[b.first+min(int32(k), b.count-1)].id]
		for a := range l.v0 {
			l.v0[a][k], l.v2[a][k] = e.v[p.v0][a], e.v[p.v2][a]
			l.w[a][k], l.w[a][k+4] = e.v[p.w1][a], e.v[p.w3][a]
		}
		l.prim[k], l.prim[k+4] = p.t1, p.t3
		l.corners[k] = corners(&e.tri[p.t1], p.v0, p.w1) | thin(e.v[p.v0], e.v[p.w1], e.v[p.v2])
		l.corners[k+4] = corners(&e.tri[p.t3], p.v0, p.w3) | thin(e.v[p.v0], e.v[p.w3], e.v[p.v2])
	}
}

// sliver marks a triangle whose height on its longest side is less than 1/slender of that side.
const (
	sliver  = 16
	slender = 32
)

func thin(a, b, c vert) uint32 {
	at := func(v vert) geom.Vec { return geom.Vec{X: float64(v[0]), Y: float64(v[1]), Z: float64(v[2])} }
	p, q, r := at(b).Sub(at(a)), at(c).Sub(at(b)), at(a).Sub(at(c))
	// Twice the area is side times height.
	long := max(p.Len2(), q.Len2(), r.Len2())
	if x := p.Cross(r); x.Len2()*slender*slender < long*long {
		return sliver
	}
	return 0
}

// corners finds two vertices among the corners of a triangle.
func corners(t *[3]uint32, v0, w uint32) uint32 {
	for i := range uint32(3) {
		for j := range uint32(3) {
			if i != j && t[i] == v0 && t[j] == w {
				return i + 4*j
			}
		}
	}
	return 0 + 4*1 // not reached: a pair's vertices are its triangles' own
}
