package pathtrace

import (
	"cmp"
	"math"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// inner answers a hit of an eye's inner shell: light enters the tissue, walks, and leaves somewhere near, or it is
// absorbed at the backing.
func (t *Tracer) inner(p *path, sf *frozen.Surface, out *film.Sample) bool {
	b := &t.scene.Objects[sf.Object]
	e := &t.scene.Eyes[b.Eye]
	within := p.ray.D.Dot(sf.Ng) >= 0 // the ray started inside by rounding, in a crease
	if within {
		t.Stats.WalkFolds++
	}
	if sf.Part == mesh.Backing {
		return false
	}
	lp := b.ToLocal.Point(sf.P)
	w := e.TissueZone(lp)
	iris := IrisDirect
	if w < 0.5 {
		iris = ScleraDirect
	}
	invariant.Share("the iris", w)
	p.settle(iris)
	tis := &e.Tissue
	if tis.Vessels != nil {
		p.beta = p.beta.Mul(tis.Vessels.At(lp))
	}
	scatter := tis.ScatterIris
	if tis.ScatterIris != tis.ScatterSclera {
		scatter = (t.smp.D1(p.vertex, sampler.Lobe, p.branch) < w) == tis.ScatterIris
	}
	if scatter && t.set.Scattering {
		var exit frozen.Surface
		var d, last geom.Vec
		collisions := t.walk(p, b, e, sf, within, &exit, &d, &last, out)
		if collisions < 0 {
			return false
		}
		// Light that crossed a thin ridge without a collision and meets tissue again goes straight on: only what was
		// scattered, or leaves for good, leaves by the model of a flat, deep object. (In a flat object there is no such
		// light; leaving for good by the model lets lights be connected.)
		straight := t.set.ExactExit
		if !straight && collisions == 0 {
			t.Stats.ScatteredRays++
			straight = b.Blocks(t.sc, geom.Ray{O: exit.Leave(d), D: d}, 0, math.Inf(1))
		}
		if straight {
			if tis.Vessels != nil {
				p.beta = p.beta.Mul(tis.Vessels.At(b.ToLocal.Point(exit.P)))
			}
			p.ray = geom.Ray{O: exit.Leave(d), D: d}
			p.chain, p.sharp, p.past, p.mask = unconnected, false, false, frozen.ShadowRays
			if collisions > 0 { // the last one was connected to the lights
				t.scattered(p, &vertex{p: b.ToWorld.Point(last), eye: b.Eye, solve: t.set.Manifold}, evenPhase)
			}
			return t.roulette(p)
		}
		sf = &exit
	} else {
		p.beta = p.beta.Mul(tis.Colour.At(lp))
	}
	if tis.Vessels != nil {
		p.beta = p.beta.Mul(tis.Vessels.At(b.ToLocal.Point(sf.P)))
	}
	n := sf.Ns
	if e.InnerNormal.Valid() {
		n = t.scene.MappedNormal(sf, &e.InnerNormal, e.InnerNormalGain)
	}
	v := vertex{p: sf.Leave(sf.Ng), ng: sf.Ng, ns: n, eye: b.Eye, every: p.sharp || p.vertex < everyLight, class: p.class}
	t.inChamber(&v)
	return t.leaveDiffuse(p, &v, out)
}

// inChamber notes how a vertex in the chamber of an eye is connected to lights.
func (t *Tracer) inChamber(v *vertex) {
	e := &t.scene.Eyes[v.eye]
	v.zone = e.Zone(t.scene.Objects[e.Outer].ToLocal.Point(v.p))
	v.solve = t.set.Manifold && v.zone > 0
}

// walk follows a random walk below the inner shell until it leaves, in the eye's own frame, and multiplies the path
// by the walk's weight; with within it goes on as the path came. It fills the surface where the walk leaves, the world direction in which it does, and its last
// collision in the eye's frame. It returns the number of collisions, or -1 if the walk ended inside. With the exact exit each
// collision is connected to a light.
//
// In a zone of constant extinction flights are guided toward the surface that the walk came in by, or toward the light; see flight. Where zones
// blend, they run against the larger extinction of each channel and may end in null collisions. The albedo is that of the
// colour map in front of the collision. Nothing is cut off: long walks end by roulette.
//
// Sources: Woodcock et al. 1965 (null collisions); Chiang, Kutz, Burley, SIGGRAPH Talks 2016 (walks set by surface
// colour).
//
// Long: the hot loop; its steps share a dozen values, which calls would pass on at every step.
func (t *Tracer) walk(p *path, b *frozen.Object, e *frozen.Eye, sf *frozen.Surface, within bool, exit *frozen.Surface, dir, last *geom.Vec, out *film.Sample) int {
	t.Stats.Walks++
	tis := &e.Tissue
	m := b.Mesh
	ng := b.ToLocal.Vector(sf.Ng).Unit()
	pos := b.ToLocal.Point(sf.P)
	eps := sf.Eps / b.Scale
	var d geom.Vec
	if within {
		pos, d = b.ToLocal.Point(p.ray.O), b.ToLocal.Vector(p.ray.D).Unit()
	} else if t.set.ExactExit {
		d = b.ToLocal.Vector(p.ray.D).Unit()
	} else {
		u0, u1 := t.smp.D2(p.vertex, sampler.WalkStart, p.branch)
		ns := b.ToLocal.Vector(sf.Ns).Unit()
		d = geom.NewFrame(ns.Neg()).World(geom.CosineHemisphere(u0, u1))
		if k := d.Dot(ng); k > 0 {
			d = d.Mad(-2*k, ng)
		}
		d = d.Unit()
	}
	if !within {
		pos = pos.Mad(-eps, ng)
	}
	rng := t.smp.Stream(p.vertex, sampler.Walk, p.branch)
	lamps := t.smp.Stream(p.vertex, sampler.Connection, p.branch)
	beta := colour.Grey(1)
	t.major = tis.Majorant()
	up := b.ToLocal.Vector(sf.Ns).Unit() // guided walks seek this way out
	var fl flight
	steer := t.set.Guided
	var h accel.Hit
	collisions := 0
	for step := 0; ; step++ {
		t.Stats.WalkSteps++
		sigma, room, pure := e.Extinction(pos)
		if !pure {
			sigma = &t.major
		}
		var guide *frozen.Guide
		if steer && pure {
			if guide = &tis.GuideIris; sigma == &tis.SigmaSclera {
				guide = &tis.GuideSclera
			}
		}
		t.Stats.WalkRays++
		carried := beta.Mul(p.beta) // by the whole path
		if !(carried.Max() > 0) {
			return -1
		}
		if step == 0 && steer {
			half := math.Inf(1)
			if b.Depth != nil {
				half = float64(b.Depth[sf.Prim])
			}
			fl.aim(sf.Ns, up, b.Lit.At(sf.Ns), &b.ToLocal, half, sigma, cmp.Or(guide, &tis.GuideSclera))
		}
		fl.steer(sigma, guide)
		t.choose(&fl, p, step, &rng, carried, &d)
		far := min(fl.dist, room)
		next := pos.Mad(far, d)
		var albedo frozen.VolumeCell // in front of the collision, if there is one: loaded while the ray is cast
		if fl.dist <= room {
			albedo = tis.Alpha.Ahead(next)
		}
		hit := b.BVH.Closest(t.sc, pos, d, 0, far, &h)
		fly := far
		if hit {
			fly = h.T
		}
		collided := !hit && fl.dist <= room
		beta = beta.Mul(fl.weight(fly, collided))
		fl.fresh = false
		if hit {
			tri := m.Tri[h.Prim]
			n := m.P[tri[1]].Sub(m.P[tri[0]]).Cross(m.P[tri[2]].Sub(m.P[tri[0]]))
			if n.Dot(d) <= 0 {
				// Met from outside: a crease let the walk out by rounding. It goes on inside.
				t.Stats.WalkFolds++
				pos = pos.Mad(fly+eps, d)
				continue
			}
			if m.Part != nil && m.Part[h.Prim] == mesh.Backing {
				return -1
			}
			fh := frozen.Hit{Object: e.Inner, Prim: h.Prim, U: h.U, V: h.V}
			*exit = t.scene.Surface(geom.Ray{}, &fh)
			*dir = b.ToWorld.Vector(d).Unit()
			p.beta = p.beta.Mul(beta)
			return collisions
		}
		pos = next
		if !collided {
			continue
		}
		if pos.Len2() > 4*e.Far*e.Far {
			t.lose(p, beta)
			return -1
		}
		if !pure {
			// A real collision, or none: by what all channels together find likely.
			share := e.Blended(pos)
			for c := range share {
				share[c] /= t.major[c]
			}
			q := channelOdds(beta)
			ps := q[0]*share[0] + q[1]*share[1] + q[2]*share[2]
			invariant.Share("a real collision", ps)
			if rng.Float64() >= ps {
				beta = beta.Mul(colour.Grey(1).Sub(share)).Scale(1 / (1 - ps))
				continue
			}
			beta = beta.Mul(share).Scale(1 / ps)
		}
		collisions++
		beta = beta.Mul(tis.Alpha.In(&albedo))
		if t.set.ExactExit {
			*last = pos
			t.connectDeep(p, b, e, pos, beta, &lamps, out)
		}
		if !survives(&beta, step, &rng) {
			return -1
		}
		fl.fresh = true
	}
}

// survives ends walks that carry little, and long ones, without bias. It reports whether the walk goes on.
func survives(beta *colour.RGB, step int, rng *sampler.Stream) bool {
	invariant.Weight("a walk", *beta)
	if k := beta.Max(); k < 0.3 {
		if !(k > 0) || rng.Float64() >= k/0.3 {
			return false
		}
		*beta = beta.Scale(0.3 / k)
	}
	if step >= 256 {
		if rng.Float64() >= longSurvival {
			return false
		}
		*beta = beta.Scale(1 / longSurvival)
	}
	return true
}

// longSurvival is the probability with which a walk of more than 256 steps takes the next one. The weight that survivors
// gain grows with the length of the walk; in white tissue lengths fall off as exp(-n/tau), with tau about 3 (R sigma/pi)^2
// in a ball of radius R, and the variance is finite only while tau is below 1/(1-longSurvival). Source: own derivation
// from the diffusion equation.
const longSurvival = 0.998

// everyLight is the path length up to which each vertex on an eye is connected to every light: below the limbus light
// is mirrored back to the tissue several times before it leaves, and those vertices still matter. A choice by eye of
// noise against time on the scenes that come with the project.
const everyLight = 10
