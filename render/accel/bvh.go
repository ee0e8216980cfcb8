package accel

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"unsafe"

	"catchlight/render/memory"
	"catchlight/scene/geom"
)

const (
	// maxTriangles keeps block numbers below 2^31: at most one leaf and one node, of four blocks each, a triangle.
	maxTriangles = 1 << 28

	// maxCoordinate, in mm, keeps products of three lengths finite in double precision.
	maxCoordinate = 1e30
)

// ErrEmpty is what Build returns for a mesh without triangles.
var ErrEmpty = errors.New("accel: mesh has no triangles")

// Options steer the build. The zero value is a good choice.
type Options struct {
	Workers int // goroutines at most; 0 or less means one for each processor. The tree does not depend on it.
}

// BVH is a hierarchy over the triangles of one mesh. It does not change after Build, so any number of workers may use
// it at once. The zero value is an empty mesh, which no ray meets.
type BVH struct {
	mem   []block // the arena
	base  unsafe.Pointer
	root  uint32
	p     []geom.Vec
	tri   [][3]uint32
	box   geom.Box // of the triangles, mm
	clip  geom.Box // the same in the hierarchy's own frame, a little larger
	mid   geom.Vec // own frame = (world - mid) * scale
	scale float64
	stats Stats
}

// Stats describes a hierarchy.
type Stats struct {
	Triangles int
	Nodes     int     // inner nodes
	Leaves    int     // blocks of up to four triangle pairs
	Bytes     int     // size of the arena; positions and indices are the caller's
	Depth     int     // inner nodes on the longest way from root to leaf
	Children  float64 // mean number of children of a node, of 8
	Fill      float64 // mean number of triangles in a leaf, of 8
	Paired    float64 // share of triangles that share an edge with their partner in a leaf, in [0, 1]
}

// Build makes a hierarchy over triangles given by positions p, in mm, and three indices into p each. It keeps both
// slices and reads them during traversal: they must not change afterwards. Triangles without area are allowed and stop
// next to no ray; meshes may lie on each other. The result is the same for any number of workers.
//
// It returns ErrEmpty for no triangles, and an error that names the triangle or position for an index out of range or
// a position that is not finite or beyond 1e30 mm, and for more than 2^28 triangles.
func Build(p []geom.Vec, tri [][3]uint32, o Options) (*BVH, error) {
	if len(tri) == 0 {
		return nil, ErrEmpty
	}
	if err := checkCount(len(tri)); err != nil {
		return nil, err
	}
	for i, v := range p {
		if !(v.MaxAbs() <= maxCoordinate) {
			return nil, fmt.Errorf("accel: position %d is (%g, %g, %g) mm: outside [-%g, %g]",
				i, v.X, v.Y, v.Z, float64(maxCoordinate), float64(maxCoordinate))
		}
	}
	box := geom.EmptyBox()
	for i, t := range tri {
		for _, k := range t {
			if int64(k) >= int64(len(p)) {
				return nil, fmt.Errorf("accel: triangle %d has vertex index %d: outside [0, %d]", i, k, len(p)-1)
			}
			box = box.Grow(p[k])
		}
	}
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}

	b := &BVH{p: p, tri: tri, box: box, mid: box.Centre(), scale: 1}
	if h := box.Size().MaxAbs() / 2; h > 0 {
		_, e := math.Frexp(h)
		b.scale = math.Ldexp(1, min(-e, 1000)) // h * scale is in [1/2, 1)
	}
	const pad = 4 * boxPad
	half := box.Size().Mul(b.scale / 2).Add(geom.Vec{X: pad, Y: pad, Z: pad})
	b.clip = geom.Box{Lo: half.Neg(), Hi: half}

	v := make([]vert, len(p))
	for i, q := range p {
		q = q.Sub(b.mid).Mul(b.scale)
		v[i] = vert{float32(q.X), float32(q.Y), float32(q.Z)}
	}
	pairs := makePairs(v, tri)
	s := newSAH(pairRefs(pairs, v), workers, maxBinary)
	b.stats.Triangles = len(tri)
	if err := b.emit(s, pairs, v); err != nil {
		return nil, err
	}
	return b, nil
}

// checkCount reports more triangles than the arena can be sure to hold.
func checkCount(n int) error {
	if n > maxTriangles {
		return fmt.Errorf("accel: mesh has %d triangles: more than %d", n, maxTriangles)
	}
	return nil
}

// HugePages has the arena kept on huge pages.
func (b *BVH) HugePages() { memory.Huge(b.mem) }

// Bounds returns the box about all triangles, in mm.
func (b *BVH) Bounds() geom.Box { return b.box }

// Stats returns what Build found out about the hierarchy.
func (b *BVH) Stats() Stats { return b.stats }

// Kernel names the code that traverses: "avx2" or "go".
func Kernel() string {
	if useAVX2 {
		return "avx2"
	}
	return "go"
}
