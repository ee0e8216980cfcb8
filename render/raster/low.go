package raster

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// low stands for an eye's outer shell within a budget of triangles: a net of few corners on the fine shell, and the fine shell's normals
// baked into a map over directions from the globe's centre, in the eye's own frame.
//
// Source: Cohen, Olano and Manocha, Appearance-Preserving Simplification, SIGGRAPH 1998 (normals of the fine surface over a coarse one).
type low struct {
	normals texture.Map // 0 to 1 for -1 to 1
}

// newLow returns the net of at most the given number of triangles, >= 16. ok is false for a shell that some ray from the centre
// does not meet.
func (k *Look) newLow(index int32, most int) (s solid, ok bool) {
	b := &k.scene.Objects[index]
	e := &k.scene.Eyes[b.Eye]
	// n rings of 2n corners and two poles make 4 n^2 triangles. Rings are even in the map's radius, so half of them lie on the front.
	n := int(math.Sqrt(float64(most) / 4))
	sc := accel.NewScratch()
	s = solid{object: index, side: cover.Front, low: &low{}}
	ok = true
	add := func(d geom.Vec) {
		var p frozen.ShellPoint
		ok = k.scene.CastOuter(sc, e, geom.Vec{}, d, 0, math.Inf(1), false, &p) && ok
		s.points = append(s.points, b.ToWorld.Point(p.P))
	}
	add(geom.Vec{Z: 1})
	for j := 1; j <= n; j++ {
		q := float64(j) / float64(n+1)
		t := 2 * math.Atan(frozen.VolumeShare*q/(1-q))
		st, ct := math.Sincos(t)
		for i := range 2 * n {
			sp, cp := math.Sincos(math.Pi * float64(i) / float64(n))
			add(geom.Vec{X: st * cp, Y: st * sp, Z: ct})
		}
	}
	add(geom.Vec{Z: -1})
	m := uint32(2 * n)
	last := uint32(len(s.points) - 1)
	for i := range m {
		j := (i + 1) % m
		s.tri = append(s.tri, [3]uint32{0, 1 + i, 1 + j})
		for r := range uint32(n - 1) {
			a, c := 1+r*m, 1+(r+1)*m
			s.tri = append(s.tri, [3]uint32{a + i, c + i, c + j}, [3]uint32{a + i, c + j, a + j})
		}
		s.tri = append(s.tri, [3]uint32{last - m + i, last, last - m + j})
	}
	if ok {
		s.low.normals = k.still(int(b.Eye)).normals
	}
	return s, ok
}

// bakeNormals looks from the globe's centre along the directions of a map.
func (k *Look) bakeNormals(e *frozen.Eye) texture.Map {
	n := k.set.TextureSize
	pix := make([]float32, 3*n*n)
	scratch := newScratches()
	frozen.Directions(n, func(i int, d geom.Vec) {
		sc := scratch.Get().(*accel.Scratch)
		defer scratch.Put(sc)
		var p frozen.ShellPoint
		v := d
		if k.scene.CastOuter(sc, e, geom.Vec{}, d, 0, math.Inf(1), true, &p) {
			v = p.N
		}
		pix[3*i], pix[3*i+1], pix[3*i+2] = float32(0.5+0.5*v.X), float32(0.5+0.5*v.Y), float32(0.5+0.5*v.Z)
	}, k.workers)
	return quantised(pix, n, k.set.TextureBits, texture.Signal8, texture.Signal16, func(v float64) float64 { return v })
}

// at reads the normal in front of a point of the eye's frame, over a footprint.
func (l *low) at(p, dx, dy geom.Vec) geom.Vec {
	uv := chart(p)
	a, b := chart(p.Add(dx)), chart(p.Add(dy))
	c := l.normals.RGB(uv, max(math.Hypot(a.U-uv.U, a.V-uv.V), math.Hypot(b.U-uv.U, b.V-uv.V)))
	return geom.Vec{X: 2*c[0] - 1, Y: 2*c[1] - 1, Z: 2*c[2] - 1}.Unit()
}
