package raster

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// fragment is what a pixel shows of one object.
type fragment struct {
	sf     frozen.Surface
	wo     geom.Vec   // unit, to the camera
	dx, dy geom.Vec   // how the point moves from one pixel to the next on the right and below, mm
	ux, uy geom.UV    // how the texture coordinates move
	baked  bool       // the shading normal is the fine surface's, its normal map included
	open   float64    // share of the surroundings that flesh about an eye sees; 1 elsewhere
	tint   colour.RGB // reflectance of flesh
	bend   float64    // square of the change of the shading normal over a pixel: both ways together
}

// fragment rebuilds what triangle id shows at film position (x, y).
func (k *frame) fragment(pass *cover.Pass, solids []solid, id uint32, x, y float64) fragment {
	p := pass.At(id, x, y)
	s := &solids[p.Object]
	b := &k.scene.Objects[s.object]
	t := s.tri[p.Prim]
	p0 := s.points[t[0]]
	e1, e2 := s.points[t[1]].Sub(p0), s.points[t[2]].Sub(p0)
	f := fragment{open: 1, dx: e1.Mul(p.UX).Mad(p.VX, e2), dy: e1.Mul(p.UY).Mad(p.VY, e2)}
	at := p0.Mad(p.U, e1).Mad(p.V, e2)
	if s.low != nil {
		p, dx, dy := b.ToLocal.Point(at), b.ToLocal.Vector(f.dx), b.ToLocal.Vector(f.dy)
		n := func(q geom.Vec) geom.Vec { return b.ToWorld.Vector(s.low.at(q, dx, dy)).Unit() }
		f.sf = frozen.Surface{P: at, Ng: e1.Cross(e2).Unit(), Ns: n(p), Object: s.object}
		f.baked, f.bend = true, n(p.Add(dx)).Sub(f.sf.Ns).Len2()+n(p.Add(dy)).Sub(f.sf.Ns).Len2()
	} else if b.Shape == frozen.Mesh {
		f.sf = k.scene.Surface(geom.Ray{}, &frozen.Hit{Object: s.object, Prim: p.Prim, U: p.U, V: p.V})
		m := b.Mesh
		if o := k.open[s.object]; o != nil {
			f.open = float64(o[t[0]])*(1-p.U-p.V) + float64(o[t[1]])*p.U + float64(o[t[2]])*p.V
		}
		if m.UV != nil {
			a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
			f.ux = geom.UV{U: (b.U-a.U)*p.UX + (c.U-a.U)*p.VX, V: (b.V-a.V)*p.UX + (c.V-a.V)*p.VX}
			f.uy = geom.UV{U: (b.U-a.U)*p.UY + (c.U-a.U)*p.VY, V: (b.V-a.V)*p.UY + (c.V-a.V)*p.VY}
		}
		if m.N != nil {
			n1, n2 := m.N[t[1]].Sub(m.N[t[0]]), m.N[t[2]].Sub(m.N[t[0]])
			f.bend = n1.Mul(p.UX).Mad(p.VX, n2).Len2() + n1.Mul(p.UY).Mad(p.VY, n2).Len2()
		}
	} else {
		// A point of the facets is brought to the true surface.
		surface := func(q geom.Vec) frozen.Surface {
			return k.scene.Surface(geom.Ray{O: q}, &frozen.Hit{Object: s.object, Prim: s.face[p.Prim]})
		}
		f.sf = surface(at)
		sx, sy := surface(at.Add(f.dx)), surface(at.Add(f.dy))
		f.ux, f.uy = step(f.sf.UV, sx.UV), step(f.sf.UV, sy.UV)
		f.bend = sx.Ns.Sub(f.sf.Ns).Len2() + sy.Ns.Sub(f.sf.Ns).Len2()
	}
	f.wo = k.toCamera(f.sf.P)
	return f
}

