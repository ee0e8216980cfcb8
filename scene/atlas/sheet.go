package atlas

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Side is the side of a block in texels.
const Side = 128

// None is the triangle of a sample that no triangle covers.
const None = math.MaxUint32

// Place is a place on a mesh: barycentrics of the second and third corner of a triangle.
type Place struct {
	U, V float64
	Tri  uint32
}

// Sheet is one tile of texture space as a picture of W x H texels, each with N x N samples.
type Sheet struct {
	Mesh *mesh.Mesh
	Tile int // its number, from texture.FirstTile
	W, H int
	N    int

	across int     // blocks in a row
	start  []int32 // a block each and one more: of list
	list   []uint32
}

// Stray says that texture coordinates lie where no tile has a number.
type Stray struct {
	Count int
	UV    geom.UV // of the first
}

func (e *Stray) Error() string {
	return fmt.Sprintf("%d triangles have texture coordinates where no tile has a number, the first at u %g, v %g (up); tiles cover u from 0 to 10 and v from 0 to 99", e.Count, e.UV.U, 1-e.UV.V)
}

// slack is how far beyond a tile's edge, as a share of the tile, coordinates may lie without reaching the next one.
const slack = 1e-6

// Tiles returns the numbers of the tiles that triangles of m lie on, rising. An error is a *Stray.
func Tiles(m *mesh.Mesh) ([]int, error) {
	seen := map[int]bool{}
	var bad *Stray
	for _, t := range m.Tri {
		lo, hi := bounds(m, t)
		if !(lo.U > -slack && hi.U < 10+slack && lo.V > -98-slack && hi.V < 1+slack) {
			if bad == nil {
				bad = &Stray{UV: lo}
			}
			bad.Count++
			continue
		}
		for v := math.Floor(lo.V + slack); v < hi.V-slack; v++ {
			for u := math.Floor(lo.U + slack); u < hi.U-slack; u++ {
				seen[texture.TileOf(geom.UV{U: u + 0.5, V: v + 0.5})] = true
			}
		}
	}
	if bad != nil {
		return nil, bad
	}
	return slices.Sorted(maps.Keys(seen)), nil
}

// corner is the top left of a tile in texture coordinates.
func corner(tile int) geom.UV {
	k := tile - texture.FirstTile
	return geom.UV{U: float64(k % 10), V: float64(-(k / 10))}
}

func bounds(m *mesh.Mesh, t [3]uint32) (lo, hi geom.UV) {
	a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
	return geom.UV{U: min(a.U, b.U, c.U), V: min(a.V, b.V, c.V)}, geom.UV{U: max(a.U, b.U, c.U), V: max(a.V, b.V, c.V)}
}

// NewSheet lays a mesh with texture coordinates out in one tile. Triangles of no area in the picture are left out.
func NewSheet(m *mesh.Mesh, tile, w, h, n int) *Sheet {
	s := &Sheet{Mesh: m, Tile: tile, W: w, H: h, N: n, across: (w + Side - 1) / Side}
	count := make([]int32, s.Blocks()+1)
	s.each(func(_ uint32, block int) { count[block+1]++ })
	for i := range s.Blocks() {
		count[i+1] += count[i]
	}
	s.start = slices.Clone(count)
	s.list = make([]uint32, count[s.Blocks()])
	s.each(func(tri uint32, block int) {
		s.list[count[block]] = tri
		count[block]++
	})
	return s
}

// each calls f for each triangle and each block that its box meets.
func (s *Sheet) each(f func(tri uint32, block int)) {
	o := corner(s.Tile)
	for i, t := range s.Mesh.Tri {
		lo, hi := bounds(s.Mesh, t)
		x0, x1 := (lo.U-o.U)*float64(s.W), (hi.U-o.U)*float64(s.W)
		y0, y1 := (lo.V-o.V)*float64(s.H), (hi.V-o.V)*float64(s.H)
		if !(x0 < float64(s.W) && x1 > 0 && y0 < float64(s.H) && y1 > 0 && x1 > x0 && y1 > y0) {
			continue
		}
		bx0, by0 := int(max(0, x0))/Side, int(max(0, y0))/Side
		bx1, by1 := int(min(float64(s.W)-1, x1))/Side, int(min(float64(s.H)-1, y1))/Side
		for by := by0; by <= by1; by++ {
			for bx := bx0; bx <= bx1; bx++ {
				f(uint32(i), by*s.across+bx)
			}
		}
	}
}

// Blocks returns how many blocks there are; they go row by row.
func (s *Sheet) Blocks() int { return s.across * ((s.H + Side - 1) / Side) }

// Empty reports whether no triangle's box meets a block.
func (s *Sheet) Empty(block int) bool { return s.start[block] == s.start[block+1] }

