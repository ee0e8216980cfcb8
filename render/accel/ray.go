package accel

import (
	"math"
	"slices"
	"time"
	"unsafe"

	"catchlight/scene/geom"
)

// Hit is where a ray meets a triangle.
type Hit struct {
	T    float64 // the point is o + T d
	U, V float64 // and (1-U-V) p0 + U p1 + V p2, p0 to p2 in the order of the triangle's indices; U, V, 1-U-V >= 0
	Prim uint32  // the triangle's number
}

const stackSize = 512

// Scratch is a worker's working space: the kernel's arguments and its stack. Make one for each worker and use it for
// one ray at a time; it may serve any number of hierarchies in turn.
type Scratch struct {
	k      kargs
	rays   int64
	timed  int64
	within time.Duration
	wait   int32

	past     *Curves // whose hair pastHair rays pass; nil: none
	pastHair uint32
	// Coin is the state of the random numbers by which meshes that stop a share of the light stop rays or don't; 0: they
	// stop those of which they would stop half or more.
	Coin uint64
}

// Toss returns the next of the numbers that Coin begins, even in [0, 1).
//
// Source: Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014 (SplitMix64).
func (s *Scratch) Toss() float64 {
	s.Coin += 0x9e3779b97f4a7c15
	z := s.Coin
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) * 0x1p-53
}

// timeEvery is how many rays lie between two that are timed: a prime, so that no pattern of rays keeps step with it.
const timeEvery = 1021

// Spent returns how many rays were cast with this working space, and the seconds they took: an estimate from one ray
// in 1021, whose clock readings are taken off. It covers the set-up of a ray and the kernel.
func (s *Scratch) Spent() (rays int64, seconds float64) {
	if s.timed == 0 {
		return s.rays, 0
	}
	each := max(0, s.within.Seconds()/float64(s.timed)-clockCost)
	return s.rays, each * float64(s.rays)
}

// clockCost is what a reading of the clock adds to a timed ray, in seconds: the median of some.
var clockCost = func() float64 {
	var d [201]time.Duration
	for i := range d {
		t := time.Now()
		d[i] = time.Since(t)
	}
	slices.Sort(d[:])
	return d[len(d)/2].Seconds()
}()

// note books a timed ray. None takes 10 us, even through cold memory: what seems to was interrupted by the system.
func (s *Scratch) note(d time.Duration) {
	if d < 10*time.Microsecond {
		s.within += d
		s.timed++
	}
}

// tick counts a ray and says whether it is one to be timed.
func (s *Scratch) tick() bool {
	s.rays++
	s.wait--
	if s.wait >= 0 {
		return false
	}
	s.wait = timeEvery - 1
	return true
}

// NewScratch returns a working space.
func NewScratch() *Scratch { return new(Scratch) }

// kargs is what the kernels work on, in the hierarchy's own frame; vectors are by axis. kernel_amd64.s knows the
// offsets; a test compares.
type kargs struct {
	r, or  [3]float32 // 0: 1/d and -o/d
	tn, tf float32    // 24: parameter interval (tn, tf], 0 <= tn; tf shrinks as hits are found
	org    [3]float32 // 32: origin
	shear  [3]float32 // 44: d over its component along the ray's longest axis
	_      [2]uint32
	base   unsafe.Pointer // 64: the arena
	axis   [3]uint64      // 72: 4 times the axes that serve as x, y and z, where z is the ray's longest
	near   [3]uint64      // 96: byte offset of a node's rows that the ray enters through; it leaves through offset ^ 32
	hit    khit           // 120
	root   uint32         // 128
	tmp    uint32         // 132
	_      uint64
	dist   [8]float32        // 144
	stack  [stackSize]uint64 // 176
	_      [16]float32       // 4272: the kernel's own
	at     kweights          // 4336
}

// kweights is where on its triangle a kernel's hit lies: the weights of two of its corners, of either sign, and which
// these are.
type kweights struct {
	a, b    float32
	corners uint32
}

// khit is a kernel's hit: parameter and triangle, noRef for none.
type khit struct {
	t    float32
	prim uint32
}

// Closest finds the first triangle that the ray o + t d meets at a t in (tmin, tmax] and reports whether there is one.
// Both sides of a triangle count. d need not have length 1; t, tmin and tmax are in units of d. tmin below 0 counts
// as 0; tmax may be +Inf. A ray through an edge or a vertex meets one of the triangles there. The ends of the interval
// are taken in single precision, relative to the size of the mesh; T itself never leaves it. Where nothing is met, *h
// is as it was. A ray with a NaN, or with no component of d beyond 1e-300, meets nothing. It does not allocate.
func (b *BVH) Closest(s *Scratch, o, d geom.Vec, tmin, tmax float64, h *Hit) bool {
	if s.tick() {
		_ = time.Now() // brings the clock's own code into the cache, so that it costs what clockCost says
		start := time.Now()
		ok := b.closest(&s.k, o, d, tmin, tmax, h)
		s.note(time.Since(start))
		return ok
	}
	return b.closest(&s.k, o, d, tmin, tmax, h)
}

