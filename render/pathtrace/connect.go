package pathtrace

import (
	"math"

	"catchlight/light"
	"catchlight/material/microfacet"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// vertex is a scattering point that lights are connected to.
type vertex struct {
	p      geom.Vec // off the surface, on the side that the light comes from
	ng, ns geom.Vec
	eye    int32   // eye whose chamber it lies in, or -1
	zone   float64 // iris-zone weight there; see frozen.Bend
	solve  bool
	every  bool
	class  film.Class
	salt   uint32 // of its light samples, beside those of another vertex with the same number
}

// response says how a vertex responds to light from a direction. It is a concrete switch, not a function value, so that
// nothing escapes to the heap.
type response struct {
	lobe   lobe
	frame  geom.Frame // about the normal on wo's side
	wo     geom.Vec   // local
	alpha  float64
	gain   float64     // of a rough dielectric or tear film: for light between its facets
	eta    float64     // far over near side, of the rough dielectric
	face   frozen.Face // of flesh
	object int32       // conductor, flesh
	shell  int32       // eye whose tear film it is, or -1
}

// mirror returns what a rough mirror of reflectance 1 sends from wi to wo, the cosine at its facets, and the density of wi.
func (a *response) mirror(wi geom.Vec) (v, cos, pdf float64) {
	m := microfacet.Reflect{AX: a.alpha, AY: a.alpha}
	if v = m.Eval(a.wo, wi); v <= 0 {
		return v, 0, 0
	}
	h, _ := microfacet.HalfReflect(a.wo, wi)
	return v, a.wo.Dot(h), m.Pdf(a.wo, wi)
}

type lobe uint8

const (
	lambert       lobe = iota // 1/pi
	tearLobe                  // an eye's rough tear film, reflection alone
	metalLobe                 // rough conductor
	glassLobe                 // rough dielectric, both sides
	roughCoatLobe             // flesh: its rough coat, reflection alone
	underCoatLobe             // flesh: 1/pi under its coat
	hairLobe                  // the hair that the path meets
)

// connect estimates what all lights (or one of them) send to the vertex, and books it times beta. The path's mask is that
// with which it goes on: what its rays meet is in the way of light samples too.
func (t *Tracer) connect(p *path, v *vertex, a *response, out *film.Sample) {
	if !t.set.LightSamples {
		return
	}
	if v.every {
		for i, l := range t.scene.Lights {
			if !t.scene.LightSampled[i] {
				continue
			}
			u0, u1 := t.smp.D2(p.vertex, sampler.Light, v.salt|p.branch<<16|uint32(i))
			t.connectOne(p, v, a, i, l, 1, u0, u1, out)
		}
		return
	}
	if i, q := t.pickLight(t.smp.D1(p.vertex, sampler.LightPick, v.salt|p.branch)); q > 0 {
		u0, u1 := t.smp.D2(p.vertex, sampler.Light, v.salt|p.branch<<16|uint32(i))
		t.connectOne(p, v, a, i, t.scene.Lights[i], q, u0, u1, out)
	}
}

// pickLight chooses a light by u and returns with which probability; that is 0 where there is none.
func (t *Tracer) pickLight(u float64) (i int, q float64) {
	for i, q = range t.scene.LightPick {
		if u < q {
			break
		}
		u -= q
	}
	return i, q
}

// connectOne connects one light, chosen with probability q, along the straight line and, for a vertex behind a
// cornea, along the bent one.
func (t *Tracer) connectOne(p *path, v *vertex, a *response, i int, l *light.Light, q, u0, u1 float64, out *film.Sample) {
	s, ok := l.Sample(v.p, u0, u1)
	if !ok || s.L.Black() || s.Pdf <= 0 {
		return
	}
	far := s.Dist
	if !math.IsInf(far, 0) {
		far *= 1 - 1e-6
	}
	// Straight.
	if f, pdf := t.evaluate(a, v, s.Wi); f.Max() > 0 {
		pass := colour.Grey(1)
		start := v.p
		rest := far
		in := p.nest
		if v.eye >= 0 {
			pass, start, rest = t.throughCoat(v, &in, s.Wi, far)
		} else if a.lobe == glassLobe && a.shell >= 0 { // it is what leaves the eye alone
			in.leave(t.scene.Eyes[a.shell].Outer)
		}
		if pass.Max() > 0 && !t.blocked(start, s.Wi, rest, i, p.mask) {
			pass = pass.Mul(t.transmittance(&in, start, s.Wi, rest, p.mask))
			invariant.Density("a light sample", s.Pdf*q+pdf)
			t.add(i, v.class, Plainly, s.Wi, p.beta.Mul(f).Mul(s.L).Mul(pass).Scale(1/(s.Pdf*q+pdf)), out)
		}
	}
	// Bent.
	if v.eye >= 0 && v.solve && t.set.Caustic {
		t.connectBent(p, v, i, l, &s, q, p.beta, nil, out)
	}
}

// blocked reports whether anything that the mask's rays meet, another light included, lies between start and light i. The light itself is
// convex and can't be in its own way; asked, it would be, as start is a step off the line that it was sampled along.
func (t *Tracer) blocked(start, d geom.Vec, far float64, i int, mask frozen.Mask) bool {
	t.Stats.ShadowRays++
	for k, l := range t.scene.Lights {
		if k != i && l.Finite() {
			if _, _, _, ok := l.Intersect(start, d, 0, far); ok {
				return true
			}
		}
	}
	return t.scene.Occluded(t.sc, geom.Ray{O: start, D: d}, 0, far, mask)
}

// throughCoat follows the straight line from a vertex in an eye's chamber out through the outer shell. It returns
// the share that the chamber and the coat let pass (0 where the line is blocked inside), and where the line goes on
// outside; in is the objects around the vertex, and afterwards those outside.
func (t *Tracer) throughCoat(v *vertex, in *nest, d geom.Vec, far float64) (pass colour.RGB, start geom.Vec, rest float64) {
	straight := !t.set.Caustic && t.set.Refraction
	if v.zone >= 1 && !straight {
		return colour.RGB{}, v.p, 0 // toward the iris the shell always bends light
	}
	e := &t.scene.Eyes[v.eye]
	b := &t.scene.Objects[e.Outer]
	o, dl := b.ToLocal.Point(v.p), b.ToLocal.Vector(d).Unit()
	var y frozen.ShellPoint
	t.Stats.ShadowRays++
	if !t.scene.CastOuter(t.sc, e, o, dl, 0, math.Inf(1), true, &y) || y.Dist*b.Scale > far {
		return colour.RGB{}, o, 0
	}
	zone := e.Zone(y.P)
	w := frozen.Bend(zone, v.zone)
	cos := math.Abs(dl.Dot(y.N))
	var k float64
	switch {
	case straight:
		// Straight light to the iris, for comparison: the cornea only weakens it.
		out, _ := t.coatWays(e, zone, v.zone, cos)
		k = (1-w)*out + w*(1-t.tearFilm(e, cos))
	case w >= 1:
		return colour.RGB{}, o, 0
	default:
		out, _ := t.coatWays(e, zone, v.zone, cos)
		k = (1 - w) * out
	}
	pass = t.chamber(e, in, v.p, d, y.Dist*b.Scale).Scale(k)
	yw := b.ToWorld.Point(y.P)
	eps := 4e-6 * b.Scale * y.P.MaxAbs()
	start = yw.Mad(eps, b.ToLocal.Normal(y.Ng).Unit())
	return pass, start, far - y.Dist*b.Scale
}

// chamber returns the share of light that passes in the chamber of eye e from o to the outer shell at distance far: nothing
// inside may be in the way. in is the objects around o, and afterwards those outside the shell.
func (t *Tracer) chamber(e *frozen.Eye, in *nest, o, d geom.Vec, far float64) colour.RGB {
	t.Stats.ShadowRays++
	if t.scene.OccludedInside(t.sc, e, geom.Ray{O: o, D: d}, far, frozen.ShadowRays) {
		return colour.RGB{}
	}
	tr := t.transmittance(in, o, d, far, frozen.ShadowRays)
	in.leave(e.Outer)
	return tr
}

// coatOut, mirrored and tearFilm are an eye's factors with the comparison switch for the tear film's reflection: the coat's
// on the way out, what it mirrors, both where the zone weight is w, and what one facet of it mirrors.
func (t *Tracer) coatOut(e *frozen.Eye, w, c float64) float64 {
	if !t.set.TearFilm {
		return 1
	}
	return e.MirroredOut(w, c)
}

// coatWays returns what passes the coat outward at cosine c, and what it mirrors back into the eye and is followed there. Light of
// the sclera, just beneath, is taken back into the factor (coatOut), so that colours are as seen; light of the iris, and what
// was mirrored within the eye, crosses a chamber first, where no factor is right for all its angles: it is mirrored. iris is
// the share of the latter.
func (t *Tracer) coatWays(e *frozen.Eye, w, iris, c float64) (pass, back float64) {
	f := t.mirrored(e, w, c)
	return iris*(1-f) + (1-iris)*t.coatOut(e, w, c), iris * f
}

func (t *Tracer) mirrored(e *frozen.Eye, w, c float64) float64 {
	if !t.set.TearFilm {
		return 0
	}
	return e.Mirrored(w, c)
}

func (t *Tracer) tearFilm(e *frozen.Eye, c float64) float64 { return e.FacetIn(c, t.set.TearFilm) }

// connectBent connects a sampled light through the cornea to a vertex that beta is carried to: one that scatters evenly, or
// with rng a collision in the tissue.
func (t *Tracer) connectBent(p *path, v *vertex, i int, l *light.Light, s *light.Sample, q float64, beta colour.RGB, rng *sampler.Stream, out *film.Sample) {
	e := &t.scene.Eyes[v.eye]
	b := &t.scene.Objects[e.Outer]
	x := b.ToLocal.Point(v.p)
	var tg target
	if l.Finite() {
		tg = target{point: b.ToLocal.Point(s.P)}
	} else {
		tg = target{distant: true, dir: b.ToLocal.Vector(s.Wi).Unit()}
	}
	for k := range t.pathsTo(v.eye, i, x, tg) {
		t.connectAlong(p, v, i, l, s, q, beta, rng, x, &t.found[k], out)
	}
}

// connectAlong is connectBent for one of the paths from x, the vertex in the eye's frame, to the light.
func (t *Tracer) connectAlong(p *path, v *vertex, i int, l *light.Light, s *light.Sample, q float64, beta colour.RGB, rng *sampler.Stream, x geom.Vec, sol *solution, out *film.Sample) {
	e := &t.scene.Eyes[v.eye]
	b := &t.scene.Objects[e.Outer]
	w := frozen.Bend(e.Zone(sol.y.P), v.zone)
	if w <= 0 || e.BendAlpha() >= microfacet.MinAlpha {
		return // a rough cornea is met by chance, and lights are connected to there
	}
	wi := b.ToWorld.Vector(sol.wi).Unit()
	from, dist := v.p, sol.y.Dist
	own := evenPhase // f cos, and the density with which the vertex itself samples wi
	if rng == nil {
		own = folded(v, wi) / math.Pi
	} else {
		var exit frozen.Surface
		tr, ok := t.outOfTissue(b, e, x, sol.wi, rng, &exit)
		if !ok {
			return
		}
		beta = beta.Mul(tr)
		from = exit.Leave(wi)
		dist -= b.ToLocal.Point(from).Sub(x).Len()
	}
	if own <= 0 || dist <= 0 {
		return
	}
	if l.Kind == light.Sphere && s.N.Dot(b.ToWorld.Vector(sol.wo)) >= 0 {
		return // x sees this side of the ball and the cornea does not
	}
	wo := b.ToWorld.Vector(sol.wo).Unit()
	yw := b.ToWorld.Point(sol.y.P)
	start := yw.Mad(4e-6*b.Scale*sol.y.P.MaxAbs(), b.ToLocal.Normal(sol.y.Ng).Unit())
	lum := s.L
	pdf := s.Pdf
	far := math.Inf(1)
	if l.Finite() {
		to := s.P.Sub(yw)
		d2 := to.Len2()
		far = math.Sqrt(d2) * (1 - 1e-6)
		cz := math.Abs(s.N.Dot(wo))
		if cz < 1e-9 {
			return
		}
		pdf = s.PdfArea * d2 / cz
		lum = l.Radiance(s.P, wo.Neg())
		if lum.Black() {
			return
		}
	}
	pdf *= q
	in := p.nest
	pass := t.chamber(e, &in, from, wi, dist*b.Scale)
	if pass.Black() || t.blocked(start, wo, far, i, frozen.ShadowRays) {
		return
	}
	pass = pass.Mul(t.transmittance(&in, start, wo, far, frozen.ShadowRays)).Scale(w * (1 - t.tearFilm(e, sol.cosOut)))
	// pdf is a density over directions outside; dividing by the Jacobian makes it one over directions inside.
	inside := pdf / sol.jacobian
	invariant.Density("a light sample through the cornea", inside+own)
	c := beta.Mul(lum).Mul(pass).Scale(own / (inside + own))
	t.Bent[i] += c.Luminance()
	t.add(i, v.class, Focused, wo, c, out)
}

// refracted weighs light v of a path that left a vertex through the cornea and met light i by chance: by the balance
// heuristic where the solver would have made the very same path, else in full. pdf is the density with which the light
// sample would have chosen this point, as a density over directions outside.
func (t *Tracer) refracted(p *path, i int, tg target, pdf float64, v colour.RGB) colour.RGB {
	if !t.scene.LightSampled[i] {
		return v
	}
	if pdf <= 0 {
		t.Bent[i] += v.Luminance()
		return v
	}
	e := &t.scene.Eyes[p.eye]
	b := &t.scene.Objects[e.Outer]
	if tg.distant {
		tg.dir = b.ToLocal.Vector(tg.dir).Unit()
	} else {
		tg.point = b.ToLocal.Point(tg.point)
	}
	t.Stats.SolverChecks++
	jacobian, ok := t.pathAgain(p, i, b.ToLocal.Point(p.x), tg)
	if !ok {
		t.Bent[i] += v.Luminance()
		t.Unfound[i] += v.Luminance()
		return v
	}
	t.Stats.SolverAgreed++
	inside := pdf * t.chosen(p, i) / jacobian
	v = v.Scale(p.pdf / (p.pdf + inside))
	t.Bent[i] += v.Luminance()
	return v
}

// pdfToward returns the solid-angle density with which l's sample from x chooses the point z with normal nz.
func (t *Tracer) pdfToward(l *light.Light, x, z, nz geom.Vec) float64 {
	to := z.Sub(x)
	d2 := to.Len2()
	cos := math.Abs(nz.Dot(to)) / math.Sqrt(d2)
	if cos < 1e-12 {
		return 0
	}
	return l.PdfAreaAt(x, z) * d2 / cos
}

// evaluate returns f cos for light from wi (world), and the density with which the vertex itself samples wi.
func (t *Tracer) evaluate(a *response, v *vertex, wi geom.Vec) (colour.RGB, float64) {
	switch a.lobe {
	case lambert:
		cos := folded(v, wi)
		return colour.Grey(cos / math.Pi), cos / math.Pi
	case tearLobe:
		if wi.Dot(v.ng) <= 0 {
			return colour.RGB{}, 0
		}
		return t.evaluateTearFilm(a, a.frame.Local(wi))
	case metalLobe:
		if wi.Dot(v.ng) <= 0 {
			return colour.RGB{}, 0
		}
		return t.evaluateMetal(a, a.frame.Local(wi))
	case glassLobe:
		return t.evaluateGlass(a, v, wi)
	case roughCoatLobe:
		return t.evaluateRoughCoat(a, v, wi)
	case underCoatLobe:
		cos := folded(v, wi)
		return colour.Grey(cos / math.Pi * t.fleshOut(a, v, wi)), cos / math.Pi
	case hairLobe:
		return t.fibre.Eval(a.frame.Local(wi))
	}
	return colour.RGB{}, 0
}
