package accel

import (
	"math"
	"math/bits"
	"sync"
	"sync/atomic"
)

const (
	bins      = 16    // of the surface area heuristic, an axis
	leafPairs = 4     // in a leaf at most
	forkAbove = 16384 // pairs: smaller subtrees are built by one goroutine
	maxBinary = 64    // levels of the binary tree: near it, splits halve the number of pairs instead

	// Relative costs of visiting a node and a leaf; own measurement of the assembly kernel.
	nodeCost = 1.2
	leafCost = 1.0
)

// ref is a pair during the build: 32 bytes that are moved about.
type ref struct {
	mn vert
	id uint32
	mx vert
	_  uint32
}

// binary is a node of the binary tree; a leaf has l < 0 and the refs first to first+count.
type binary struct {
	mn, mx       vert
	l, r         int32
	first, count int32

	// cost[k] is the least cost of this subtree where it may take up to k places in its parent; take[k] is how many
	// of these go to the left child, 0 if the node is one place itself. take[0] is the split of the node's own eight
	// places where it becomes a wide node.
	cost [9]float32
	take [9]uint8
}

type sah struct {
	refs  []ref
	nodes []binary
	next  atomic.Int32
	sem   chan struct{}
}

// newSAH builds a binary tree over refs, which it reorders, and works out its best collapse. Node 0 is the root. The
// tree is at most levels deep, or as deep as halving the refs makes it.
//
// Source: Wald, On fast construction of SAH-based bounding volume hierarchies, 2007 (bins); the collapse by dynamic
// programming follows Ylitie, Karras and Laine, Efficient incoherent ray traversal on GPUs through compressed wide
// BVHs, 2017, section 3.
func newSAH(refs []ref, workers, levels int) *sah {
	s := &sah{refs: refs, nodes: make([]binary, 2*len(refs)), sem: make(chan struct{}, workers-1)}
	s.next.Store(1)
	s.split(0, 0, len(refs), levels)
	return s
}

// area is half the surface of a box.
func area(mn, mx *vert) float32 {
	x, y, z := mx[0]-mn[0], mx[1]-mn[1], mx[2]-mn[2]
	return x*y + y*z + z*x
}

func emptyBounds() (mn, mx vert) {
	i := float32(math.Inf(1))
	return vert{i, i, i}, vert{-i, -i, -i}
}

func grow(mn, mx, a, b *vert) {
	for k := 0; k < 3; k++ {
		if a[k] < mn[k] {
			mn[k] = a[k]
		}
		if b[k] > mx[k] {
			mx[k] = b[k]
		}
	}
}

// leaves is the number of leaves that n pairs fill.
func leaves(n int32) float32 { return float32((n + leafPairs - 1) / leafPairs) }

// split builds node ni over refs lo to hi, at most levels deep.
func (s *sah) split(ni int32, lo, hi, levels int) {
	n := hi - lo
	nd := &s.nodes[ni]
	rs := s.refs[lo:hi]
	nd.mn, nd.mx = emptyBounds()
	cmn, cmx := emptyBounds() // of twice the centres
	for i := range rs {
		r := &rs[i]
		grow(&nd.mn, &nd.mx, &r.mn, &r.mx)
		c := vert{r.mn[0] + r.mx[0], r.mn[1] + r.mx[1], r.mn[2] + r.mx[2]}
		grow(&cmn, &cmx, &c, &c)
	}
	if n <= leafPairs {
		nd.l, nd.r, nd.first, nd.count = -1, -1, int32(lo), int32(n)
		c := leafCost * area(&nd.mn, &nd.mx)
		for k := range nd.cost {
			nd.cost[k] = c
		}
		return
	}
	mid := lo + n/2
	if bits.Len(uint(n)) < levels {
		if m := partition(rs, &cmn, &cmx); m > 0 {
			mid = lo + m
		}
	}
	l := s.next.Add(2) - 2
	nd.l, nd.r = l, l+1
	if n > forkAbove {
		select {
		case s.sem <- struct{}{}:
			var wg sync.WaitGroup
			wg.Add(1)
			go func() {
				s.split(l, lo, mid, levels-1)
				<-s.sem
				wg.Done()
			}()
			s.split(l+1, mid, hi, levels-1)
			wg.Wait()
			s.collapse(nd)
			return
		default:
		}
	}
	s.split(l, lo, mid, levels-1)
	s.split(l+1, mid, hi, levels-1)
	s.collapse(nd)
}

