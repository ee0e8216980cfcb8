package raster

import (
	"math"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/scene/geom"
	"catchlight/scene/strand"
)

// solid is an object as triangles in the world.
type solid struct {
	object int32
	points []geom.Vec
	tri    [][3]uint32
	face   []uint32 // of shapes in closed form: the face that each triangle lies on, as frozen.Hit.Prim; nil: the triangle itself
	side   cover.Side
	cut    cover.Cut    // of a mesh with an opacity mask; nil: all is there
	low    *low         // in place of a fine outer shell
	light  *light.Light // of a light that the camera sees; object is -1 then
}

// slabReach is half the edge of the square that stands for an infinite slab, in mm of its own frame: its edge lies 1e-4 of a radian
// or less below the horizon for a camera up to a metre away.
const slabReach = 1e7

// sphereSegments is the number of segments round a tessellated sphere's equator; its outline lies 1/3300 of the radius inside at most.
const sphereSegments = 256

// solidOf cuts an object into triangles, counter-clockwise from outside.
func solidOf(b *frozen.Object, index int32) solid {
	s := solid{object: index}
	add := func(face uint32, p ...geom.Vec) { // a convex polygon
		first := uint32(len(s.points))
		s.points = append(s.points, p...)
		for i := 2; i < len(p); i++ {
			s.tri = append(s.tri, [3]uint32{first, first + uint32(i) - 1, first + uint32(i)})
			s.face = append(s.face, face)
		}
	}
	x, y, z := b.Size.X, b.Size.Y, b.Size.Z
	switch b.Shape {
	case frozen.Mesh:
		s.points, s.tri = append([]geom.Vec(nil), b.Mesh.P...), b.Mesh.Tri
		if b.Material.Kind == frozen.Outer || b.Material.Kind == frozen.Inner {
			s.side = cover.Front
		}
		if c, m := b.OpacityMask, b.Mesh; c != nil {
			s.cut = func(prim uint32, u, v float64, sample int) bool {
				a := c.At(m, prim, u, v)
				if c.Blend {
					return a < 1 && a <= stopped(prim, sample)
				}
				return a < c.Threshold
			}
		}
	case frozen.Strands: // to cast shadows
		m := strand.Tubes(casting(b), 3)
		s.points, s.tri = m.P, m.Tri
	case frozen.Sphere:
		ball(&s, x)
	case frozen.Rectangle:
		add(0, geom.Vec{X: -x, Y: -y}, geom.Vec{X: x, Y: -y}, geom.Vec{X: x, Y: y}, geom.Vec{X: -x, Y: y})
	case frozen.Disc:
		var p []geom.Vec
		for i := range sphereSegments {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / sphereSegments)
			p = append(p, geom.Vec{X: x * cos, Y: x * sin})
		}
		add(0, p...)
	case frozen.Slab:
		const r = slabReach
		add(0, geom.Vec{X: -r, Y: -r}, geom.Vec{X: r, Y: -r}, geom.Vec{X: r, Y: r}, geom.Vec{X: -r, Y: r})
		add(1, geom.Vec{X: -r, Y: r, Z: -z}, geom.Vec{X: r, Y: r, Z: -z}, geom.Vec{X: r, Y: -r, Z: -z}, geom.Vec{X: -r, Y: -r, Z: -z})
	case frozen.Box:
		for f := range uint32(6) {
			// Axis a points out of the face; b and c follow it round, so that b x c is a.
			a, sign := int(f/2), float64(f&1)*2-1
			corner := func(u, v float64) geom.Vec {
				var q [3]float64
				q[a], q[(a+1)%3], q[(a+2)%3] = sign, u*sign, v
				return geom.Vec{X: q[0] * x, Y: q[1] * y, Z: q[2] * z}
			}
			add(f, corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1))
		}
	}
	for i, p := range s.points {
		s.points[i] = b.ToWorld.Point(p)
	}
	return s
}

// stopped is the least mask value at which a sample of a triangle is there, so that of the samples of a pixel, and of its
// neighbours, the mask's share are: coverage in place of a blend that would need an order.
//
// Source: the additive recurrence of the golden ratio, of low discrepancy (Weyl 1916; from memory), with each triangle's own start.
func stopped(prim uint32, sample int) float64 {
	const golden = 0.6180339887498949
	_, f := math.Modf(float64(prim%4096)*0.7548776662466927 + float64(sample)*golden)
	return f
}

// ball cuts a sphere of radius r about the origin.
func ball(s *solid, r float64) {
	const n, m = sphereSegments, sphereSegments / 2
	for j := range m + 1 {
		st, ct := math.Sincos(math.Pi * float64(j) / m)
		for i := range n {
			sp, cp := math.Sincos(2 * math.Pi * float64(i) / n)
			s.points = append(s.points, geom.Vec{X: r * st * sp, Y: r * ct, Z: r * st * cp})
		}
	}
	for j := range uint32(m) {
		for i := range uint32(n) {
			a, b := j*n+i, j*n+(i+1)%n
			c, d := b+n, a+n
			s.tri = append(s.tri, [3]uint32{a, d, c}, [3]uint32{a, c, b})
			s.face = append(s.face, 0, 0)
		}
	}
}

// shining cuts a light into triangles.
func shining(l *light.Light, f light.Form) solid {
	s := solid{object: -1, light: l}
	if f.Kind == light.Sphere {
		ball(&s, f.Radius)
		for i, p := range s.points {
			s.points[i] = p.Add(f.Centre)
		}
		s.side = cover.Front
		return s
	}
	x, y := f.Frame.S.Mul(f.W/2), f.Frame.T.Mul(f.H/2)
	s.points = []geom.Vec{f.Centre.Sub(x).Sub(y), f.Centre.Add(x).Sub(y), f.Centre.Add(x).Add(y), f.Centre.Sub(x).Add(y)}
	if f.Kind == light.Disc {
		s.points = s.points[:0]
		for i := range sphereSegments {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / sphereSegments)
			s.points = append(s.points, f.Centre.Mad(f.Radius*cos, f.Frame.S).Mad(f.Radius*sin, f.Frame.T))
		}
	}
	for i := 2; i < len(s.points); i++ {
		s.tri = append(s.tri, [3]uint32{0, uint32(i) - 1, uint32(i)})
	}
	if !f.TwoSided {
		s.side = cover.Front
	}
	return s
}

// addTo adds the solid to a pass under a name.
func (s *solid) addTo(p *cover.Pass, name int32, side cover.Side, workers int) {
	p.Add(s.points, s.tri, name, side, workers)
	if s.cut != nil {
		p.Mask(name, s.cut)
	}
}
