package cover

import (
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// subpixel is the number of steps that a pixel has in the whole numbers of coverage.
const subpixel = 256

// Side says which faces are drawn.
type Side uint8

// The sides: both, or those alone whose corners run counter-clockwise as seen from the view.
const (
	Both Side = iota
	Front
)

// triangle is a projected triangle, or a part of one after clipping. Its corners run clockwise on the film, where y points down.
type triangle struct {
	x, y [3]int32   // 1/256 pixel
	iw   [3]float64 // 1/w of the corners
	z    [3]float64 // depth
	u, v [3]float64 // place in the source triangle
	area int64      // twice the area, > 0

	object int32
	prim   uint32
}

// Pass gathers triangles of one view.
type Pass struct {
	view View
	tris []triangle
	cuts map[int32]Cut
}

// Cut reports whether a source triangle is not there at the barycentrics (u, v) of its second and third corner, for a sample of the
// picture: those of a pixel follow each other.
type Cut func(prim uint32, u, v float64, sample int) bool

// Mask takes away what cut says of an object's triangles, sample by sample.
func (p *Pass) Mask(object int32, cut Cut) {
	if p.cuts == nil {
		p.cuts = map[int32]Cut{}
	}
	p.cuts[object] = cut
}

// NewPass returns a pass without triangles.
func NewPass(v View) *Pass { return &Pass{view: v} }

// chunk is the number of triangles that are set up as one piece of work.
const chunk = 8192

// Add adds the triangles of a mesh whose points are in the world, in order whatever the workers; object names them in Place.
func (p *Pass) Add(points []geom.Vec, tri [][3]uint32, object int32, side Side, workers int) {
	v := &p.view
	cs := make([]corner, len(points))
	parallel.Each((len(points)+chunk-1)/chunk, workers, func(n int) {
		for i := n * chunk; i < min(len(points), (n+1)*chunk); i++ {
			q := points[i]
			cs[i] = corner{x: v.X.At(q), y: v.Y.At(q), w: v.W.At(q), z: v.Z.At(q)}
		}
	})
	width, height := float64(v.Width), float64(v.Height)
	parts := make([][]triangle, (len(tri)+chunk-1)/chunk)
	parallel.With(len(parts), workers, newSpace, func(s *space, n int) {
		out, buf, spare := s.out[:0], s.buf, s.spare
		for i := n * chunk; i < min(len(tri), (n+1)*chunk); i++ {
			t := tri[i]
			c := [3]corner{cs[t[0]], cs[t[1]], cs[t[2]]}
			if outside(&c, width, height) {
				continue
			}
			c[1].u, c[2].v = 1, 1
			poly := clip(&c, width, height, buf, spare)
			for k := 2; k < len(poly); k++ {
				if t, ok := setup(&poly[0], &poly[k-1], &poly[k], side); ok {
					t.object, t.prim = object, uint32(i)
					out = append(out, t)
				}
			}
		}
		s.out, parts[n] = out, slices.Clone(out)
	})
	p.tris = slices.Concat(append([][]triangle{p.tris}, parts...)...)
}

// space is what one goroutine works in while triangles are set up.
type space struct {
	out        []triangle
	buf, spare []corner
}

func newSpace() *space {
	return &space{make([]triangle, 0, chunk), make([]corner, 0, 16), make([]corner, 0, 16)}
}

// setup snaps a triangle to the subpixel grid. ok is false for one that has no area there, which covers no sample, and for one that shows the
// wrong side.
func setup(a, b, c *corner, side Side) (t triangle, ok bool) {
	for i, k := range [3]*corner{a, b, c} {
		iw := 1 / k.w
		t.x[i], t.y[i] = int32(math.Round(k.x*iw*subpixel)), int32(math.Round(k.y*iw*subpixel))
		t.iw[i], t.z[i], t.u[i], t.v[i] = iw, k.z*iw, k.u, k.v
	}
	t.area = cross(&t)
	if t.area > 0 { // clockwise on the film: seen from behind
		return t, side == Both
	}
	t.area = -t.area
	t.x[1], t.x[2], t.y[1], t.y[2] = t.x[2], t.x[1], t.y[2], t.y[1]
	t.iw[1], t.iw[2], t.z[1], t.z[2] = t.iw[2], t.iw[1], t.z[2], t.z[1]
	t.u[1], t.u[2], t.v[1], t.v[2] = t.u[2], t.u[1], t.v[2], t.v[1]
	return t, t.area > 0
}

func cross(t *triangle) int64 {
	return int64(t.x[1]-t.x[0])*int64(t.y[2]-t.y[0]) - int64(t.x[2]-t.x[0])*int64(t.y[1]-t.y[0])
}

// edges returns the edge functions of the triangle: entry i is E_i(x, y) = ax x + ay y + c over the edge opposite to corner i, >= 0 inside
// and the barycentric weight of that corner times area. bias is -1 where samples on the edge belong to the neighbour.
func (t *triangle) edges() (ax, ay, c, bias [3]int64) {
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		dx, dy := int64(t.x[k]-t.x[j]), int64(t.y[k]-t.y[j])
		ax[i], ay[i] = -dy, dx
		c[i] = dy*int64(t.x[j]) - dx*int64(t.y[j])
		// Top edges run to the right, left edges upward.
		if !(dy < 0 || dy == 0 && dx > 0) {
			bias[i] = -1
		}
	}
	return
}

