package lids

import (
	"math"

	"catchlight/scene/geom"
)

// distance is how far places of the skin's ground are along it from a closed line on it, less than 0 within the line. Away from the
// line it is evened out over about a sixth of itself, so that level sets have no edges where the nearest place of the line jumps, and
// ways across them don't meet.
type distance struct {
	exact *grid
	even  [4]*grid
}

// Where each evened grid takes over from the one before, mm, and the half widths of the means in steps.
var evenFrom = [4]float64{0.4, 2.5, 5.5, 9}
var evenBy = [4]int{1, 3, 6, 14}

const (
	distanceStep = 0.2 // of the grid, mm
	distanceBand = 0.7 // next to the line, where the distance is that in space, mm
)

// newDistance lays the distance from the line within reach mm of it, by fast marching: places are reached in order of their distance,
// each by a straight front through two neighbours that have been.
//
// Source: Kimmel and Sethian, Computing geodesic paths on manifolds, PNAS 95 (1998), 8431.
func newDistance(g *ground, x, y []float64, reach float64) *distance {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for i := range x {
		lo[0], lo[1], hi[0], hi[1] = min(lo[0], x[i]), min(lo[1], y[i]), max(hi[0], x[i]), max(hi[1], y[i])
	}
	reach += 4
	f := &wave{}
	f.grid = newGrid(lo[0]-reach, lo[1]-reach, hi[0]+reach, hi[1]+reach, distanceStep, func(x, y float64) float64 {
		z, _, _ := g.skin(x, y)
		f.z = append(f.z, z)
		return math.Inf(1)
	})
	f.done = make([]bool, len(f.v))
	f.begin(g, x, y)
	f.run()
	d := &distance{exact: f.grid}
	for i, k := range evenBy {
		d.even[i] = d.exact.blurred(k)
	}
	return d
}

// wave is a fast march over a grid.
type wave struct {
	*grid
	z    []float64
	done []bool
	heap []int // nodes that have been reached, the nearest first
}

func (f *wave) node(i int) geom.Vec {
	return geom.Vec{X: f.x + float64(i%f.w)*f.step, Y: f.y + float64(i/f.w)*f.step, Z: f.z[i]}
}

// begin sets the nodes next to the line, and those within it.
func (f *wave) begin(g *ground, x, y []float64) {
	n := len(x)
	p := make([]geom.Vec, n)
	for i := range x {
		z, _, _ := g.skin(x[i], y[i])
		p[i] = geom.Vec{X: x[i], Y: y[i], Z: z}
	}
	cell := func(v, from float64, most int) int { return max(0, min(int((v-from)/f.step), most-1)) }
	for i, a := range p {
		b := p[(i+1)%n]
		e := b.Sub(a)
		for iy := cell(min(a.Y, b.Y)-distanceBand, f.y, f.h); iy <= cell(max(a.Y, b.Y)+distanceBand, f.y, f.h-1)+1; iy++ {
			for ix := cell(min(a.X, b.X)-distanceBand, f.x, f.w); ix <= cell(max(a.X, b.X)+distanceBand, f.x, f.w-1)+1; ix++ {
				k := iy*f.w + ix
				q := f.node(k).Sub(a)
				t := max(0, min(1, q.Dot(e)/max(1e-12, e.Len2())))
				if l := q.Mad(-t, e).Len(); l < distanceBand && l < f.v[k] {
					f.v[k] = l
				}
			}
		}
	}
	// Within: to the left of every node, an odd number of crossings.
	for iy := range f.h {
		top := f.y + float64(iy)*f.step
		flip := make([]int, f.w+1)
		for i, a := range p {
			b := p[(i+1)%n]
			if (a.Y > top) != (b.Y > top) {
				at := a.X + (b.X-a.X)*(top-a.Y)/(b.Y-a.Y)
				flip[max(0, min(f.w, int(math.Ceil((at-f.x)/f.step))))]++
			}
		}
		in := 0
		for ix := range f.w {
			in += flip[ix]
			k := iy*f.w + ix
			if in%2 == 1 {
				f.v[k] = -min(f.v[k], distanceBand)
			}
			if f.v[k] < distanceBand {
				f.done[k] = true
			}
		}
	}
}

