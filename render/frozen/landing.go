package frozen

import (
	"math"

	"catchlight/scene/geom"
)

// Source is where light comes from, in an eye's frame: a direction for distant lights, else a point.
type Source struct {
	Distant bool
	To      geom.Vec // unit direction toward the light, or the point
}

// Landing is where light from a source that enters an eye's outer shell at a point crosses a plane of constant z in the
// chamber, all in the eye's frame. The light is bent at the point's own normal. The map from the shell to the plane is smooth
// past the horizon, where the light runs along the surface: there Cos changes its sign and nothing else happens.
type Landing struct {
	Y        ShellPoint
	Wl       geom.Vec // unit, toward the light
	Cos      float64  // of Wl and the normal
	D        geom.Vec // unit, inside
	XAt, YAt float64  // where it crosses the plane
	// Derivatives of the crossing by the triangle's barycentrics, and their determinant: negative where the map is turned over.
	XU, XV, YU, YV, Det float64
}

// steepest is the least that light must fall toward the plane, as a cosine.
const steepest = 0.02

// Land follows light from a source through the point u, v of the triangle prim, or of the plane that holds it. ok is false
// where it does not come down to the plane z.
func (s *Scene) Land(e *Eye, prim uint32, u, v float64, src Source, z float64, derivs bool, o *Landing) bool {
	o.Y.Prim, o.Y.U, o.Y.V = prim, u, v
	s.shellPoint(e, &o.Y, true)
	return s.land(e, src, z, derivs, o)
}

// land is Land from the point and normal of o.Y.
func (s *Scene) land(e *Eye, src Source, z float64, derivs bool, o *Landing) bool {
	y := &o.Y
	far := math.Inf(1)
	o.Wl = src.To
	if !src.Distant {
		w := src.To.Sub(y.P)
		far = w.Len()
		o.Wl = w.Mul(1 / far)
	}
	n := e.Index
	o.Cos = y.N.Dot(o.Wl)
	in := math.Sqrt(1 - (1-o.Cos*o.Cos)/(n*n)) // cosine inside
	g := o.Cos/n - in
	o.D = o.Wl.Mul(-1/n).Mad(g, y.N)
	if o.D.Z > -steepest {
		return false
	}
	h := (z - y.P.Z) / o.D.Z
	if !(h > 0) {
		return false
	}
	o.XAt, o.YAt = y.P.X+h*o.D.X, y.P.Y+h*o.D.Y
	if !derivs {
		return true
	}
	e1, e2, n1, n2 := s.ShellDerivs(e, y, true)
	dg := 1/n - o.Cos/(n*n*in)
	for k, dp := range [2]geom.Vec{e1, e2} {
		dn := n1
		if k == 1 {
			dn = n2
		}
		dc := dn.Dot(o.Wl)
		dd := dn.Mul(g)
		if !src.Distant {
			dw := dp.Mad(-dp.Dot(o.Wl), o.Wl).Mul(-1 / far)
			dc += y.N.Dot(dw)
			dd = dd.Mad(-1/n, dw)
		}
		dd = dd.Mad(dg*dc, y.N)
		dh := -(dp.Z + h*dd.Z) / o.D.Z
		x, w := dp.X+dh*o.D.X+h*dd.X, dp.Y+dh*o.D.Y+h*dd.Y
		if k == 0 {
			o.XU, o.YU = x, w
		} else {
			o.XV, o.YV = x, w
		}
	}
	o.Det = o.XU*o.YV - o.XV*o.YU
	return true
}
