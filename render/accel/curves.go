package accel

import (
	"errors"
	"math"

	"catchlight/render/memory"
	"catchlight/scene/geom"
	"catchlight/scene/strand"
)

// Curves is a hierarchy over hairs. Each is a chain of round cones, the hulls of two balls, that strays by no more than curveSag from
// the curve; balls of neighbours are shared, so no ray slips between. Boxes about slanted hairs are mostly empty, so a few cones
// at a time lie in a hull of eight triangles, and the hierarchy of these finds the hulls that a ray meets; see curveRay. It does
// not change after it is made, so any number of workers may use it.
//
// Source of hulls in place of boxes: Woop, Benthin, Wald, Johnson and Tabellion, Exploiting Local Orientation Similarity for
// Efficient Ray Traversal of Hair and Fur, HPG 2014 (the idea alone; from memory).
type Curves struct {
	set   *strand.Set
	base  *Curves // of hairs as wide as they are; nil: they are so here
	knots []curveKnot
	parts []curvePart
	of    []uint32 // part of each triangle of the hull
	p     []geom.Vec
	tri   [][3]uint32
	hull  *BVH
	back  float64 // no hull is longer, mm
	thin  bool    // some hairs are traced wider than they are
}

// curveKnot is a ball of a chain of cones.
type curveKnot struct {
	at    [3]float32 // mm
	r     float32    // half width that is traced, mm
	share float32    // the true half width over r: how many of the rays that meet it do not pass
	u     float32    // place along the hair: 0 at the root, 1 at the tip
}

// curvePart is the cones first to last-1 of a hair, in one hull; cone i lies between knots i and i+1. Rays that meet the hull look at
// the cones from to to-1: one more at each end, which may reach over.
type curvePart struct {
	first, last uint32
	from, to    uint32
	hair        uint32
}

// How finely curves are cut.
const (
	curveSag  = 0.0025 // mm by which cones stray from the curve
	partSag   = 0.3    // half widths, and
	partExtra = 0.008  // mm more, by which a hull's middle line may stray from the cones
	partTurn  = 0.26   // rad by which the hair may turn within a hull
	partLong  = 0.65   // mm, or
	partSlim  = 20     // half widths: the most that a hull is long
	hullRoom  = 1.04   // hulls are wider by this, for twisted faces and rounding
)

// errNoHair is what NewCurves returns for a set without hairs.
var errNoHair = errors.New("accel: there are no hairs")

// NewCurves makes a hierarchy over the hairs of a set, which must not change afterwards. The result is the same for any number of workers.
func NewCurves(s *strand.Set, o Options) (*Curves, error) {
	c, err := cutCurves(s)
	if err != nil {
		return nil, err
	}
	if c.hull, err = Build(c.p, c.tri, o); err != nil {
		return nil, err
	}
	return c, nil
}

// cutCurves makes all but the hierarchy.
func cutCurves(s *strand.Set) (*Curves, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if s.Hairs() == 0 {
		return nil, errNoHair
	}
	c := &Curves{set: s}
	for i := range s.Hairs() {
		c.cut(i)
	}
	c.hulls()
	return c, nil
}

// cut makes the knots and parts of a hair.
func (c *Curves) cut(i int) {
	first := len(c.knots)
	spans := int(c.set.Start[i+1]-c.set.Start[i]) - 1
	add := func(q *strand.Span, k int, t float64) {
		p := q.At(t)
		c.knots = append(c.knots, curveKnot{
			at: [3]float32{float32(p.X), float32(p.Y), float32(p.Z)}, r: float32(q.Radius(t)), share: 1, u: float32((float64(k) + t) / float64(spans)),
		})
	}
	for k := range spans {
		q := c.set.Span(i, k)
		n := q.Pieces(curveSag)
		for j := range n {
			add(&q, k, float64(j)/float64(n))
		}
		if k == spans-1 {
			add(&q, k, 1)
		}
	}
	for a := first; a < len(c.knots)-1; {
		b := a + 1
		for b+1 < len(c.knots) && c.together(a, b+1) {
			b++
		}
		c.parts = append(c.parts, curvePart{
			first: uint32(a), last: uint32(b), hair: uint32(i),
			from: uint32(max(first, a-1)), to: uint32(min(len(c.knots)-1, b+1)),
		})
		a = b
	}
}