// partition reorders rs into two sides at the best of the bins' borders and returns the size of the first, or 0 where
// all centres coincide.
func partition(rs []ref, cmn, cmx *vert) int {
	var mn, mx [3][bins]vert
	var cnt [3][bins]int32
	for a := range mn {
		for i := range mn[a] {
			mn[a][i], mx[a][i] = emptyBounds()
		}
	}
	var scale vert
	for a := range scale {
		if e := cmx[a] - cmn[a]; e > 1e-12 {
			scale[a] = bins * 0.9999 / e
		}
	}
	for i := range rs {
		r := &rs[i]
		for a := 0; a < 3; a++ {
			k := int((r.mn[a]+r.mx[a]-cmn[a])*scale[a]) & (bins - 1)
			grow(&mn[a][k], &mx[a][k], &r.mn, &r.mx)
			cnt[a][k]++
		}
	}
	best, bestA, bestK := float32(math.MaxFloat32), -1, 0
	for a := 0; a < 3; a++ {
		if scale[a] == 0 {
			continue
		}
		var right [bins]float32
		lo, hi := emptyBounds()
		c := int32(0)
		for k := bins - 1; k > 0; k-- {
			grow(&lo, &hi, &mn[a][k], &mx[a][k])
			if c += cnt[a][k]; c > 0 {
				right[k] = area(&lo, &hi) * leaves(c)
			}
		}
		lo, hi = emptyBounds()
		c = 0
		for k := 0; k < bins-1; k++ {
			grow(&lo, &hi, &mn[a][k], &mx[a][k])
			if c += cnt[a][k]; c == 0 || int(c) == len(rs) {
				continue
			}
			if v := area(&lo, &hi)*leaves(c) + right[k+1]; v < best {
				best, bestA, bestK = v, a, k
			}
		}
	}
	if bestA < 0 {
		return 0
	}
	off, sc := cmn[bestA], scale[bestA]
	i, j := 0, len(rs)-1
	for i <= j {
		r := &rs[i]
		if int((r.mn[bestA]+r.mx[bestA]-off)*sc)&(bins-1) <= bestK {
			i++
		} else {
			rs[i], rs[j] = rs[j], rs[i]
			j--
		}
	}
	return i
}

// collapse fills the cost table of an inner node whose children have theirs.
func (s *sah) collapse(nd *binary) {
	l, r := &s.nodes[nd.l].cost, &s.nodes[nd.r].cost
	var open [9]float32 // the node dissolved into k places
	for k := 2; k <= 8; k++ {
		open[k] = float32(math.MaxFloat32)
		for j := 1; j < k; j++ {
			if v := l[j] + r[k-j]; v < open[k] {
				open[k], nd.take[k] = v, uint8(j)
			}
		}
	}
	nd.take[0] = nd.take[8]
	nd.cost[1] = nodeCost*area(&nd.mn, &nd.mx) + open[8]
	for k := 2; k <= 8; k++ {
		nd.cost[k] = nd.cost[k-1]
		if open[k] < nd.cost[k] {
			nd.cost[k] = open[k]
		} else {
			nd.take[k] = 0
		}
	}
}

// children lists the children of the inner node ni as a wide node and returns their number, 2 to 8.
func (s *sah) children(ni int32, ch *[8]int32) int {
	nd := &s.nodes[ni]
	j := int(nd.take[0])
	k := s.places(nd.l, j, ch, 0)
	return s.places(nd.r, 8-j, ch, k)
}

func (s *sah) places(ni int32, slots int, ch *[8]int32, k int) int {
	nd := &s.nodes[ni]
	if nd.l >= 0 {
		for slots > 1 && nd.take[slots] == 0 {
			slots--
		}
		if slots > 1 {
			j := int(nd.take[slots])
			k = s.places(nd.l, j, ch, k)
			return s.places(nd.r, slots-j, ch, k)
		}
	}
	ch[k&7] = ni
	return k + 1
}
