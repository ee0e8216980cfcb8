package pathtrace

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Site returns the point of an eye's inner shell in front of a direction from the globe's centre, a unit vector of the eye's
// frame, as seen from outside. It is false where there is no tissue, such as in the pupil.
func (t *Tracer) Site(eye int, dir geom.Vec) (sf frozen.Surface, ok bool) {
	e := &t.scene.Eyes[eye]
	b := &t.scene.Objects[e.Inner]
	var h accel.Hit
	if !b.BVH.Closest(t.sc, dir.Mul(4*e.Far), dir.Neg(), 0, math.Inf(1), &h) {
		return sf, false
	}
	sf = t.scene.Surface(geom.Ray{}, &frozen.Hit{Object: e.Inner, Prim: h.Prim, U: h.U, V: h.V})
	return sf, sf.Part != mesh.Backing && b.ToLocal.Vector(sf.Ng).Dot(dir) > 0
}

// Spread follows one plain walk of light that goes into an eye's tissue at a site by the cosine law, and returns where it
// leaves the tissue and what it then carries by channel; it is false where the walk ends inside. place and walk name the
// random numbers: a walk has its own, whoever asks for it. What lies on top (film, vessels) is left out.
func (t *Tracer) Spread(sf *frozen.Surface, place uint64, walk uint32) (exit frozen.Surface, weight colour.RGB, ok bool) {
	b := &t.scene.Objects[sf.Object]
	was := t.set
	defer func() { t.set = was }()
	t.set.ExactExit, t.set.Guided = false, false
	t.smp.Start(place, 0, walk)
	p := path{beta: colour.Grey(1), vertex: 1, eye: -1}
	var d, last geom.Vec
	if t.walk(&p, b, &t.scene.Eyes[b.Eye], sf, false, &exit, &d, &last, nil) < 0 {
		return exit, weight, false
	}
	return exit, p.beta, true
}

// Depart follows a ray through a scene without light until it leaves for good, and tells of each part that leaves: where its
// last straight piece begins, and what it carries.
func (t *Tracer) Depart(r geom.Ray, place uint64, walk uint32, visit func(from geom.Vec, weight colour.RGB)) {
	t.smp.Start(place, 0, walk)
	t.away = visit
	defer func() { t.away = nil }()
	p := path{ray: r, beta: colour.Grey(1), vertex: 1, mask: frozen.ShadowRays, eye: -1}
	t.n = 0
	t.push(&p)
	for t.n > 0 {
		t.n--
		q := t.stack[t.n]
		t.follow(&q, nil)
	}
}

// Local returns a surface's point in its object's own frame.
func (t *Tracer) Local(sf *frozen.Surface) geom.Vec {
	return t.scene.Objects[sf.Object].ToLocal.Point(sf.P)
}
