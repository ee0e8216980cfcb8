package prepare

import (
	"encoding/json"
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/lids"
	"catchlight/scene/mesh"
	"catchlight/scene/strand"
	"catchlight/scene/texture"
)

// tearIndex is the index of tears at 588 nm. Source: Campbell, JOSA A 27 (2010), 730.
const tearIndex = 1.336

// lipidIndex is that of a plain interface that mirrors as tears under 40 nm of lipids do: 0.036 straight on at 550 nm by the closed form
// of a thin film of index 1.48 on 1.336. Lipids float thickest along the lids. The thickness is our own choice within the 0 to 100 nm that
// give no colour; 74.5 nm was the mean before the cornea (Goto and Tseng 2003, from memory).
const lipidIndex = 1.468

// eyes makes an object's eye, or its pair of eyes, and the lids about them.
func (p *preparer) eyes(b *scene.Object) {
	to := place(&b.Transform)
	list := gazes(b, to)
	var outer []*accel.BVH
	for i := range list {
		q := &list[i]
		h := p.eye(&q.object, q.turn.Then(geom.Translate(geom.Vec{X: q.at})).Then(to))
		if h == nil {
			return
		}
		outer = append(outer, h)
	}
	if l := p.d.LidsOf(b); l != nil {
		p.lids(b, l, list, outer, to)
	}
}

// grown is lids with their hierarchies.
type grown struct {
	*lids.Lids
	skin, corner, tears    *accel.BVH
	hair                   *accel.Curves // nil without hair
	kinds                  []kind        // of hair, one after another
	skinDepth, cornerDepth frozen.Depth
}

// lids makes the lids about an object's eyes.
func (p *preparer) lids(b *scene.Object, l *scene.Lids, eyes []looking, outer []*accel.BVH, to geom.Affine) {
	par := l.Params(b.Eye)
	if b.Pair > 0 {
		par.Spacing = b.Pair / l.Scale
	}
	inputs := []any{par, l.Scale, l.Skin.Scattering}
	var sockets []lids.Socket
	sc := accel.NewScratch()
	for i := range eyes {
		q := &eyes[i]
		back := q.turn.Inverse()
		inputs = append(inputs, outerOf(q.object.Eye), p.stamps(q.object.Eye), q.turn)
		sockets = append(sockets, lids.Socket{
			Left: q.object.Eye.Side == "left", Axis: q.turn.Vector(geom.Vec{Z: 1}),
			Far: func(d geom.Vec) float64 {
				var h accel.Hit
				if !outer[i].Closest(sc, geom.Vec{}, back.Vector(d), 0, math.Inf(1), &h) {
					return b.Eye.Globe.Radius / l.Scale // through a crack of an imported shell
				}
				return h.T / l.Scale
			},
		})
	}
	key := "objects." + b.Name + ".lids"
	g, held := p.heldLids(b.Name, &inputs)
	var err error
	if !held {
		g, err = storedStage(p, "lids "+b.Name, inputs, lidStore(par, b.Eye), func(*making) (*grown, error) {
			return p.growLids(par, sockets, l.Skin.Scattering)
		})
	}
	if err != nil {
		p.fail(key, err)
		return
	}
	to = geom.Scale(l.Scale).Then(to)
	if p.lidded == nil {
		p.lidded = map[int]bool{}
	}
	for i := range eyes {
		p.lidded[len(p.out.Eyes)-1-i] = true
	}
	for _, rim := range g.Rims {
		for _, v := range rim {
			p.rims = append(p.rims, to.Point(v))
		}
	}
	add := func(name string, m *mesh.Mesh, h *accel.BVH, depth frozen.Depth, mat frozen.Material, closed bool, mask frozen.Mask) {
		if m == nil {
			return
		}
		p.add(frozen.Object{Name: b.Name + "." + name, Shape: frozen.Mesh, ToWorld: to, Mask: mask, Mesh: m, BVH: h, Depth: depth, Closed: closed, Apart: m == g.Skin, Eye: -1, Material: mat}, h.Bounds())
	}
	mask := p.mask(b)
	if !p.d.Effects.Shadow {
		mask &^= frozen.ShadowRays
	}
	look, err := stage(p, "skin "+b.Name, append(inputs, l.Skin), func(*making) (*[2]frozen.Material, error) {
		s := &l.Skin
		pink := tearIndex
		if g.Tears != nil {
			pink = 1 // the water on it mirrors
		}
		return &[2]frozen.Material{
			skin(s, g.Lids),
			Soft(texture.FromImage(g.Pink, texture.Clamp), s.ScatterRadius.Scale(0.7), pink, 0.25, s.Scattering),
		}, nil
	})
	if err != nil {
		p.fail(key, err)
		return
	}
	add("skin", g.Skin, g.skin, g.skinDepth, look[0], true, mask)
	add("corner", g.Corner, g.corner, g.cornerDepth, look[1], true, mask)
	p.hairs(b.Name, g, to, mask)
	add("tears", g.Tears, g.tears, nil, frozen.Material{Kind: frozen.TearLine, Index: lipidIndex}, false, mask&^frozen.ShadowRays)
}

// outerOf is the part of an eye's description that its outer shell depends on.
func outerOf(d *scene.Eye) scene.Eye {
	q := shapeOf(d)
	q.Iris.Pupil = 0
	return q
}

// heldLids returns lids as they were before their eyes turned, and their inputs, where rough ones will do and the cache has no others.
func (p *preparer) heldLids(name string, inputs *[]any) (*grown, bool) {
	if !p.o.Rough || p.o.Cache == nil {
		return nil, false
	}
	id, err := json.Marshal(*inputs)
	if err != nil {
		return nil, false
	}
	k, exact := p.o.Cache.near("lids "+name, string(id), anyTurn)
	if k == nil || exact {
		return nil, false
	}
	var list []json.RawMessage
	if json.Unmarshal([]byte(k.inputs), &list) != nil {
		return nil, false
	}
	*inputs = (*inputs)[:0]
	for _, q := range list {
		*inputs = append(*inputs, q)
	}
	p.rough = true
	return k.value.(*grown), true
}

// growLids grows lids with their hierarchies, and the depths of tissue that scatters.
func (p *preparer) growLids(par lids.Params, sockets []lids.Socket, scatters bool) (*grown, error) {
	made, err := lids.Build(par, sockets)
	if err != nil {
		return nil, err
	}
	g := &grown{Lids: made}
	for _, q := range []struct {
		m *mesh.Mesh
		h **accel.BVH
	}{{made.Skin, &g.skin}, {made.Corner, &g.corner}, {made.Tears, &g.tears}} {
		if q.m == nil {
			continue
		}
		if *q.h, err = p.hierarchy(q.m); err != nil {
			return nil, err
		}
	}
	all := &strand.Set{}
	for _, q := range made.Hair {
		all.Append(q.Set)
		g.kinds = append(g.kinds, kind{q.Name, q.Set.Hairs()})
	}
	if all.Hairs() > 0 {
		if g.hair, err = accel.NewCurves(all, accel.Options{Workers: p.o.Workers}); err != nil {
			return nil, err
		}
	}
	if workers := p.o.WorkerCount(); scatters {
		g.skinDepth = frozen.NewDepth(g.Skin, g.skin, workers)
		if g.Corner != nil {
			g.cornerDepth = frozen.NewDepth(g.Corner, g.corner, workers)
		}
	}
	return g, nil
}
