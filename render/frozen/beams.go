package frozen

import (
	"math"

	"catchlight/light"
	"catchlight/scene/geom"
)

// Beams is where an eye's outer shell sends the light of one small light: for each cell of the chamber in which light may
// fold, so that more than one path leads to a point of it, or comes in along the horizon of the cornea, the facets that
// it may have come through. A facet is a triangle of the shell or, under a normal map, a part of one. Read-only after NewBeams.
//
// Each facet's corners are refracted for the light's middle and outline onto the faces of the cells' layers, and the facet is
// listed wherever the box about them, grown by a quarter of its size, reaches: where light folds the triangle between three
// corners' images does not hold all that the facet sends.
type Beams struct {
	lo    geom.Vec
	inv   geom.Vec // 1 over the cells' sides, 1/mm
	n     [3]int
	start []int32 // by cell: where its list starts
	list  []int32 // facets: triangle times parts^2 plus part
	parts int     // of a triangle's side
	grid  *facetGrid
}

// Facet names a part of a triangle of the outer shell.
type Facet struct {
	Prim  uint32
	U, V  [3]float64 // barycentrics of its corners
	lower bool
}

const (
	growBinned   = 0.25 // of a facet's image, where it is listed
	beamCells    = 96   // across the chamber
	layerHeight  = 0.3  // mm
	mostLayers   = 24
	horizonCos   = 0.2  // facets that light strikes at less fall into listed cells
	pastHorizon  = -0.6 // and those that look away farther are left out
	mostFacets   = 400000
	mostListed   = 6 << 20 // entries, before the cells are made wider
	fewestCells  = 12
	mostParts    = 16
	normalTexels = 1    // across a facet of a shell with a normal map, about
	tileTexels   = 2048 // taken for a side of a tile
)

// At returns the facets that may send light to x, in the eye's frame; listed is false in cells where there is but one path
// as far as the table knows, and outside the table.
func (b *Beams) At(x geom.Vec) (facets []int32, listed bool) {
	u, v, w := (x.X-b.lo.X)*b.inv.X, (x.Y-b.lo.Y)*b.inv.Y, (x.Z-b.lo.Z)*b.inv.Z
	if !(u >= 0 && v >= 0 && w >= 0 && u < float64(b.n[0]) && v < float64(b.n[1]) && w < float64(b.n[2])) {
		return nil, false
	}
	c := (int(w)*b.n[1]+int(v))*b.n[0] + int(u)
	l := b.list[b.start[c]:b.start[c+1]]
	return l, len(l) > 0
}

// Listed returns the share of the cells that have lists, and the bytes of the table.
func (b *Beams) Listed() (share float64, bytes int) {
	if len(b.list) == 0 {
		return 0, 0
	}
	n := 0
	for c := range len(b.start) - 1 {
		if b.start[c+1] > b.start[c] {
			n++
		}
	}
	return float64(n) / float64(len(b.start)-1), 4 * (len(b.start) + len(b.list))
}

// Facet returns the facet of a number in the lists.
func (b *Beams) Facet(id int32) (f Facet) {
	return facetOf(id, b.parts)
}

// FacetAt returns the number of the facet that holds the point u, v of a triangle.
func (b *Beams) FacetAt(prim uint32, u, v float64) int32 {
	m := b.parts
	if m == 1 {
		return int32(prim)
	}
	s := float64(m)
	i := max(0, min(m-1, int(u*s)))
	j := max(0, min(m-1-i, int(v*s)))
	k := j*m + i
	// Of a square below the diagonal the upper half counts as the mirror image of the lower.
	if fu, fv := u*s-float64(i), v*s-float64(j); fu+fv >= 1 && i+j < m-1 {
		k = (m-1-j)*m + (m - 1 - i)
	}
	return int32(prim)*int32(m*m) + int32(k)
}

// facetOf is the inverse: part k = j m + i with i + j < m is the lower triangle at (i, j) of the grid of m x m, the others
// are the upper ones at (m-1-i, m-1-j).
func facetOf(id int32, m int) (f Facet) {
	mm := int32(m * m)
	f.Prim = uint32(id / mm)
	k := int(id % mm)
	i, j := k%m, k/m
	s := 1 / float64(m)
	if i+j < m {
		u, v := float64(i)*s, float64(j)*s
		f.U, f.V, f.lower = [3]float64{u, u + s, u}, [3]float64{v, v, v + s}, true
		return f
	}
	u, v := float64(m-i)*s, float64(m-j)*s
	f.U, f.V = [3]float64{u, u - s, u}, [3]float64{v, v, v - s}
	return f
}

