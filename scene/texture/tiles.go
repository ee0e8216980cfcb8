package texture

import (
	"fmt"
	"math"
	"slices"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Tiles is a set of pictures laid side by side over texture space, numbered 1001 + column + 10 row, with ten columns
// and rows that count upward from v = 1 (v runs down). Within a tile a look-up sees that tile alone. What lies on a
// tile that is not there has the colour of the nearest one that is.
//
// The numbering is common practice, no published source.
type Tiles struct {
	first, rows int // row of pictures[0]; rows held
	pictures    []*Image
	have        []int
}

// Numbers that a tile may have.
const (
	FirstTile = 1001
	LastTile  = 1999
)

// NewTiles lays pictures by their numbers; there must be one at least.
func NewTiles(pictures map[int]*Image) (*Tiles, error) {
	t := &Tiles{first: math.MaxInt}
	last := 0
	for n := range pictures {
		if n < FirstTile || n > LastTile {
			return nil, fmt.Errorf("tile %d: numbers run from %d to %d", n, FirstTile, LastTile)
		}
		t.have = append(t.have, n)
		row := (n - FirstTile) / 10
		t.first, last = min(t.first, row), max(last, row)
	}
	if len(t.have) == 0 {
		return nil, fmt.Errorf("a set of tiles without a picture")
	}
	slices.Sort(t.have)
	t.rows = last - t.first + 1
	t.pictures = make([]*Image, 10*t.rows)
	for i := range t.pictures {
		n := FirstTile + 10*t.first + i
		best := t.have[0]
		for _, k := range t.have {
			if distance(k, n) < distance(best, n) {
				best = k
			}
		}
		t.pictures[i] = pictures[best]
		t.pictures[i].BuildMips()
	}
	return t, nil
}

// distance in tiles, squared.
func distance(a, b int) int {
	a, b = a-FirstTile, b-FirstTile
	dx, dy := a%10-b%10, a/10-b/10
	return dx*dx + dy*dy
}

// Numbers lists the tiles that are there, rising.
func (t *Tiles) Numbers() []int { return t.have }

// Missing returns the tiles that the points lie on and that are not there, rising; 0 stands for points where no tile has
// a number.
func (t *Tiles) Missing(points []geom.UV) []int {
	var out []int
	for _, uv := range points {
		n := TileOf(uv)
		if _, ok := slices.BinarySearch(t.have, n); ok {
			continue
		}
		if i, ok := slices.BinarySearch(out, n); !ok {
			out = slices.Insert(out, i, n)
		}
	}
	return out
}

// Tiles returns the set that the map reads, or nil.
func (m *Map) Tiles() *Tiles { return m.tiles }

// TileOf returns the number of the tile that uv lies on, 0 where no tile has one.
func TileOf(uv geom.UV) int {
	x, y := math.Floor(uv.U), math.Floor(1-uv.V)
	if uv.V == math.Trunc(uv.V) { // an upper edge belongs to the tile below it
		y = math.Ceil(1-uv.V) - 1
		y = max(y, 0)
	}
	if !(x >= 0 && x < 10 && y >= 0 && y < 100) {
		return 0
	}
	return FirstTile + int(x) + 10*int(y)
}

// pick returns the picture at uv and the place within it.
func (t *Tiles) pick(uv geom.UV) (*Image, float64, float64) {
	x := max(0, min(9, math.Floor(uv.U)))
	y := max(0, min(99, math.Ceil(1-uv.V)-1))
	if !(x == x && y == y) {
		x, y = 0, 0
	}
	row := max(0, min(t.rows-1, int(y)-t.first))
	return t.pictures[10*row+int(x)], fold(uv.U-x, Clamp), fold(uv.V+y, Clamp)
}

// FromTiles returns a map that reads a set of tiles.
func FromTiles(t *Tiles) Map {
	return Map{kind: tiled, wrap: Clamp, im: t.pictures[0], tiles: t, gain: 1}
}

// mean of all tiles that are there, each once.
func (t *Tiles) mean() colour.RGB {
	var sum colour.RGB
	seen := map[*Image]bool{}
	for _, im := range t.pictures {
		if !seen[im] {
			seen[im] = true
			m := FromImage(im, Clamp)
			sum = sum.Add(m.Mean())
		}
	}
	return sum.Scale(1 / float64(len(seen)))
}
