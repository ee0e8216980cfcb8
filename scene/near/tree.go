package near

import (
	"errors"
	"fmt"
	"math"
	"sync"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// leaf is the most triangles of a leaf.
const leaf = 4

// node is a box with its two children, or with its triangles. The first child follows its parent.
type node struct {
	lo, hi geom.Vec
	second uint32 // the other child; of a leaf the first of its triangles
	count  uint32 // of a leaf's triangles; 0: no leaf
}

// Tree is a hierarchy over a mesh, which must not change meanwhile.
type Tree struct {
	Mesh *mesh.Mesh
	node []node
	tri  []uint32
}

// New makes the hierarchy of a mesh. It fails for a mesh without triangles, or with corners that are no numbers or are not there.
func New(m *mesh.Mesh) (*Tree, error) {
	if len(m.Tri) == 0 {
		return nil, errors.New("there are no triangles")
	}
	for i, t := range m.Tri {
		for _, v := range t {
			if int(v) >= len(m.P) {
				return nil, fmt.Errorf("triangle %d has corner %d of %d", i, v, len(m.P))
			}
			if !m.P[v].Finite() {
				return nil, fmt.Errorf("vertex %d is no number", v)
			}
		}
	}
	b := builder{t: &Tree{Mesh: m, tri: make([]uint32, len(m.Tri))}, mid: make([]geom.Vec, len(m.Tri)), size: map[int]int{}}
	for i, t := range m.Tri {
		b.t.tri[i] = uint32(i)
		b.mid[i] = m.P[t[0]].Add(m.P[t[1]]).Add(m.P[t[2]])
	}
	b.t.node = make([]node, b.nodes(len(m.Tri)))
	b.build(0, 0, len(m.Tri), 0)
	return b.t, nil
}

// builder makes a tree: halves of equal numbers, across the longest side of the triangles' middles.
type builder struct {
	t    *Tree
	mid  []geom.Vec // thrice each
	size map[int]int
}

// nodes returns how many nodes n triangles have, which goes by their number alone.
func (b *builder) nodes(n int) int {
	if n <= leaf {
		return 1
	}
	if k, ok := b.size[n]; ok {
		return k
	}
	k := 1 + b.nodes(n/2) + b.nodes(n-n/2)
	b.size[n] = k
	return k
}

func (b *builder) build(at, from, to, depth int) {
	t := b.t
	n := &t.node[at]
	if to-from <= leaf {
		box := geom.EmptyBox()
		for _, i := range t.tri[from:to] {
			for _, v := range t.Mesh.Tri[i] {
				box = box.Grow(t.Mesh.P[v])
			}
		}
		*n = node{lo: box.Lo, hi: box.Hi, second: uint32(from), count: uint32(to - from)}
		return
	}
	mids := geom.EmptyBox()
	for _, i := range t.tri[from:to] {
		mids = mids.Grow(b.mid[i])
	}
	s := mids.Size()
	axis := 0
	if s.Y > s.X && s.Y >= s.Z {
		axis = 1
	} else if s.Z > s.X {
		axis = 2
	}
	half := from + (to-from)/2
	b.split(from, to, half, axis)
	left, right := at+1, at+1+b.size2(half-from)
	if depth < 4 {
		var w sync.WaitGroup
		w.Add(1)
		go func() { defer w.Done(); b.build(left, from, half, depth+1) }()
		b.build(right, half, to, depth+1)
		w.Wait()
	} else {
		b.build(left, from, half, depth+1)
		b.build(right, half, to, depth+1)
	}
	l, r := &t.node[left], &t.node[right]
	n.lo, n.hi = least(l.lo, r.lo), most(l.hi, r.hi)
	n.second = uint32(right)
}

// size2 is nodes, for when several goroutines read what is known.
func (b *builder) size2(n int) int {
	if n <= leaf {
		return 1
	}
	return b.size[n]
}

func along(v geom.Vec, axis int) float64 {
	switch axis {
	case 0:
		return v.X
	case 1:
		return v.Y
	}
	return v.Z
}

func least(a, b geom.Vec) geom.Vec {
	return geom.Vec{X: min(a.X, b.X), Y: min(a.Y, b.Y), Z: min(a.Z, b.Z)}
}

func most(a, b geom.Vec) geom.Vec {
	return geom.Vec{X: max(a.X, b.X), Y: max(a.Y, b.Y), Z: max(a.Z, b.Z)}
}

// split orders triangles so that those before half are the lesser ones along an axis: Hoare's selection, Algorithm 65, CACM 4
// (1961), 321, with the middle of three as pivot.
func (b *builder) split(from, to, half, axis int) {
	t := b.t.tri
	key := func(i int) float64 { return along(b.mid[t[i]], axis) }
	lo, hi := from, to-1
	for lo < hi {
		p, q, r := key(lo), key((lo+hi)/2), key(hi)
		pivot := max(min(p, q), min(max(p, q), r))
		i, j := lo, hi
		for i <= j {
			for key(i) < pivot {
				i++
			}
			for key(j) > pivot {
				j--
			}
			if i <= j {
				t[i], t[j] = t[j], t[i]
				i++
				j--
			}
		}
		switch {
		case half <= j:
			hi = j
		case half >= i:
			lo = i
		default:
			return
		}
	}
}

// gap2 is the square of the distance from p to a node's box.
func (n *node) gap2(p geom.Vec) float64 {
	x := max(n.lo.X-p.X, 0, p.X-n.hi.X)
	y := max(n.lo.Y-p.Y, 0, p.Y-n.hi.Y)
	z := max(n.lo.Z-p.Z, 0, p.Z-n.hi.Z)
	return x*x + y*y + z*z
}

// Point is the nearest point of a mesh.
type Point struct {
	Tri  int
	U, V float64  // barycentrics of its second and third corner
	P    geom.Vec // the point
	N    geom.Vec // unit normal of the triangle as it winds; zero where it has no area
	D    float64  // distance; negative on the side that the triangles wind away from
}

// Nearest returns the nearest point of the mesh within far of p, and whether there is one. Of triangles that are equally near,
// as at an edge or corner, it takes the one whose plane p is farthest from, so that the side is right beside sharp edges.
func (t *Tree) Nearest(p geom.Vec, far float64) (out Point, ok bool) {
	best := far * far
	slant := -1.0
	var stack [64]uint32
	n := 0
	stack[n] = 0
	n++
	m := t.Mesh
	for n > 0 {
		n--
		i := stack[n]
		b := &t.node[i]
		if b.gap2(p) > best*(1+1e-12) {
			continue
		}
		if b.count == 0 {
			l, r := i+1, b.second
			if t.node[l].gap2(p) < t.node[r].gap2(p) {
				l, r = r, l
			}
			stack[n], stack[n+1] = l, r
			n += 2
			continue
		}
		for _, k := range t.tri[b.second : b.second+b.count] {
			c := m.Tri[k]
			q, u, v := closest(p, m.P[c[0]], m.P[c[1]], m.P[c[2]])
			d := p.Sub(q)
			d2 := d.Len2()
			if d2 > best*(1+1e-12) || ok && d2 > best && d2 > best*(1+1e-9) {
				continue
			}
			g := m.P[c[1]].Sub(m.P[c[0]]).Cross(m.P[c[2]].Sub(m.P[c[0]]))
			if l := g.Len(); l > 0 {
				g = g.Mul(1 / l)
			}
			s := math.Abs(g.Dot(d))
			if ok && d2 > best*(1-1e-9) && s <= slant {
				continue
			}
			best, slant, ok = min(best, d2), s, true
			out = Point{Tri: int(k), U: u, V: v, P: q, N: g, D: math.Sqrt(d2)}
			if g.Dot(d) < 0 {
				out.D = -out.D
			}
		}
	}
	return out, ok
}

// closest returns the point of a triangle nearest to p, with its barycentrics: in which of the seven regions of its corners, edges
// and inside p lies. Source of the regions: Ericson, Real-Time Collision Detection (2005), section 5.1.5.
func closest(p, a, b, c geom.Vec) (q geom.Vec, u, v float64) {
	ab, ac, ap := b.Sub(a), c.Sub(a), p.Sub(a)
	d1, d2 := ab.Dot(ap), ac.Dot(ap)
	if d1 <= 0 && d2 <= 0 {
		return a, 0, 0
	}
	bp := p.Sub(b)
	d3, d4 := ab.Dot(bp), ac.Dot(bp)
	if d3 >= 0 && d4 <= d3 {
		return b, 1, 0
	}
	vc := d1*d4 - d3*d2
	if vc <= 0 && d1 >= 0 && d3 <= 0 {
		u = d1 / (d1 - d3)
		return a.Mad(u, ab), u, 0
	}
	cp := p.Sub(c)
	d5, d6 := ab.Dot(cp), ac.Dot(cp)
	if d6 >= 0 && d5 <= d6 {
		return c, 0, 1
	}
	vb := d5*d2 - d1*d6
	if vb <= 0 && d2 >= 0 && d6 <= 0 {
		v = d2 / (d2 - d6)
		return a.Mad(v, ac), 0, v
	}
	va := d3*d6 - d5*d4
	if va <= 0 && d4-d3 >= 0 && d5-d6 >= 0 {
		v = (d4 - d3) / ((d4 - d3) + (d5 - d6))
		return b.Mad(v, c.Sub(b)), 1 - v, v
	}
	k := 1 / (va + vb + vc)
	u, v = vb*k, vc*k
	return a.Mad(u, ab).Mad(v, ac), u, v
}

// Hit is where a line meets a mesh, at o + T d.
type Hit struct {
	Tri     int
	T, U, V float64
}

// Ray returns the first triangle that o + t d meets at a t in (t0, t1), which both sides do. skip passes one triangle by; -1: none.
func (t *Tree) Ray(o, d geom.Vec, t0, t1 float64, skip int) (out Hit, ok bool) {
	inv := geom.Vec{X: 1 / d.X, Y: 1 / d.Y, Z: 1 / d.Z}
	var stack [64]uint32
	n := 1
	m := t.Mesh
	for n > 0 {
		n--
		i := stack[n]
		b := &t.node[i]
		if !b.meets(o, inv, t0, t1) {
			continue
		}
		if b.count == 0 {
			l, r := i+1, b.second
			if t.node[r].lo.Add(t.node[r].hi).Sub(t.node[l].lo).Sub(t.node[l].hi).Dot(d) > 0 {
				l, r = r, l
			}
			stack[n], stack[n+1] = l, r
			n += 2
			continue
		}
		for _, k := range t.tri[b.second : b.second+b.count] {
			if int(k) == skip {
				continue
			}
			c := m.Tri[k]
			if h, hit := pierce(o, d, m.P[c[0]], m.P[c[1]], m.P[c[2]]); hit && h.T > t0 && h.T < t1 {
				h.Tri = int(k)
				out, ok, t1 = h, true, h.T
			}
		}
	}
	return out, ok
}

func (n *node) meets(o, inv geom.Vec, t0, t1 float64) bool {
	var ok bool
	if t0, t1, ok = slab(n.lo.X-o.X, n.hi.X-o.X, inv.X, t0, t1); !ok {
		return false
	}
	if t0, t1, ok = slab(n.lo.Y-o.Y, n.hi.Y-o.Y, inv.Y, t0, t1); !ok {
		return false
	}
	_, _, ok = slab(n.lo.Z-o.Z, n.hi.Z-o.Z, inv.Z, t0, t1)
	return ok
}

// slab narrows a line's stretch to what lies between two planes, x and y before its start; i is one over its speed across them.
func slab(x, y, i, t0, t1 float64) (float64, float64, bool) {
	if math.IsInf(i, 0) {
		return t0, t1, x <= 0 && y >= 0
	}
	x, y = x*i, y*i
	if x > y {
		x, y = y, x
	}
	if x > t0 {
		t0 = x
	}
	if y < t1 {
		t1 = y
	}
	// A little slack, so that no triangle in the box' own face is lost by rounding.
	return t0, t1, t0 <= t1+1e-12*math.Abs(t1)
}

// pierce is where a line meets a triangle, at any t. Source: Moeller and Trumbore, Journal of Graphics Tools 2(1), 1997, 21.
func pierce(o, d, a, b, c geom.Vec) (h Hit, ok bool) {
	e1, e2 := b.Sub(a), c.Sub(a)
	p := d.Cross(e2)
	det := e1.Dot(p)
	if det == 0 {
		return
	}
	k := 1 / det
	s := o.Sub(a)
	h.U = s.Dot(p) * k
	q := s.Cross(e1)
	h.V = d.Dot(q) * k
	h.T = e2.Dot(q) * k
	return h, h.U >= 0 && h.V >= 0 && h.U+h.V <= 1
}