// Holds reports whether the point u, v lies in the facet: of an edge that two share it is in one.
func (f *Facet) Holds(u, v float64) bool {
	if f.lower {
		return u >= f.U[0] && v >= f.V[0] && u+v < f.U[1]+f.V[1]
	}
	return u < f.U[0] && v < f.V[0] && u+v >= f.U[1]+f.V[1]
}

// Corner returns the facet's corners as they are seen by Land: u0, v0 and the way to the two others.
func (f *Facet) Corner() (u0, v0, side float64) { return f.U[0], f.V[0], f.U[1] - f.U[0] }

// Receiver is the box, in an eye's frame, of the points that light is connected to through its cornea.
func (s *Scene) Receiver(e *Eye) geom.Box {
	reach := e.LimbusRadius + e.LimbusWidth/2
	box := geom.Box{Lo: geom.Vec{X: -reach, Y: -reach, Z: math.Inf(1)}, Hi: geom.Vec{X: reach, Y: reach, Z: math.Inf(-1)}}
	for _, p := range s.Objects[e.Inner].Mesh.P {
		if p.Z > 0 && p.X*p.X+p.Y*p.Y < reach*reach {
			box.Lo.Z, box.Hi.Z = min(box.Lo.Z, p.Z), max(box.Hi.Z, p.Z)
		}
	}
	return box
}

// NewBeams makes the table of one eye and one light, for receivers in the box; it is empty where no light folds.
func NewBeams(s *Scene, e *Eye, rim light.Rim, box geom.Box) *Beams {
	outer := &s.Objects[e.Outer]
	m := outer.Mesh
	var src []Source
	for _, p := range rim.Points {
		if rim.Distant {
			src = append(src, Source{true, outer.ToLocal.Vector(p).Unit()})
		} else {
			src = append(src, Source{false, outer.ToLocal.Point(p)})
		}
	}
	pad := 1e-3
	box.Lo, box.Hi = box.Lo.Sub(geom.Vec{X: pad, Y: pad, Z: pad}), box.Hi.Add(geom.Vec{X: pad, Y: pad, Z: pad})
	size := box.Size()
	b := &Beams{lo: box.Lo, parts: 1}
	b.n = [3]int{beamCells, beamCells, max(1, min(mostLayers, int(math.Ceil(size.Z/layerHeight))))}
	b.inv = geom.Vec{X: float64(b.n[0]) / size.X, Y: float64(b.n[1]) / size.Y, Z: float64(b.n[2]) / size.Z}
	// The part of the shell that may send light there.
	reach := e.LimbusRadius + e.LimbusWidth + 1
	front := func(t [3]uint32) bool {
		for _, v := range t {
			p := m.P[v]
			if p.Z > box.Lo.Z && p.X*p.X+p.Y*p.Y < reach*reach {
				return true
			}
		}
		return false
	}
	var prims []int32
	for i, t := range m.Tri {
		if front(t) {
			prims = append(prims, int32(i))
		}
	}
	if len(prims) == 0 {
		return &Beams{}
	}
	if e.Normal.Valid() {
		if e.facets == nil {
			e.facets = newFacetGrid(s, e, prims, partsOf(s, e, prims))
		}
		b.grid, b.parts = e.facets, e.facets.parts
	}
	g := &binner{s: s, e: e, b: b, src: src, levels: make([]float64, b.n[2]+1)}
	for k := range g.levels {
		g.levels[k] = box.Lo.Z + float64(k)/b.inv.Z
	}
	g.run(prims)
	if len(b.list) == 0 {
		return &Beams{}
	}
	return b
}

// partsOf returns into how many parts the sides of triangles are cut so that a facet is about as fine as the texels of the
// normal map, within reason.
func partsOf(s *Scene, e *Eye, prims []int32) int {
	m := s.Objects[e.Outer].Mesh
	w, h := tileTexels, tileTexels
	if im := e.Normal.Image(); im != nil {
		w, h, _ = im.Size()
	}
	texels := 0.0
	for _, i := range prims {
		t := m.Tri[i]
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		texels += math.Abs((b.U-a.U)*(c.V-a.V)-(c.U-a.U)*(b.V-a.V)) / 2 * float64(w) * float64(h)
	}
	side := math.Sqrt(2 * texels / float64(len(prims))) // of a triangle, in texels
	most := math.Sqrt(mostFacets / float64(len(prims)))
	return max(1, min(mostParts, int(math.Ceil(min(side/normalTexels, most)))))
}

