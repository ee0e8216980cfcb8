package accel

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/raw"
	"catchlight/scene/strand"
)

// hullPad is by how much the hierarchy's box is larger than the hulls, mm, so that wider hairs still fit into it.
const hullPad = 0.5

// bothParts marks a triangle between two parts of a hair: the one that is named and that before it.
const bothParts = 1 << 31

// hulls makes the triangles about all parts: a tube of four sides a hair, with walls between parts and at its ends.
func (c *Curves) hulls() {
	c.corners()
	for i, k := uint32(0), uint32(0); int(i) < len(c.parts); k += 4 {
		hair := c.parts[i].hair
		wall := func(at, part uint32) {
			c.tri = append(c.tri, [3]uint32{at, at + 1, at + 2}, [3]uint32{at, at + 2, at + 3})
			c.of = append(c.of, part, part)
		}
		wall(k, i)
		for first := i; int(i) < len(c.parts) && c.parts[i].hair == hair; i, k = i+1, k+4 {
			if i > first {
				wall(k, i|bothParts)
			}
			for j := range uint32(4) {
				a, b := k+j, k+(j+1)%4
				c.tri = append(c.tri, [3]uint32{a, b, b + 4}, [3]uint32{a, b + 4, a + 4})
				c.of = append(c.of, i, i)
			}
		}
		wall(k, i-1)
	}
	// Two triangles without area hold the room about the hulls.
	box := geom.EmptyBox()
	for _, p := range c.p {
		box = box.Grow(p)
	}
	n := uint32(len(c.p))
	pad := geom.Vec{X: hullPad, Y: hullPad, Z: hullPad}
	c.p = append(c.p, box.Lo.Sub(pad), box.Hi.Add(pad))
	c.tri = append(c.tri, [3]uint32{n, n, n}, [3]uint32{n + 1, n + 1, n + 1})
	c.of = append(c.of, 0, 0)
}

// corners places the corners of the hulls, in the order of hulls, and finds how long a hull is.
func (c *Curves) corners() {
	for i := 0; i < len(c.parts); {
		j := i
		for j < len(c.parts) && c.parts[j].hair == c.parts[i].hair {
			j++
		}
		c.rings(i, j)
		i = j
	}
	if c.base != nil { // the places that hold the room
		c.p = append(c.p, c.base.p[len(c.p):]...)
	}
}

// rings places the corners about the parts i to j-1, which are a hair. Rings stand across the bend between their two parts, and
// their sides are carried along by the least turn.
func (c *Curves) rings(i, j int) {
	way := func(k int) geom.Vec { // of part k
		q := &c.parts[k]
		d := c.knots[q.last].vec().Sub(c.knots[q.first].vec())
		if l := d.Len(); l > 0 {
			return d.Mul(1 / l)
		}
		return geom.Vec{Z: 1}
	}
	var a geom.Vec
	lastWide, lastWay := 0.0, way(i)
	for k := i; k <= j; k++ {
		wide, d := 0.0, lastWay
		if k < j {
			d = way(k)
			most, r := c.strays(int(c.parts[k].first), int(c.parts[k].last))
			wide = most + r
			c.back = max(c.back, c.knots[c.parts[k].last].vec().Sub(c.knots[c.parts[k].first].vec()).Len()+4*wide)
		}
		mid := d.Add(lastWay)
		if l := mid.Len(); l > 0.5 {
			mid = mid.Mul(1 / l)
		} else {
			mid = d
		}
		if k == i {
			a = geom.NewFrame(mid).S
		}
		a = a.Mad(-a.Dot(mid), mid)
		if l := a.Len(); l > 1e-3 {
			a = a.Mul(1 / l)
		} else {
			a = geom.NewFrame(mid).S
		}
		b := mid.Cross(a)
		knot := c.parts[min(k, j-1)].first
		if k == j {
			knot = c.parts[j-1].last
		}
		at := c.knots[knot].vec()
		r := hullRoom*max(wide, lastWide)/max(0.5, mid.Dot(d)) + 1e-5
		if end := hullRoom*float64(c.knots[knot].r) + 1e-5; k == i {
			at = at.Mad(-end, mid)
		} else if k == j {
			at = at.Mad(end, mid)
		}
		for _, s := range [4][2]float64{{1, 1}, {-1, 1}, {-1, -1}, {1, -1}} {
			c.p = append(c.p, at.Mad(r*s[0], a).Mad(r*s[1], b))
		}
		lastWide, lastWay = wide, d
	}
}

// Tangent returns the unit direction of hair i at u, toward the tip.
func (c *Curves) Tangent(i uint32, u float64) geom.Vec {
	s := c.set
	spans := int(s.Start[i+1]-s.Start[i]) - 1
	at := max(0, min(1, u)) * float64(spans)
	k := min(spans-1, int(at))
	q := s.Span(int(i), k)
	d := q.Slope(at - float64(k))
	if l := d.Len(); l > 1e-9 {
		return d.Mul(1 / l)
	}
	d = q.At(1).Sub(q.At(0))
	if l := d.Len(); l > 1e-12 && !math.IsInf(l, 0) {
		return d.Mul(1 / l)
	}
	return geom.Vec{Z: 1}
}

// Write keeps the hairs and their hierarchy.
func (c *Curves) Write(w *raw.Writer) {
	b := c.Base()
	raw.Slice(w, b.set.P)
	raw.Slice(w, b.set.R)
	raw.Slice(w, b.set.Start)
	raw.Slice(w, b.set.Eu)
	raw.Slice(w, b.set.Ph)
	b.hull.Write(w)
}

// ReadCurves returns the hierarchy that was written; nil where the hairs are not whole.
func ReadCurves(r *raw.Reader) *Curves {
	s := &strand.Set{P: raw.ReadSlice[geom.Vec](r), R: raw.ReadSlice[float32](r), Start: raw.ReadSlice[uint32](r)}
	s.Eu, s.Ph = raw.ReadSlice[float32](r), raw.ReadSlice[float32](r)
	c, err := cutCurves(s)
	if err != nil {
		return nil
	}
	c.hull = Read(r, c.p, c.tri)
	return c
}