func (b *BVH) closest(k *kargs, o, d geom.Vec, tmin, tmax float64, h *Hit) bool {
	d, m, t0 := b.aim(k, o, d, tmin, tmax)
	if m == 0 {
		return false
	}
	k.hit.prim = noRef
	if useAVX2 {
		closestAVX2(k)
	} else {
		closestGo(k)
	}
	if k.hit.prim == noRef {
		return false
	}
	h.Prim = k.hit.prim
	w := [4]float64{}
	i, j := k.at.corners&3, k.at.corners>>2&3
	w[i], w[j] = float64(abs32(k.at.a)), float64(abs32(k.at.b))
	w[(3-i-j)&3] = max(0, 1-w[i]-w[j])
	if h.U, h.V = w[1], w[2]; h.U+h.V > 1 {
		n := h.U + h.V
		h.U, h.V = h.U/n, h.V/n
	}
	h.T = (float64(k.hit.t) + t0) / b.scale
	if k.at.corners&sliver != 0 {
		b.Refine(o, d, h)
	}
	if m != 1 {
		h.T /= m
	}
	if h.T < tmin {
		h.T = tmin
	}
	if h.T > tmax {
		h.T = tmax
	}
	return true
}

// Occluded reports whether the ray o + t d meets any triangle at a t in (tmin, tmax]; see Closest.
func (b *BVH) Occluded(s *Scratch, o, d geom.Vec, tmin, tmax float64) bool {
	if s.tick() {
		_ = time.Now() // brings the clock's own code into the cache, so that it costs what clockCost says
		start := time.Now()
		ok := b.occluded(&s.k, o, d, tmin, tmax)
		s.note(time.Since(start))
		return ok
	}
	return b.occluded(&s.k, o, d, tmin, tmax)
}

func (b *BVH) occluded(k *kargs, o, d geom.Vec, tmin, tmax float64) bool {
	if _, m, _ := b.aim(k, o, d, tmin, tmax); m == 0 {
		return false
	}
	if useAVX2 {
		return occludedAVX2(k)
	}
	return occludedGo(k)
}

// aim sets up the kernel's arguments. It returns the direction, scaled to a length of about 1, by how much it was
// shortened, and how far the origin was moved: t of the caller is t*m*b.scale - t0 of the kernel. m is 0 where there
// is nothing to meet.
func (b *BVH) aim(k *kargs, o, d geom.Vec, tmin, tmax float64) (dir geom.Vec, m, t0 float64) {
	if b.base == nil || !(tmin < tmax) {
		return d, 0, 0
	}
	m = 1
	if l := d.Len2(); !(l >= 0.25 && l <= 4) {
		m = d.MaxAbs()
		if !(m >= minDirection && m <= math.MaxFloat64) {
			return d, 0, 0
		}
		d = geom.Vec{X: d.X / m, Y: d.Y / m, Z: d.Z / m}
	}
	o = geom.Vec{X: (o.X - b.mid.X) * b.scale, Y: (o.Y - b.mid.Y) * b.scale, Z: (o.Z - b.mid.Z) * b.scale}
	lo, hi := tmin*m*b.scale, tmax*m*b.scale
	if !(lo > 0) {
		lo = 0
	}
	if !(lo < hi) {
		return d, 0, 0
	}
	if !(math.Abs(o.X) <= startOut && math.Abs(o.Y) <= startOut && math.Abs(o.Z) <= startOut) {
		in, ok := b.enter(o, d, lo, hi)
		if !ok {
			return d, 0, 0
		}
		// Some room before the box is kept, so that no hit on the box itself is lost.
		if t0 = in - (startOut-1)/4; t0 > 0 {
			o = o.Mad(t0, d)
			hi -= t0
			if lo -= t0; lo < 0 {
				lo = 0
			}
		} else {
			t0 = 0
		}
		if !(o.MaxAbs() <= 2*startOut) { // a NaN, or an origin so far away that nothing is left of its digits
			return d, 0, 0
		}
	}

	ox, oy, oz := float32(o.X), float32(o.Y), float32(o.Z)
	dx, dy, dz := float32(d.X), float32(d.Y), float32(d.Z)
	rx, ry, rz := recip(dx), recip(dy), recip(dz)
	k.r[0], k.r[1], k.r[2] = rx, ry, rz
	k.or[0], k.or[1], k.or[2] = -ox*rx, -oy*ry, -oz*rz
	k.org[0], k.org[1], k.org[2] = ox, oy, oz
	k.tn, k.tf = float32(lo), float32(hi)

	bx, by, bz := math.Float32bits(dx), math.Float32bits(dy), math.Float32bits(dz)
	k.near[0], k.near[1], k.near[2] = uint64(bx>>31)<<5, 64+uint64(by>>31)<<5, 128+uint64(bz>>31)<<5
	// The two lowest bits of the lengths make room for the axis, so that no branch on random directions is needed.
	long := max(bx&lenBits, by&lenBits|1, bz&lenBits|2) & 3
	k.axis = axes[long]
	r := k.r[long%3]
	k.shear[0], k.shear[1], k.shear[2] = dx*r, dy*r, dz*r
	if k.base != b.base { // the test saves the garbage collector's write barrier
		k.base = b.base
	}
	k.root = b.root
	return d, m, t0
}

