package inspect

import (
	"catchlight/scene/colour"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/measure"
)

var pairLimits = []Limit{
	{"pairs.size", 0.03, 0, 1, "", "own choice: a person's two eyes differ by less than 2 % in length (from memory)", "share by which a measure of both eyes, or of a variant and its base, may differ"},
	{"pairs.move_share", 0.02, 0, 1, "", "own choice: 0.24 mm of a globe of 12", "how far a variant's vertices may lie from its base's, as a share of the globe's radius"},
	{"pairs.clear", 0.5, 0, 1, "", "own choice", "correlation from which two pictures count as of one relief"},
	{"pairs.colour", 6, 0, 255, "levels", "own choice: of 255", "by how much the mean colours of a zone may differ"},
}

var pairChecks = []Check{{
	Group: Pairs, Name: "comparing it with the other eye",
	Codes: []Code{
		{"pairs.size", "sizes differ", "Both eyes, or a variant and its base, are not of one size or shape."},
		{"pairs.swapped", "left and right swapped", "The pupil sits toward the nose in living eyes: both lie on the wrong side, or on the same."},
		{"pairs.normal", "normal map mirrored without its red", "The picture was turned over for the other eye, but red still points the old way: relief is lit from the wrong side."},
		{"pairs.colour", "colours differ", "Mean colour of a zone, one eye or variant against the other."},
		{"pairs.maps", "maps differ", "The other has a map that this one lacks, or one of another size."},
		{"pairs.move", "vertices moved", "How far a variant's vertices lie from its base's, and whether a whole shell was moved. It may be meant so."},
		{"pairs.order", "vertices differ", "A variant has other vertices or coordinates than its base: weights, morphs and maps no longer fit."},
	},
	Run: pairsRun,
}}

func pairsRun(r *Run) error {
	s, o := r.Subject, r.Subject.Mate
	if o == nil {
		return nil
	}
	if s.Eye != nil && o.Eye != nil {
		r.pairSizes(o)
		if !s.Variant {
			r.sides(o)
		}
	}
	if s.Variant {
		r.order(o)
	}
	return r.mapsOfBoth(o)
}

// other is what the second eye is called.
func (s *Subject) other() string {
	if s.Variant {
		return "the base"
	}
	return "the other eye"
}

// pairSizes compares measures.
func (r *Run) pairSizes(o *Subject) {
	s := r.Subject
	bound := r.Limit("pairs.size")
	for _, q := range []struct {
		what string
		a, b measure.Value
		k    float64
	}{
		{"axial length", s.Eye.Length, o.Eye.Length, 1}, {"radius of the globe", s.Eye.Globe.Radius, o.Eye.Globe.Radius, 1},
		{"width of the visible iris", s.Eye.Limbus, o.Eye.Limbus, 2}, {"width of the pupil", s.Eye.Pupil, o.Eye.Pupil, 2}, {"corneal radius", s.Eye.Cornea.Radius, o.Eye.Cornea.Radius, 1},
	} {
		if !q.a.Held || !q.b.Held || q.a.V <= 0 {
			continue
		}
		d, se := q.k*(q.b.V-q.a.V), q.k*math.Hypot(q.a.SE, q.b.SE)
		f := Finding{Code: "pairs.size", Number: Number{V: d, SE: se, Unit: "mm", What: "by so much " + s.other() + "'s " + q.what + " is larger", Held: true},
			Range: Between(-bound*q.k*q.a.V, bound*q.k*q.a.V, "own choice: a person's two eyes differ by less than 2 % in length (from memory)")}
		if 2*se > bound*q.k*q.a.V && math.Abs(d) <= bound*q.k*q.a.V+2*se {
			f.Number.Held, f.Number.Why = false, fmt.Sprintf("can't tell: %.3g +- %.2g mm", d, se)
		}
		if f.Good = math.Abs(d) <= bound*q.k*q.a.V+2*se; !f.Good {
			f.Title = "the " + q.what + " differs"
			f.Most = Warning
			f.Shows = Shows{Px: r.Px(math.Abs(d)), Text: "the eyes do not look alike"}
			f.Remedy.Step = "model one and mirror it, or make both by one set of numbers"
		}
		r.Add(f)
	}
}