// Place is a point of a triangle as seen at a film position: the object and source triangle, the barycentrics (U, V) of its second and
// third corner, and how they change from one pixel to the next on the right and below.
type Place struct {
	Object         int32
	Prim           uint32
	U, V           float64
	UX, VX, UY, VY float64
}

// At returns what triangle id of the pass shows at a film position, which may lie somewhat outside the triangle.
func (p *Pass) At(id uint32, x, y float64) Place {
	t := &p.tris[id]
	var l, lx, ly [3]float64 // barycentrics on the film, and their slopes per pixel
	ax, ay, c, _ := t.edges()
	k := 1 / float64(t.area)
	for i := range l {
		l[i] = (float64(ax[i])*x*subpixel + float64(ay[i])*y*subpixel + float64(c[i])) * k
		lx[i], ly[i] = float64(ax[i])*subpixel*k, float64(ay[i])*subpixel*k
	}
	uw := [3]float64{t.u[0] * t.iw[0], t.u[1] * t.iw[1], t.u[2] * t.iw[2]}
	vw := [3]float64{t.v[0] * t.iw[0], t.v[1] * t.iw[1], t.v[2] * t.iw[2]}
	w := 1 / dot(&l, &t.iw)
	out := Place{Object: t.object, Prim: t.prim, U: dot(&l, &uw) * w, V: dot(&l, &vw) * w}
	// The quotient rule: d(a/b) = (da - (a/b) db)/b.
	bx, by := dot(&lx, &t.iw), dot(&ly, &t.iw)
	out.UX, out.UY = (dot(&lx, &uw)-out.U*bx)*w, (dot(&ly, &uw)-out.U*by)*w
	out.VX, out.VY = (dot(&lx, &vw)-out.V*bx)*w, (dot(&ly, &vw)-out.V*by)*w
	return out
}

// place returns the source barycentrics at the film barycentrics l, which need not be scaled.
func (t *triangle) place(l *[3]float64) (u, v float64) {
	q := [3]float64{l[0] * t.iw[0], l[1] * t.iw[1], l[2] * t.iw[2]}
	w := 1 / (q[0] + q[1] + q[2])
	return dot(&q, &t.u) * w, dot(&q, &t.v) * w
}

func dot(a, b *[3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// Object returns the object of a triangle.
func (p *Pass) Object(id uint32) int32 { return p.tris[id].object }