// binner fills a table.
type binner struct {
	s      *Scene
	e      *Eye
	b      *Beams
	src    []Source
	levels []float64
	boxes  []binned
}

// binned is a facet's box of cells in a layer.
type binned struct {
	id             int32
	x0, x1, y0, y1 int16
	layer          int16
	marks          bool // makes its cells listed
}

// corner is a facet's corner refracted for one source.
type corner struct {
	p, d geom.Vec
	cos  float64
	ok   bool
}

func (g *binner) run(prims []int32) {
	b := g.b
	parts := int32(b.parts * b.parts)
	ns := len(g.src)
	var seen map[uint32]int // vertices of plain shells are shared
	var store []corner
	if b.parts == 1 {
		seen = map[uint32]int{}
	}
	mesh := g.s.Objects[g.e.Outer].Mesh
	var c [3][]corner
	for k := range c {
		c[k] = make([]corner, ns)
	}
	var at Landing
	bend := func(prim uint32, u, v float64, to []corner) {
		g.s.corner(g.e, b.grid, prim, u, v, &at.Y)
		for i := range to {
			ok := g.s.land(g.e, g.src[i], -1e9, false, &at)
			to[i] = corner{at.Y.P, at.D, at.Cos, ok && at.Cos > pastHorizon}
		}
	}
	for _, prim := range prims {
		t := mesh.Tri[prim]
		for k := range parts {
			id := prim*parts + k
			if seen == nil {
				f := facetOf(id, b.parts)
				for q := range c {
					bend(uint32(prim), f.U[q], f.V[q], c[q])
				}
			} else {
				for q, v := range t {
					i, ok := seen[v]
					if !ok {
						i = len(store)
						seen[v] = i
						store = append(store, make([]corner, ns)...)
						bend(uint32(prim), float64(q&1), float64(q>>1), store[i:i+ns])
					}
					c[q] = store[i : i+ns]
				}
			}
			g.facet(id, c)
		}
	}
	g.list()
}

// list says which cells are listed, and by whom.
func (g *binner) list() {
	b := g.b
	n := b.n
	listed := make([]bool, n[0]*n[1]*n[2])
	each := func(q *binned, do func(cell int)) {
		for y := int(q.y0); y <= int(q.y1); y++ {
			for x := int(q.x0); x <= int(q.x1); x++ {
				do((int(q.layer)*n[1]+y)*n[0] + x)
			}
		}
	}
	for {
		for i := range g.boxes {
			if g.boxes[i].marks {
				each(&g.boxes[i], func(c int) { listed[c] = true })
			}
		}
		b.start = make([]int32, len(listed)+1)
		total := 0
		for i := range g.boxes {
			each(&g.boxes[i], func(c int) {
				if listed[c] {
					b.start[c+1]++
					total++
				}
			})
		}
		if total <= mostListed || n[0] <= fewestCells {
			break
		}
		for i := range g.boxes {
			q := &g.boxes[i]
			q.x0, q.x1, q.y0, q.y1 = q.x0/2, q.x1/2, q.y0/2, q.y1/2
		}
		n[0], n[1] = n[0]/2, n[1]/2
		b.inv.X, b.inv.Y = b.inv.X/2, b.inv.Y/2
		listed = make([]bool, n[0]*n[1]*n[2])
	}
	b.n = n
	for c := range listed {
		b.start[c+1] += b.start[c]
	}
	b.list = make([]int32, b.start[len(listed)])
	next := append([]int32(nil), b.start[:len(listed)]...)
	for i := range g.boxes {
		each(&g.boxes[i], func(c int) {
			if listed[c] {
				b.list[next[c]] = g.boxes[i].id
				next[c]++
			}
		})
	}
}

