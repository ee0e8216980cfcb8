package meshio

import (
	"math"

	"catchlight/scene/geom"
)

// maxCorners is the most corners that one polygon may have.
const maxCorners = 1 << 12

// polygon cuts the polygon with corners p into len(p)-2 triangles of corner numbers, appended to out, that keep its
// winding. A quad is cut along the diagonal that lies inside, of two such along the shorter one; a larger polygon by
// its ears, seen along its mean normal: of small ones the best-shaped first. steps is what the caller can spend; once
// it is used up, and where nothing is an ear (a polygon that crosses itself), the rest becomes a fan.
//
// Source: Meisters, Polygons Have Ears, American Mathematical Monthly 82(6), 1975; the mean normal is Newell's, as in
// Sutherland, Sproull and Schumacker, A Characterization of Ten Hidden-Surface Algorithms, 1974.
func polygon(p []geom.Vec, out [][3]int, steps *int) [][3]int {
	n := len(p)
	if n < 3 {
		return out
	}
	if n == 3 {
		return append(out, [3]int{0, 1, 2})
	}
	var normal geom.Vec
	for i, a := range p {
		b := p[(i+1)%n]
		normal = normal.Add(a.Sub(p[0]).Cross(b.Sub(p[0])))
	}
	convex := func(a, b, c int) bool { return p[b].Sub(p[a]).Cross(p[c].Sub(p[b])).Dot(normal) > 0 }
	if n == 4 {
		even := convex(0, 1, 2) && convex(2, 3, 0)
		odd := convex(1, 2, 3) && convex(3, 0, 1)
		if odd && (!even || p[1].Sub(p[3]).Len2() < p[0].Sub(p[2]).Len2()) {
			return append(out, [3]int{0, 1, 3}, [3]int{1, 2, 3})
		}
		return append(out, [3]int{0, 1, 2}, [3]int{0, 2, 3})
	}
	left := make([]int, n)
	for i := range left {
		left[i] = i
	}
	if normal.Len2() > 0 {
		f := geom.NewFrame(normal.Unit())
		q := make([]geom.Vec, n)
		for i := range p {
			q[i] = f.Local(p[i].Sub(p[0]))
		}
		for len(left) > 3 && *steps > 0 {
			best, quality := -1, math.Inf(-1)
			for i := range left {
				g, ok := ear(q, left, i, steps)
				if ok && g > quality {
					best, quality = i, g
					if n > 32 {
						break
					}
				}
			}
			if best < 0 {
				break
			}
			m := len(left)
			out = append(out, [3]int{left[(best+m-1)%m], left[best], left[(best+1)%m]})
			left = append(left[:best], left[best+1:]...)
		}
	}
	for i := 1; i+1 < len(left); i++ {
		out = append(out, [3]int{left[0], left[i], left[i+1]})
	}
	return out
}

// ear reports whether corner i of what is left of a flat polygon can be cut off, and the sine of the smallest angle of
// that triangle.
func ear(q []geom.Vec, left []int, i int, steps *int) (sine float64, ok bool) {
	m := len(left)
	ia, ib, ic := left[(i+m-1)%m], left[i], left[(i+1)%m]
	a, b, c := q[ia], q[ib], q[ic]
	area := side(a, b, c)
	*steps -= m
	if !(area > 0) {
		return 0, false
	}
	for _, j := range left {
		if j == ia || j == ib || j == ic || q[j] == a || q[j] == b || q[j] == c {
			continue
		}
		if side(a, b, q[j]) >= 0 && side(b, c, q[j]) >= 0 && side(c, a, q[j]) >= 0 {
			return 0, false
		}
	}
	// The smallest angle lies between the two longest sides.
	x, y, z := b.Sub(a).Len(), c.Sub(b).Len(), a.Sub(c).Len()
	return area * min(x, y, z) / (x * y * z), true
}

// side is twice the area of a, b, c in the plane of x and y, positive where they turn left.
func side(a, b, c geom.Vec) float64 { return (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y) }