// aside is where the pupil lies, toward +X of the file as the face looks along +Z, mm.
func (s *Subject) aside() (x float64, ok bool) {
	if e := s.Eye; e.Hole.Open {
		f := e.Frame
		v := f.World(geom.Vec{X: e.Hole.Offset[0], Y: e.Hole.Offset[1]})
		return v.X, math.Abs(f.N.X) < 0.7
	}
	return 0, false
}

// sides says whether the pupils lie toward the nose, on opposite sides.
func (r *Run) sides(o *Subject) {
	s := r.Subject
	a, ok := s.aside()
	b, too := o.aside()
	if !ok || !too || s.Side == "" {
		return
	}
	nose := 1.0 // the person's right eye lies at -X, its nose at +X
	if s.Side == "left" {
		nose = -1
	}
	a, b = nose*a, -nose*b
	f := Finding{Code: "pairs.swapped", Good: true, Number: Held(a, "mm", fmt.Sprintf("pupil of the %s eye toward the nose; %+.2f in the other", s.Side, b)),
		Range: Between(-0.1, 0.7, "0.2 to 0.5 mm (from memory)")}
	const clear = 0.12
	switch {
	case a < -clear && b < -clear:
		f.Good, f.Most = false, Warning
		f.Title = "both pupils lie away from the nose: left and right may be swapped"
		f.Shows = Shows{Px: r.Px(-a - b), Text: "a look that diverges"}
		f.Remedy.Step = "exchange the two eyes, or mirror each"
	case a*b < 0 && min(math.Abs(a), math.Abs(b)) > clear:
		f.Good, f.Most = false, Warning
		f.Title = "both pupils lie toward one side: one eye was copied, not mirrored"
		f.Shows = Shows{Px: r.Px(math.Abs(a - b)), Text: "one eye looks past what the other looks at"}
		f.Remedy.Step = "mirror one eye"
	}
	r.Add(f)
}

// order compares vertices and coordinates of a variant with those of its base.
func (r *Run) order(o *Subject) {
	for _, role := range []Role{Outer, Inner} {
		a, b := r.Subject.meshOf(role), o.meshOf(role)
		if a == nil || b == nil {
			continue
		}
		f := Finding{Code: "pairs.order", Part: string(role), Good: true, Number: Held(0, "", "texture coordinates that differ from the base's"), Range: AtMost(0, "a variant shares its base's order: common practice, no published source")}
		switch {
		case len(a.P) != len(b.P) || len(a.Tri) != len(b.Tri):
			f.Good, f.Least = false, Warning
			f.Number = Held(float64(len(a.P)-len(b.P)), "", "vertices more than the base has")
			f.Title = "not the base's mesh"
		case !slices.Equal(a.Tri, b.Tri):
			f.Good, f.Least, f.Title = false, Warning, "triangles in another order than the base's"
		default:
			n := 0
			for i := range min(len(a.UV), len(b.UV)) {
				if math.Abs(a.UV[i].U-b.UV[i].U)+math.Abs(a.UV[i].V-b.UV[i].V) > 1e-5 {
					n++
				}
			}
			if n > 0 {
				f.Good, f.Least, f.Number.V = false, Warning, float64(n)
				f.Title = "other texture coordinates than the base's"
			}
		}
		if !f.Good {
			f.Shows.Text = "maps of the base no longer fit this one"
			f.Remedy.Step = "take the base's mesh and move its vertices"
		}
		r.Add(f)
		if p := r.Subject.Part(role); len(a.P) == len(b.P) && len(a.P) > 0 {
			r.moved(p, b.P)
		}
	}
}

