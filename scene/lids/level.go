package lids

import (
	"math"

	"catchlight/scene/geom"
)

// level is one row of the skin: all places of its ground that are as far from the front lips.
type level struct {
	e    float64 // that distance, mm
	x, y []float64
	z    []float64
	out  [][2]float64 // of the last: directions across it as seen from the front, unit, evened out
	way  []float64    // the station that each point has come from, and how far on toward the next
}

// march lays the rows at the rising distances e from the first row (at x, y) on: level sets of the distance from it, which can't
// cross. Points go across them, and spread along their row where they fan out; those at 0 and half, in the corners, do not.
func (g *ground) march(x, y []float64, e []float64, half int) []*level {
	n := len(x)
	dist := newDistance(g, x, y, e[len(e)-1])
	first := &level{x: x, y: y, z: make([]float64, n), way: make([]float64, n)}
	off := make([]float64, n) // of the first row from the grid's level of 0, for near a tip the grid rounds it
	for i := range x {
		first.z[i], _, _ = g.skin(x[i], y[i])
		first.way[i] = float64(i)
		off[i], _, _ = dist.at(x[i], y[i], 0)
	}
	out := []*level{first}
	last := first
	for _, to := range e {
		parts := math.Ceil((to - last.e) / 0.25)
		step := (to - last.e) / parts
		for range int(parts) {
			next := &level{e: last.e + step, x: append([]float64(nil), last.x...), y: append([]float64(nil), last.y...), z: make([]float64, n), way: append([]float64(nil), last.way...)}
			next.settle(dist, off)
			if next.e > 0.5 {
				next.slide(half)
				next.settle(dist, off)
			}
			last = next
		}
		for i := range last.x {
			last.z[i], _, _ = g.skin(last.x[i], last.y[i])
		}
		out = append(out, last)
	}
	last.outward(dist)
	return out
}

// settle moves the points across the level sets onto their own.
func (l *level) settle(d *distance, off []float64) {
	for i := range l.x {
		want := l.e + off[i]*(1-geom.Smoothstep(0, 1.5, l.e))
		for range 3 {
			v, dx, dy := d.at(l.x[i], l.y[i], l.e)
			k := (want - v) / max(0.2, dx*dx+dy*dy)
			k = max(-0.5, min(k, 0.5))
			l.x[i], l.y[i] = l.x[i]+k*dx, l.y[i]+k*dy
			if math.Abs(want-v) < 1e-4 {
				break
			}
		}
	}
}

// outward finds the directions across the row, evened out along it.
func (l *level) outward(d *distance) {
	n := len(l.x)
	v := make([][2]float64, n)
	for i := range v {
		_, dx, dy := d.at(l.x[i], l.y[i], l.e)
		m := math.Hypot(dx, dy)
		v[i] = [2]float64{dx / m, dy / m}
	}
	k := max(1, n/12)
	l.out = make([][2]float64, n)
	for i := range v {
		var x, y float64
		for j := -k; j <= k; j++ {
			q := v[(i+j+n)%n]
			x, y = x+q[0], y+q[1]
		}
		m := math.Hypot(x, y)
		l.out[i] = [2]float64{x / m, y / m}
	}
}

// slide spreads the points along their row, between its two ends at 0 and half, so that their spacing evens out.
func (l *level) slide(half int) {
	n := len(l.x)
	x, y := append(append([]float64(nil), l.x...), l.x[0]), append(append([]float64(nil), l.y...), l.y[0])
	way := append(append([]float64(nil), l.way...), float64(n))
	cum := make([]float64, n+1)
	for i := range n {
		cum[i+1] = cum[i] + math.Hypot(x[i+1]-x[i], y[i+1]-y[i])
	}
	to := append([]float64(nil), cum...)
	for range 8 {
		last := to[0]
		for i := 1; i < n; i++ {
			v := to[i]
			if i != half {
				to[i] += 0.25*(last-v) + 0.25*(to[i+1]-v)
			}
			last = v
		}
	}
	k := 0
	for i := range l.x {
		for k < n-1 && cum[k+1] < to[i] {
			k++
		}
		f := 0.0
		if d := cum[k+1] - cum[k]; d > 0 {
			f = max(0, min(1, (to[i]-cum[k])/d))
		}
		l.x[i], l.y[i] = x[k]+f*(x[k+1]-x[k]), y[k]+f*(y[k+1]-y[k])
		l.way[i] = way[k] + f*(way[k+1]-way[k])
	}
}
