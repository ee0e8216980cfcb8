package lids

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// facing is the unit normal of heights z about a cell.
func (k *hollow) facing(z []float64, i int) geom.Vec {
	dx, dy := (z[i+1]-z[i-1])/(2*k.step), (z[i+k.w]-z[i-k.w])/(2*k.step)
	return geom.Vec{X: -dx, Y: -dy, Z: 1}.Unit()
}

// shown lists the cells that lie clear of the grid's edge and within the rims.
func (k *hollow) shown() (list []int) {
	for j := 1; j < k.h-1; j++ {
		for i := 2; i < k.w-1; i++ {
			if c := j*k.w + i; k.in[c] > 0.05 {
				list = append(list, c)
			}
		}
	}
	return list
}

// Sizes: caruncle 4 to 6 x 2.5 to 4 mm and 1.5 to 2.5 mm proud of the floor, of 25 to 40 lobes 0.5 to 1 mm across; the crescent fold 1.5 to 2.5 mm
// wide on its surface. Source: Wolff's Anatomy of the Eye and Orbit, 8th ed., chapter 2; from memory; the height of the mound and the
// lobes are common practice. Water stands 0.2 to 0.8 mm deep at its deepest and nowhere beneath the flesh.
func TestInnerCorner(t *testing.T) {
	p := Defaults()
	s := sockets(t, p, geom.Vec{Z: 1})
	k := s.newHollow(s.o.loop())
	c := s.caruncle(k)
	assert.GreaterOrEqual(t, len(c.lobe), 25)
	assert.LessOrEqual(t, len(c.lobe), 40)
	for _, q := range c.lobe {
		assert.InDelta(t, 0.375, q.r, 0.13)
	}
	var wide, high [2]float64
	top, deep := math.Inf(-1), 0.0
	for i := range k.flesh {
		x, y := k.at(i)
		if c.dome(x, y) > c.floor {
			wide[0], wide[1] = min(wide[0], x-c.x), max(wide[1], x-c.x)
			high[0], high[1] = min(high[0], y-c.y), max(high[1], y-c.y)
		}
		require.GreaterOrEqual(t, k.water[i], k.flesh[i]-1e-9)
		if k.in[i] > 0.3 {
			deep = max(deep, k.water[i]-max(k.flesh[i], k.globe[i]))
			if k.lobe[i] > 0.9 {
				top = max(top, k.flesh[i]-c.floor)
			}
		}
	}
	assert.InDelta(t, 3.25, wide[1]-wide[0], 0.75)
	assert.InDelta(t, 5, high[1]-high[0], 1)
	assert.InDelta(t, 2, top, 0.5)
	assert.InDelta(t, 0.5, deep, 0.3)
	// Across the middle, from where the fold leaves the globe to where it has fallen into the groove.
	row := k.cell(k.tip.X-4, c.y) / k.w * k.w
	width, last := 0.0, 0
	for i := row + 1; k.fold[i] < foldWide+foldGroove/2; i++ {
		if k.flesh[i] > k.globe[i] {
			if last > 0 {
				width += math.Hypot(k.step, k.flesh[i]-k.flesh[last])
			}
			last = i
		}
	}
	assert.InDelta(t, 2, width, 0.5)
	t.Logf("caruncle %.2f x %.2f mm, %.2f proud, %d lobes; fold %.2f wide; water up to %.2f deep", high[1]-high[0], wide[1]-wide[0], top, len(c.lobe), width, deep)
}

// From the globe up onto the fold no normal jumps by more than 30 degrees: where the flesh, and the water over it, come out of the
// globe, and from cell to cell of the water's surface all over the corner.
func TestInnerCornerIsSmooth(t *testing.T) {
	s := sockets(t, Defaults(), geom.Vec{Z: 1})
	k := s.newHollow(s.o.loop())
	worst, edge := 0.0, 0.0
	for _, i := range k.shown() {
		if k.fold[i] < 1 && (k.flesh[i] > k.globe[i]) != (k.flesh[i-1] > k.globe[i-1]) {
			edge = max(edge, math.Acos(min(1, k.facing(k.flesh, i).Dot(k.facing(k.globe, i)))))
		}
		if k.fold[i] < 1 && k.in[i] > 0.6 {
			worst = max(worst, math.Acos(min(1, k.facing(k.water, i).Dot(k.facing(k.water, i-1)))))
		}
	}
	t.Logf("from globe to fold %.1f degrees, from cell to cell of the water %.1f", geom.Degrees(edge), geom.Degrees(worst))
	assert.Greater(t, edge, 0.0)
	assert.Less(t, geom.Degrees(edge), 30.0)
	assert.Less(t, geom.Degrees(worst), 30.0)
}

// A lamp 24 degrees up and 44 to the side that is 8 by 20 degrees large is mirrored in two or more places of the water in the corner apart
// from each other.
func TestCornerGlints(t *testing.T) {
	s := sockets(t, Defaults(), geom.Vec{Z: 1})
	k := s.newHollow(s.o.loop())
	lit := map[int]bool{}
	for _, i := range k.shown() {
		if k.water[i] < k.globe[i]+0.05 {
			continue
		}
		r := geom.Reflect(geom.Vec{Z: 1}, k.facing(k.water, i))
		el, az := geom.Degrees(math.Asin(r.Y)), geom.Degrees(math.Atan2(r.X, r.Z))
		lit[i] = math.Abs(el-24) < 10 && math.Abs(az+44) < 4
	}
	glints := 0
	for i := range lit {
		if !lit[i] {
			continue
		}
		glints++
		for list := []int{i}; len(list) > 0; list = list[1:] {
			for _, d := range []int{0, 1, -1, k.w, -k.w, k.w + 1, k.w - 1, -k.w - 1, 1 - k.w} {
				if lit[list[0]+d] {
					lit[list[0]+d] = false
					list = append(list, list[0]+d)
				}
			}
		}
	}
	t.Logf("%d glints", glints)
	assert.GreaterOrEqual(t, glints, 2)
}

// The puncta: holes of 0.2 to 0.3 mm on mounds at most 1.2 mm wide, 6 and 6.5 mm along the rims from the inner corner, whose tops look over the
// opening and to the globe, and whose edges lie beneath the rim's face.
func TestPuncta(t *testing.T) {
	s := sockets(t, Defaults(), geom.Vec{Z: 1})
	for i, q := range s.puncta() {
		want := []float64{s.o.length() - 6.5, 6}[i]
		best := math.Inf(1)
		for _, k := range s.o.s {
			if d := k.rim.Sub(q.o).Len(); d < best && math.Abs(k.arc-want) < 0.3 {
				best = d
			}
		}
		assert.Less(t, best, 1.0)
		top := func(mm float64) float64 {
			v, _ := q.at(mm/q.half, 0)
			return v.Sub(q.o).Dot(q.axis)
		}
		assert.InDelta(t, 0.45, q.half, 0.15)
		assert.Less(t, top(0), top(0.18)-0.12) // the hole
		assert.Less(t, top(0.08), top(0.2))
		assert.Greater(t, top(0.18), 0.08)
		for _, e := range [][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}} {
			v, _ := q.at(e[0], e[1])
			face := q.along.Cross(q.across)
			assert.Less(t, v.Sub(q.o).Dot(face), -0.08)
		}
		// Toward the globe, and toward the other lid.
		assert.Less(t, q.axis.Dot(q.o.Unit()), 0.0)
		assert.Greater(t, q.axis.Y*float64(1-2*i), 0.2)
	}
}