// moved says how far a variant's vertices lie from its base's, and whether all of them went one way.
func (r *Run) moved(p *Part, base []geom.Vec) {
	a := p.Mesh.P
	var xs, ys, zs []float64
	most, worst, sum, n := 0.0, 0, 0.0, 0
	for i := range a {
		d := a[i].Sub(base[i])
		xs, ys, zs = append(xs, d.X), append(ys, d.Y), append(zs, d.Z)
		l := d.Len()
		if sum += l * l; l > 1e-6*r.Subject.Radius() {
			n++
		}
		if l > most {
			most, worst = l, i
		}
	}
	for _, v := range [][]float64{xs, ys, zs} {
		slices.Sort(v)
	}
	k := len(a) / 2
	all := geom.Vec{X: xs[k], Y: ys[k], Z: zs[k]}
	left := 0.0 // of the moves, once all are moved back
	for i := range a {
		left += a[i].Sub(base[i]).Sub(all).Len2() / float64(len(a))
	}
	limit := r.Limit("pairs.move_share") * r.Subject.Radius()
	f := Finding{Code: "pairs.move", Part: p.Name, Range: AtMost(limit, "own choice"), Good: most <= limit, Most: Warning, Count: n,
		Number: Held(most, "mm", fmt.Sprintf("furthest that a vertex lies from the base's, number %d (from 0); rms of all %.4f; %d of %d moved", worst, math.Sqrt(sum/float64(len(a))), n, len(a)))}
	if !f.Good {
		f.Where = []Place{r.Subject.Place(p, a[worst])}
		f.Title = fmt.Sprintf("%d of %d vertices moved, by up to %.2f mm", n, len(a), most)
		f.Shows = Shows{Px: r.Px(most), Text: "it has another shape than the base"}
		f.Remedy.Step = "nothing, if it is meant so; else take these vertices' places from the base"
		if all.Len() > limit/4 && math.Sqrt(left) < 0.3*all.Len() {
			f.Title = fmt.Sprintf("the whole %s shell is shifted by %s mm against the base", p.Role, triple(all, 2))
			f.Remedy.Step = fmt.Sprintf("nothing, if it is meant so; else move it by %s mm%s", triple(all.Neg(), 2), r.Subject.inNumbers(all.Neg()))
		}
	}
	r.Add(f)
}

// mapsOfBoth compares maps of the same key: sizes, mean colours, and mirrored normals.
func (r *Run) mapsOfBoth(o *Subject) error {
	s := r.Subject
	for i := range o.Maps {
		n := &o.Maps[i]
		if !slices.ContainsFunc(s.Maps, func(m Map) bool { return m.Key == n.Key }) {
			r.Add(Finding{Code: "pairs.maps", Part: n.name(), Title: "only " + s.other() + " has a map for " + n.Key, Number: Held(0, "", "maps for it here"), Range: AtLeast(1, "both are one make: common practice, no published source"),
				Least: Warning, Most: Warning, Shows: Shows{Text: "one eye is bare where the other is painted"}, Remedy: Remedy{Step: "give both the same maps"}})
		}
	}
	for i := range s.Maps {
		if err := r.Ctx.Err(); err != nil {
			return err
		}
		m := &s.Maps[i]
		k := slices.IndexFunc(o.Maps, func(n Map) bool { return n.Key == m.Key })
		if k < 0 {
			continue
		}
		n := &o.Maps[k]
		if m.File == n.File && m.Held == nil && n.Held == nil {
			continue // one picture on both
		}
		a, err := openMap(m)
		if err != nil {
			continue // said already
		}
		b, err := openMap(n)
		if err != nil {
			r.Add(Finding{Code: "pairs.maps", Part: n.name(), Title: s.other() + "'s map can't be read", Least: Warning, Number: Number{Why: err.Error()}, Remedy: Remedy{Step: "write the picture anew"}})
			continue
		}
		if a.w != b.w || a.h != b.h {
			r.Add(Finding{Code: "pairs.maps", Part: m.name(), Title: fmt.Sprintf("%d x %d here, %d x %d in %s", a.w, a.h, b.w, b.h, s.other()), Most: Note,
				Number: Held(float64(a.w)/float64(b.w), "", "width over the other's"), Range: Between(1, 1, "own choice"), Shows: Shows{Text: "one eye is softer"}, Remedy: Remedy{Step: "export both at one size"}})
		}
		switch m.kind() {
		case "normal":
			r.turnedOver(m, a, n, b)
		case "colour":
			r.colours(m, a, n, b, o)
		}
		r.Advance(i+1, len(s.Maps))
	}
	return nil
}

