package cover

// corner is a vertex in homogeneous film coordinates, with its place (U, V) in the source triangle.
type corner struct{ x, y, w, z, u, v float64 }

// guard is how far, in pixels, triangles may reach beyond the film before they are cut: the whole numbers that decide coverage
// have room for it.
const guard = 4096

// planes are what a triangle is cut at: distance >= 0 is kept.
const planes = 5

func (c *corner) distance(plane int, width, height float64) float64 {
	switch plane {
	case 0: // near: depth z/w <= 1
		return c.w - c.z
	case 1:
		return c.x + guard*c.w
	case 2:
		return (width+guard)*c.w - c.x
	case 3:
		return c.y + guard*c.w
	}
	return (height+guard)*c.w - c.y
}

// outside reports whether all three corners lie beyond one side of the film, or before the near plane.
func outside(t *[3]corner, width, height float64) bool {
	all := func(f func(c *corner) bool) bool { return f(&t[0]) && f(&t[1]) && f(&t[2]) }
	return all(func(c *corner) bool { return c.w < c.z }) ||
		all(func(c *corner) bool { return c.x < 0 }) || all(func(c *corner) bool { return c.x > width*c.w }) ||
		all(func(c *corner) bool { return c.y < 0 }) || all(func(c *corner) bool { return c.y > height*c.w })
}

// clip cuts a triangle at the near plane and the guard band and returns the convex polygon that is left, in buf. An edge is cut at
// the same point from both of its triangles: always from its inner end.
//
// Source: Sutherland and Hodgman, Reentrant Polygon Clipping, CACM 17(1), 1974, in the homogeneous coordinates of Blinn and Newell.
func clip(t *[3]corner, width, height float64, buf, spare []corner) []corner {
	in := append(buf[:0], t[:]...)
	out := spare[:0]
	for p := range planes {
		cut := false
		for i := range in {
			if in[i].distance(p, width, height) < 0 {
				cut = true
			}
		}
		if !cut {
			continue
		}
		out = out[:0]
		for i := range in {
			a, b := in[i], in[(i+1)%len(in)]
			da, db := a.distance(p, width, height), b.distance(p, width, height)
			if da >= 0 {
				out = append(out, a)
			}
			if (da >= 0) != (db >= 0) {
				if da < 0 {
					a, b, da, db = b, a, db, da
				}
				s := da / (da - db)
				mix := func(p, q float64) float64 { return p + s*(q-p) }
				out = append(out, corner{mix(a.x, b.x), mix(a.y, b.y), mix(a.w, b.w), mix(a.z, b.z), mix(a.u, b.u), mix(a.v, b.v)})
			}
		}
		in, out = out, in
		if len(in) < 3 {
			return nil
		}
	}
	return in
}
