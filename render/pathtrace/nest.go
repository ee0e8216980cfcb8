package pathtrace

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// nest is the closed objects around a point, in the order in which they were entered.
type nest struct {
	inside [6]int32
	depth  int // of inside
}

func (n *nest) enter(object int32) {
	if n.depth < len(n.inside) {
		n.inside[n.depth] = object
		n.depth++
	}
}

func (n *nest) leave(object int32) {
	for i := n.depth - 1; i >= 0; i-- {
		if n.inside[i] == object {
			copy(n.inside[i:n.depth], n.inside[i+1:n.depth])
			n.depth--
			return
		}
	}
}

// medium returns the object whose inside the point is in, or -1.
func (n *nest) medium() int32 {
	if n.depth == 0 {
		return -1
	}
	return n.inside[n.depth-1]
}

// cross passes a border without an interface.
func (n *nest) cross(sf *frozen.Surface, d geom.Vec) {
	if d.Dot(sf.Ng) < 0 {
		n.enter(sf.Object)
	} else {
		n.leave(sf.Object)
	}
}

// transmittance returns the share of light that the media along the line from o to o + far d let pass, far +Inf allowed: a
// path that goes there by chance without a collision crosses the same borders in the same order. in is the objects around o,
// and afterwards those around the end. Objects with an interface are not looked for.
func (t *Tracer) transmittance(in *nest, o, d geom.Vec, far float64, mask frozen.Mask) colour.RGB {
	tr := colour.Grey(1)
	if !t.media {
		return tr
	}
	for far > 0 && tr.Max() > 0 {
		var h frozen.Hit
		hit := t.scene.Border(t.sc, geom.Ray{O: o, D: d}, 0, far, mask, &h)
		step := far
		if hit {
			step = h.T
		}
		if b := in.medium(); b >= 0 && t.scene.Objects[b].Material.HasMedium {
			tr = tr.Mul(t.scene.Objects[b].Material.Medium.Transmittance(step))
		}
		if !hit {
			break
		}
		sf := t.scene.Surface(geom.Ray{O: o, D: d}, &h)
		in.cross(&sf, d)
		o = sf.Leave(d)
		if !math.IsInf(far, 1) {
			far -= h.T
		}
	}
	return tr
}