// turnedOver finds a normal map that is the other's picture turned over while red was kept. Both are compared as pictures: if B is A
// turned over, its slopes along u are the opposite of A's at the mirrored place; a picture program that turns pixels leaves them as
// they are.
func (r *Run) turnedOver(m *Map, a *picture, n *Map, b *picture) {
	p, q := a.slopesOf(m), b.slopesOf(n)
	if p == nil || q == nil || a.c < 3 || b.c < 3 {
		return
	}
	if p.w != q.w || p.h != q.h {
		if q = q.to(p.w, p.h); q == nil {
			return
		}
	}
	var flip, vert, pp, qq, pv, qv float64
	for y := range p.h {
		for x := range p.w {
			i, j := y*p.w+x, y*p.w+p.w-1-x
			u, v, w, z := float64(p.p[i]), float64(q.p[i]), float64(q.p[j]), float64(q.q[j])
			flip += u * w
			vert += float64(p.q[i]) * z
			pp, qq = pp+u*u, qq+v*v
			pv, qv = pv+float64(p.q[i])*float64(p.q[i]), qv+z*z
		}
	}
	if pp == 0 || qq == 0 {
		return
	}
	norm := math.Sqrt(pp * qq)
	flip /= norm
	if pv > 0 && qv > 0 {
		vert /= math.Sqrt(pv * qv)
	}
	clear := r.Limit("pairs.clear")
	f := Finding{Code: "pairs.normal", Part: n.name(), Good: true, Number: Held(flip, "", "correlation of red with the other eye's, turned over: -1 for relief that was mirrored"), Range: AtMost(clear, "own choice: a mirrored relief has the opposite slope")}
	if flip > clear && vert > clear {
		f.Good, f.Least = false, Warning
		slope := math.Sqrt(pp / float64(p.w*p.h))
		f.Shows = Shows{Levels: min(255, turned(2*math.Atan(slope)*180/math.Pi)), Text: "with light from the side one eye's lumps are the other's holes"}
		f.Remedy.Step = "turn the red channel of one of both over, or bake it from the mirrored mesh"
	}
	r.Add(f)
}

// colours compares the mean colours of iris and white.
func (r *Run) colours(m *Map, a *picture, n *Map, b *picture, o *Subject) {
	s := r.Subject
	f, g := s.front(m, a), o.front(n, b)
	if f == nil || g == nil {
		return
	}
	for _, zone := range []struct {
		name string
		keep func(share float64) bool
	}{{"iris", func(x float64) bool { return x > 0.5 && x < 0.85 }}, {"white", func(x float64) bool { return x > 1.25 }}} {
		if zone.name == "iris" && strings.HasPrefix(m.Key, "sclera.") || zone.name == "white" && strings.HasPrefix(m.Key, "iris.") && !m.Whole {
			continue
		}
		c, ok := f.mean(func(rho float64) bool { return zone.keep(rho / s.Eye.Limbus.V) })
		d, too := g.mean(func(rho float64) bool { return zone.keep(rho / o.Eye.Limbus.V) })
		if !ok || !too {
			continue
		}
		off := 0.0
		for k := range 3 {
			off = max(off, 255*math.Abs(colour.EncodeSRGB(c[k])-colour.EncodeSRGB(d[k])))
		}
		x := Finding{Code: "pairs.colour", Part: m.name() + ", " + zone.name, Number: Held(off, "levels", "largest difference of the zone's mean colour"), Range: AtMost(r.Limit("pairs.colour"), "own choice")}
		if x.Good = x.Range.Holds(off); !x.Good {
			x.Most = Warning
			x.Shows = Shows{Levels: off, Text: "eyes of two colours"}
			x.Remedy.Step = "nothing, if it is meant so; else paint both from one"
		}
		r.Add(x)
	}
}

// mean is the mean colour of a zone.
func (f *front) mean(keep func(rho float64) bool) (c [3]float64, ok bool) {
	n := 0
	for k := range f.hits {
		if v, there := f.colour(k); there {
			if x, y := f.place(k); keep(math.Hypot(x, y)) {
				for h := range 3 {
					c[h] += v[h]
				}
				n++
			}
		}
	}
	for h := range 3 {
		c[h] /= float64(max(1, n))
	}
	return c, n > 100
}