// run marches on from the nodes that are done.
func (f *wave) run() {
	for k, done := range f.done {
		if done && f.v[k] > 0 {
			f.around(k)
		}
	}
	for len(f.heap) > 0 {
		k := f.pop()
		if !f.done[k] {
			f.done[k] = true
			f.around(k)
		}
	}
}

// The neighbours of a node in order round it.
var ring = [8][2]int{{1, 0}, {1, 1}, {0, 1}, {-1, 1}, {-1, 0}, {-1, -1}, {0, -1}, {1, -1}}

// around reaches the neighbours of a node that is done.
func (f *wave) around(k int) {
	x, y := k%f.w, k/f.w
	for _, r := range ring {
		if i, j := x+r[0], y+r[1]; i >= 0 && i < f.w && j >= 0 && j < f.h && !f.done[j*f.w+i] {
			m := j*f.w + i
			if v := f.reach(m); v < f.v[m] {
				f.v[m] = v
				f.push(m)
			}
		}
	}
}

// reach returns a node's distance by way of its neighbours that are done.
func (f *wave) reach(m int) float64 {
	x, y := m%f.w, m/f.w
	best := math.Inf(1)
	p := f.node(m)
	get := func(r [2]int) (int, bool) {
		i, j := x+r[0], y+r[1]
		k := j*f.w + i
		return k, i >= 0 && i < f.w && j >= 0 && j < f.h && f.done[k]
	}
	for n, r := range ring {
		a, ok := get(r)
		if !ok {
			continue
		}
		qa := f.node(a).Sub(p)
		best = min(best, f.v[a]+qa.Len())
		b, ok := get(ring[(n+1)%8])
		if !ok {
			continue
		}
		// Along the edge from a to b the distance so far is a straight function; the least sum with the way from there.
		e := f.node(b).Sub(f.node(a))
		l := e.Len()
		slope := (f.v[b] - f.v[a]) / l
		if math.Abs(slope) >= 1 {
			continue
		}
		foot := -qa.Dot(e) / l
		off := math.Sqrt(max(0, qa.Len2()-foot*foot))
		s := foot - off*slope/math.Sqrt(1-slope*slope)
		if s > 0 && s < l {
			best = min(best, f.v[a]+slope*s+math.Hypot(off, foot-s))
		}
	}
	return best
}

func (f *wave) push(k int) {
	f.heap = append(f.heap, k)
	for i := len(f.heap) - 1; i > 0; {
		up := (i - 1) / 2
		if f.v[f.heap[up]] <= f.v[f.heap[i]] {
			return
		}
		f.heap[up], f.heap[i] = f.heap[i], f.heap[up]
		i = up
	}
}

func (f *wave) pop() int {
	k := f.heap[0]
	n := len(f.heap) - 1
	f.heap[0] = f.heap[n]
	f.heap = f.heap[:n]
	for i := 0; ; {
		low := 2*i + 1
		if low >= n {
			return k
		}
		if low+1 < n && f.v[f.heap[low+1]] < f.v[f.heap[low]] {
			low++
		}
		if f.v[f.heap[i]] <= f.v[f.heap[low]] {
			return k
		}
		f.heap[i], f.heap[low] = f.heap[low], f.heap[i]
		i = low
	}
}

// at returns the distance near a level of e mm, and its slopes.
func (d *distance) at(x, y, e float64) (v, dx, dy float64) {
	a, b, f := d.exact, d.even[0], geom.Smoothstep(0, evenFrom[0], e)
	for i := 1; i < len(evenFrom); i++ {
		if e > evenFrom[i-1] {
			a, b, f = d.even[i-1], d.even[i], geom.Smoothstep(evenFrom[i-1], evenFrom[i], e)
		}
	}
	v, dx, dy = a.at(x, y)
	if f > 0 {
		w, wx, wy := b.at(x, y)
		v, dx, dy = v+f*(w-v), dx+f*(wx-dx), dy+f*(wy-dy)
	}
	return
}