// Area returns the texels x0 <= x < x1, y0 <= y < y1 of a block.
func (s *Sheet) Area(block int) (x0, y0, x1, y1 int) {
	x0, y0 = block%s.across*Side, block/s.across*Side
	return x0, y0, min(s.W, x0+Side), min(s.H, y0+Side)
}

// Block is what a block's samples lie on. It may be drawn into again and again.
type Block struct {
	X0, Y0, X1, Y1 int
	N              int
	Place          []Place   // N x N a texel, row by row within it; texels row by row, Side in a row
	Twice          int       // samples that a second triangle covers; the first in the mesh keeps them
	Both           [2]uint32 // the first such two triangles
	At             geom.UV   // where
}

// Texel returns the places of a texel of the picture.
func (b *Block) Texel(x, y int) []Place {
	k := b.N * b.N
	i := ((y-b.Y0)*Side + x - b.X0) * k
	return b.Place[i : i+k]
}

// Draw finds the places of a block's samples.
func (s *Sheet) Draw(block int, b *Block) {
	b.X0, b.Y0, b.X1, b.Y1 = s.Area(block)
	b.N, b.Twice = s.N, 0
	n := Side * Side * s.N * s.N
	if len(b.Place) < n {
		b.Place = make([]Place, n)
	}
	for i := range b.Place {
		b.Place[i].Tri = None
	}
	for _, t := range s.list[s.start[block]:s.start[block+1]] {
		s.draw(t, b)
	}
}

// edge is a directed edge of a triangle in samples: a x + b y + c is positive to its left, the same number but for the sign from
// both sides; own says who has what lies on it.
type edge struct {
	px, py, dx, dy, sign float64
	own                  bool
}

func edgeOf(ax, ay, bx, by float64) edge {
	e := edge{ax, ay, bx - ax, by - ay, 1, by < ay || by == ay && bx > ax}
	if ax > bx || ax == bx && ay > by {
		e.px, e.py, e.dx, e.dy, e.sign = bx, by, ax-bx, ay-by, -1
	}
	return e
}

func (e *edge) at(x, y float64) float64 { return e.sign * (e.dx*(y-e.py) - (x-e.px)*e.dy) }

// draw draws one triangle.
func (s *Sheet) draw(tri uint32, b *Block) {
	t, o := s.Mesh.Tri[tri], corner(s.Tile)
	var x, y [3]float64
	for k, v := range t {
		x[k] = (s.Mesh.UV[v].U - o.U) * float64(s.W*s.N)
		y[k] = (s.Mesh.UV[v].V - o.V) * float64(s.H*s.N)
	}
	i, j := 1, 2
	area := (x[1]-x[0])*(y[2]-y[0]) - (x[2]-x[0])*(y[1]-y[0])
	if area < 0 {
		i, j, area = 2, 1, -area
	}
	if !(area > 0) || math.IsInf(area, 0) {
		return
	}
	e0, e1, e2 := edgeOf(x[i], y[i], x[j], y[j]), edgeOf(x[j], y[j], x[0], y[0]), edgeOf(x[0], y[0], x[i], y[i])
	in := func(e *edge, d float64) bool { return d > 0 || d == 0 && e.own }
	N := s.N
	first := func(v ...float64) float64 { return math.Ceil(slices.Min(v) - 0.5) }
	last := func(v ...float64) float64 { return math.Floor(slices.Max(v) - 0.5) }
	sx0, sx1 := int(max(float64(b.X0*N), first(x[:]...))), int(min(float64(b.X1*N-1), last(x[:]...)))
	sy0, sy1 := int(max(float64(b.Y0*N), first(y[:]...))), int(min(float64(b.Y1*N-1), last(y[:]...)))
	for sy := sy0; sy <= sy1; sy++ {
		py := float64(sy) + 0.5
		for sx := sx0; sx <= sx1; sx++ {
			px := float64(sx) + 0.5
			d0, d1, d2 := e0.at(px, py), e1.at(px, py), e2.at(px, py)
			if !(in(&e0, d0) && in(&e1, d1) && in(&e2, d2)) {
				continue
			}
			p := &b.Place[((sy/N-b.Y0)*Side+sx/N-b.X0)*N*N+sy%N*N+sx%N]
			if p.Tri != None {
				if b.Twice == 0 {
					b.Both, b.At = [2]uint32{p.Tri, tri}, geom.UV{U: o.U + px/float64(s.W*N), V: o.V + py/float64(s.H*N)}
				}
				b.Twice++
				continue
			}
			p.Tri = tri
			if p.U, p.V = d1/area, d2/area; i == 2 {
				p.U, p.V = p.V, p.U
			}
		}
	}
}