// place returns the point of the triangle at film position (x, y).
func (k *frame) place(pass *cover.Pass, solids []solid, id uint32, x, y float64) geom.Vec {
	p := pass.At(id, x, y)
	s := &solids[p.Object]
	t := s.tri[p.Prim]
	return geom.Mix(s.points[t[0]], s.points[t[1]], s.points[t[2]], p.U, p.V)
}

// step returns b - a for coordinates that may wrap round between.
func step(a, b geom.UV) geom.UV {
	d := geom.UV{U: b.U - a.U, V: b.V - a.V}
	d.U -= math.Round(d.U)
	return d
}

// toCamera returns the unit direction from p to the camera.
func (k *frame) toCamera(p geom.Vec) geom.Vec {
	if k.flat {
		return k.back
	}
	return k.at.Sub(p).Unit()
}

// facing returns the normals on the side of the viewer.
func (f *fragment) facing() (ng, ns geom.Vec) {
	ng, ns = f.sf.Ng, f.sf.Ns
	if f.wo.Dot(ng) < 0 {
		ng, ns = ng.Neg(), ns.Neg()
	}
	return ng, ns
}

// footprint spreads a texture look-up over a pixel's footprint in uv: n samples of a width, the first at uv + first, each a step further.
//
// Source: Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989, for the footprint; a row of isotropic samples along its long
// axis in place of the ellipse (McCormack et al., Feline, SIGGRAPH 1999).
func footprint(ux, uy geom.UV, most int) (n int, width float64, first, step geom.UV) {
	a, b := math.Hypot(ux.U, ux.V), math.Hypot(uy.U, uy.V)
	long, axis, short := a, ux, b
	if b > a {
		long, axis, short = b, uy, a
	}
	// The short axis of the parallelogram is its area over the long one.
	if long > 0 {
		short = math.Abs(ux.U*uy.V-ux.V*uy.U) / long
	}
	n = 1
	if short < long {
		n = most
		if q := long / max(short, 1e-30); q < float64(most) {
			n = int(math.Ceil(q))
		}
	}
	step = geom.UV{U: axis.U / float64(n), V: axis.V / float64(n)}
	k := float64(n-1) / 2
	return n, max(short, long/float64(n)), geom.UV{U: -k * step.U, V: -k * step.V}, step
}

// colour reads a colour map over the footprint.
func (k *Look) colour(m *texture.Map, uv, ux, uy geom.UV) (c colour.RGB) {
	if !m.Varies() {
		return m.RGB(uv, 0)
	}
	n, width, first, step := footprint(ux, uy, k.set.Anisotropy)
	for i := range n {
		q := geom.UV{U: uv.U + first.U + float64(i)*step.U, V: uv.V + first.V + float64(i)*step.V}
		c = c.Add(m.RGB(q, width))
	}
	return c.Scale(1 / float64(n))
}

// mapped tilts a shading normal by a normal map of the fragment's object, read over the footprint.
func (k *Look) mapped(f *fragment, n geom.Vec, m *texture.Map, gain float64) geom.Vec {
	b := &k.scene.Objects[f.sf.Object]
	count, width, first, step := footprint(f.ux, f.uy, k.set.Anisotropy)
	var sum geom.Vec
	for i := range count {
		q := geom.UV{U: f.sf.UV.U + first.U + float64(i)*step.U, V: f.sf.UV.V + first.V + float64(i)*step.V}
		sum = sum.Add(m.Normal(q, width))
	}
	local := b.ToLocal.Vector(n).Unit()
	return b.ToWorld.Vector(b.Tilted(f.sf.Prim, local, f.sf.U, f.sf.V, sum.Unit(), gain)).Unit()
}

// widen returns a GGX alpha that also covers how the normal turns within the pixel, so that small highlights do not break up.
//
// Source: Tokuyoshi and Kaplanyan, Improved Geometric Specular Antialiasing, I3D 2019 (constants from memory).
func widen(alpha, bend float64) float64 {
	const sigma2, most = 0.15915494, 0.18
	return math.Sqrt(alpha*alpha + min(2*sigma2*bend, most))
}