const lenBits = 0x7ffffffc

// axes are the values of kargs.axis for each longest axis.
var axes = [4][3]uint64{{4, 8, 0}, {8, 0, 4}, {0, 4, 8}}

// enter returns where in [lo, hi] the ray enters the box about the mesh; all in its own frame. A NaN, from 0 times
// infinity where the ray runs in a plane of the box, loses both of its comparisons.
func (b *BVH) enter(o, d geom.Vec, lo, hi float64) (in float64, ok bool) {
	c := &b.clip
	i := 1 / d.X
	n, f := (c.Lo.X-o.X)*i, (c.Hi.X-o.X)*i
	if i < 0 {
		n, f = f, n
	}
	if n > lo {
		lo = n
	}
	if f < hi {
		hi = f
	}
	i = 1 / d.Y
	n, f = (c.Lo.Y-o.Y)*i, (c.Hi.Y-o.Y)*i
	if i < 0 {
		n, f = f, n
	}
	if n > lo {
		lo = n
	}
	if f < hi {
		hi = f
	}
	i = 1 / d.Z
	n, f = (c.Lo.Z-o.Z)*i, (c.Hi.Z-o.Z)*i
	if i < 0 {
		n, f = f, n
	}
	if n > lo {
		lo = n
	}
	if f < hi {
		hi = f
	}
	return lo, lo <= hi
}

// minDirection is the least length of a direction, so that t stays finite.
const minDirection = 1e-300

// recip is 1/x without infinities: the slab test takes directions below 1e-18 as that.
func recip(x float32) float32 {
	if abs32(x) < 1e-18 {
		return math.Float32frombits(math.Float32bits(1e18) | math.Float32bits(x)&(1<<31))
	}
	return 1 / x
}

func abs32(x float32) float32 { return math.Float32frombits(math.Float32bits(x) &^ (1 << 31)) }

// slack is how far outside the triangle, in barycentric coordinates, the double-precision hit may lie before its
// nearest edge is taken instead. The kernel works on rounded vertices, so this happens at slivers and at grazing
// incidence.
const slack = 1e-2

// Refine computes a hit of the ray o + t d once more, in double precision from the caller's own vertices, with U and V
// clamped to the triangle.
//
// Source: Moeller and Trumbore, Fast, minimum storage ray/triangle intersection, 1997.
func (b *BVH) Refine(o, d geom.Vec, h *Hit) {
	t := &b.tri[h.Prim]
	p0, p1, p2 := b.p[t[0]], b.p[t[1]], b.p[t[2]]
	e1, e2, c := p1.Sub(p0), p2.Sub(p0), o.Sub(p0)
	x, y := d.Cross(e2), c.Cross(e1)
	det := e1.Dot(x)
	inv := 1 / det
	u, v := c.Dot(x)*inv, d.Dot(y)*inv
	if !(u >= -slack && v >= -slack && u+v <= 1+slack && det*det > 1e-18*e1.Len2()*e2.Len2()*d.Len2()) {
		rough := *h
		if h.nearestEdge(p0, p1, p2, o, d); h.T != h.T {
			*h = rough
		}
		return
	}
	if u < 0 {
		u = 0
	}
	if v < 0 {
		v = 0
	}
	if s := u + v; s > 1 {
		u, v = u/s, v/s
	}
	h.T, h.U, h.V = e2.Dot(y)*inv, u, v
}

// nearestEdge takes as the hit the point of the triangle's edges that is nearest to the ray. It stands in where the
// triangle is seen edge-on or has no area. T is NaN where even that cannot be computed.
func (h *Hit) nearestEdge(p0, p1, p2, o, d geom.Vec) {
	h.T, h.U, h.V = math.NaN(), 1.0/3, 1.0/3
	least := math.Inf(1)
	for i, e := range [3][2]geom.Vec{{p0, p1}, {p1, p2}, {p2, p0}} {
		a, ab := e[0].Sub(o), e[1].Sub(e[0])
		dd, de, ee := d.Len2(), d.Dot(ab), ab.Len2()
		s := (de*a.Dot(d) - dd*a.Dot(ab)) / (dd*ee - de*de)
		if !(s > 0) { // or parallel
			s = 0
		}
		s = min(s, 1)
		q := a.Mad(s, ab)
		t := q.Dot(d) / dd
		if r := q.Mad(-t, d).Len2(); r < least {
			least = r
			h.T = t
			h.U, h.V = [3]float64{s, 1 - s, 0}[i], [3]float64{0, s, 1 - s}[i]
		}
	}
}