// together reports whether the cones from knot a to knot b fit well into one hull.
func (c *Curves) together(a, b int) bool {
	p, q := c.knots[a].vec(), c.knots[b].vec()
	chord := q.Sub(p)
	l := chord.Len()
	if l > max(partLong, partSlim*float64(c.knots[a].r)) || l == 0 {
		return false
	}
	d0, d1 := c.knots[a+1].vec().Sub(p), q.Sub(c.knots[b-1].vec())
	if d0.Dot(d1) < math.Cos(partTurn)*d0.Len()*d1.Len() {
		return false
	}
	most, wide := c.strays(a, b)
	return most <= partSag*wide+partExtra
}

// strays returns how far the knots from a to b lie from their chord, and their largest half width, mm.
func (c *Curves) strays(a, b int) (most, wide float64) {
	p := c.knots[a].vec()
	chord := c.knots[b].vec().Sub(p)
	l := max(chord.Len(), 1e-12)
	for k := a; k <= b; k++ {
		most = max(most, c.knots[k].vec().Sub(p).Cross(chord).Len()/l)
		wide = max(wide, float64(c.knots[k].r))
	}
	return most, wide
}

func (k *curveKnot) vec() geom.Vec {
	return geom.Vec{X: float64(k.at[0]), Y: float64(k.at[1]), Z: float64(k.at[2])}
}

// Hairs returns how many hairs there are.
func (c *Curves) Hairs() int { return c.set.Hairs() }

// Cones returns how many cones there are.
func (c *Curves) Cones() int { return len(c.knots) - c.set.Hairs() }

// Set returns the hairs.
func (c *Curves) Set() *strand.Set { return c.set }

// Base returns the hierarchy of the same hairs as wide as they are.
func (c *Curves) Base() *Curves {
	if c.base != nil {
		return c.base
	}
	return c
}

// Bounds returns a box about all hairs, mm.
func (c *Curves) Bounds() geom.Box { return c.hull.Bounds() }

// Bytes returns the memory of the hierarchy.
func (c *Curves) Bytes() int64 {
	return int64(c.hull.stats.Bytes) + 24*int64(len(c.knots)+len(c.p)) + 20*int64(len(c.parts)) + 16*int64(len(c.tri))
}

// HugePages has what rays read kept on huge pages.
func (c *Curves) HugePages() {
	c.hull.HugePages()
	memory.Huge(c.knots)
	memory.Huge(c.parts)
	memory.Huge(c.of)
}

// Held returns the hierarchy of the same hairs, nowhere thinner than half, mm, says at a place: where they are made wider, of the rays
// that meet them that share passes which keeps the mean cover. It returns c where no hair is thinner.
func (c *Curves) Held(half func(p geom.Vec) float64, o Options) (*Curves, error) {
	b := c.Base()
	out := &Curves{set: b.set, base: b, parts: b.parts, of: b.of, tri: b.tri}
	out.knots = make([]curveKnot, len(b.knots))
	for i, k := range b.knots {
		if w := half(k.vec()); w > float64(k.r) {
			k.share = float32(float64(k.r) / w)
			k.r = float32(w)
			out.thin = true
		}
		out.knots[i] = k
	}
	if !out.thin {
		return b, nil
	}
	out.p = make([]geom.Vec, 0, len(b.p))
	out.corners()
	var ok bool
	if out.hull, ok = b.hull.Refit(out.p); ok {
		return out, nil
	}
	var err error
	out.hull, err = Build(out.p, out.tri, o)
	return out, err
}