// facet bins one facet, given its corners for each source.
func (g *binner) facet(id int32, c [3][]corner) {
	b := g.b
	lit, low := false, 1.0
	for i := range g.src {
		if c[0][i].ok && c[1][i].ok && c[2][i].ok {
			lit = lit || max(c[0][i].cos, c[1][i].cos, c[2][i].cos) > -0.05
			low = min(low, c[0][i].cos, c[1][i].cos, c[2][i].cos)
		}
	}
	if !lit {
		return
	}
	lo, hi := b.lo, geom.Vec{X: b.lo.X + float64(b.n[0])/b.inv.X, Y: b.lo.Y + float64(b.n[1])/b.inv.Y}
	for k := range b.n[2] {
		box := [4]float64{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
		grow := 0.0
		turned := false
		for i := range g.src {
			if !(c[0][i].ok && c[1][i].ok && c[2][i].ok) {
				continue
			}
			for _, z := range g.levels[k : k+2] {
				var x, y [3]float64
				above := 0
				for q := range x {
					p := &c[q][i]
					h := (z - p.p.Z) / p.d.Z
					if h < 0 {
						h = 0
					} else {
						above++
					}
					x[q], y[q] = p.p.X+h*p.d.X, p.p.Y+h*p.d.Y
				}
				if above == 0 && z == g.levels[k] {
					break // all of the layer lies above the facet
				}
				x0, x1, y0, y1 := min(x[0], x[1], x[2]), max(x[0], x[1], x[2]), min(y[0], y[1], y[2]), max(y[0], y[1], y[2])
				grow = max(grow, growBinned*max(x1-x0, y1-y0))
				box[0], box[1], box[2], box[3] = min(box[0], x0), max(box[1], x1), min(box[2], y0), max(box[3], y1)
				turned = turned || (x[1]-x[0])*(y[2]-y[0])-(y[1]-y[0])*(x[2]-x[0]) <= 0
			}
		}
		if !(box[1]+grow >= lo.X && box[0]-grow < hi.X && box[3]+grow >= lo.Y && box[2]-grow < hi.Y) {
			continue
		}
		cell := func(x, l, inv float64, n int) int16 { return int16(max(0, min(float64(n-1), math.Floor((x-l)*inv)))) }
		g.boxes = append(g.boxes, binned{
			id: id, layer: int16(k), marks: turned || low < horizonCos,
			x0: cell(box[0]-grow, lo.X, b.inv.X, b.n[0]), x1: cell(box[1]+grow, lo.X, b.inv.X, b.n[0]),
			y0: cell(box[2]-grow, lo.Y, b.inv.Y, b.n[1]), y1: cell(box[3]+grow, lo.Y, b.inv.Y, b.n[1]),
		})
	}
}

// facetGrid keeps the normals at the corners of facets of a shell with a normal map, which take long to look up.
type facetGrid struct {
	parts  int
	first  []int32 // by triangle: its first corner; -1 where it has none
	normal []geom.Vec
}

func newFacetGrid(s *Scene, e *Eye, prims []int32, parts int) *facetGrid {
	g := &facetGrid{parts: parts, first: make([]int32, len(s.Objects[e.Outer].Mesh.Tri))}
	for i := range g.first {
		g.first[i] = -1
	}
	side := 1 / float64(parts)
	var y ShellPoint
	for _, i := range prims {
		g.first[i] = int32(len(g.normal))
		for v := range parts + 1 {
			for u := range parts + 1 - v {
				y.Prim, y.U, y.V = uint32(i), float64(u)*side, float64(v)*side
				s.shellPoint(e, &y, true)
				g.normal = append(g.normal, y.N)
			}
		}
	}
	return g
}

// corner fills the point and normal of a facet's corner.
func (s *Scene) corner(e *Eye, g *facetGrid, prim uint32, u, v float64, y *ShellPoint) {
	y.Prim, y.U, y.V = prim, u, v
	s.shellPoint(e, y, g == nil)
	if g != nil {
		m := float64(g.parts)
		i, j := int32(u*m+0.5), int32(v*m+0.5)
		y.N = g.normal[g.first[prim]+j*int32(g.parts+1)-j*(j-1)/2+i]
	}
}

// LandCorner is Land without derivatives for a corner of a facet.
func (s *Scene) LandCorner(e *Eye, b *Beams, f *Facet, k int, src Source, z float64, o *Landing) bool {
	s.corner(e, b.grid, f.Prim, f.U[k], f.V[k], &o.Y)
	return s.land(e, src, z, false, o)
}
