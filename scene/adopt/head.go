package adopt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/measure"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
)

// Head is a head that an artist brings: its eyes, how it stands in its file, and what its other meshes are.
type Head struct {
	Findings []Finding
	Unit     string      // of the file's numbers, for formats without one
	Factor   float64     // to true scale, after the unit
	Scale    float64     // mm of one of the file's numbers as read
	Turn     geom.Affine // from the file's axes to ours: +X to the person's left, +Y up, +Z out of the face
	Middle   geom.Vec    // half-way between the eyes, in the file's numbers as read; of one eye its centre
	Apart    float64     // mm between the eyes; 0: one eye
	Eyes     []Socketed  // the person's right one first
	Items    []Item
	Verdict  string

	bits []bit
}

// Socketed is one eye of a head.
type Socketed struct {
	Side   string // right or left; "" unknown
	Eye    *Proposal
	Input  Input    // that it was proposed from
	Centre geom.Vec // mm, our axes, from Middle
	Radius float64  // mm
	Seat   *Seating // nil where there is nothing to seat it in
}

// bit is a part of the file, or an island of one.
type bit struct {
	name  string // as a scene names it
	part  *Part
	mesh  *mesh.Mesh // the file's numbers
	whole bool       // it is all of its part
	box   geom.Box
	rough measure.Rough
	ball  int // index of the ball that it belongs to; -1 none
}

// ball is an eyeball that was found by its shape: bits about one centre.
type ball struct {
	bits   []int
	centre geom.Vec
	radius float64
	tris   int
	named  bool     // a name says that it is an eye
	axis   geom.Vec // out of the cornea or through the pupil; zero: nothing stands out
	ahead  geom.Vec // mean of the directions that nothing blocks; zero: there is none
	shut   float64  // share of directions that are blocked
}

// The bounds of balls and pairs: own choice, wide about people's. The distance between a grown person's eyes is 63 mm (common
// practice, no published source), 5.25 radii of 12 mm.
const (
	leastCap   = 0.25 // of a sphere's area that a ball covers
	pairApart  = 63.0 / 12
	pairLeast  = 2.05 // radii between the eyes of a pair
	pairMost   = 14.0
	pairEqual  = 1.2 // ratio of their radii
	surrounds  = 2.2 // radii that a mesh which lies about an eye is long, at least
	shutLeast  = 0.35
	shutMost   = 0.999
	mostOthers = 64 // meshes beside the eyes that a scene lists
)

// FindHead looks for a head: two balls of one size beside each other with something about them that leaves their fronts free, or
// one. It returns nil where the file shows no head; an error says what is wrong with what is one.
func FindHead(in Input) (*Head, error) {
	h, pair, err := find(in)
	if h == nil || err != nil {
		return nil, err
	}
	taken, err := h.maps(in)
	if err != nil {
		return nil, err
	}
	return h, h.adoptEyes(pair, taken)
}

// find is FindHead without what its eyes are by themselves, and without the pictures of a folder.
func find(in Input) (*Head, []*ball, error) {
	if in.Side != "" {
		return nil, nil, nil
	}
	h := &Head{Factor: 1, Unit: "mm", Scale: 1}
	h.bits = bitsOf(in.Parts)
	balls := h.balls(in.Names)
	if len(balls) == 0 {
		return nil, nil, nil
	}
	about, err := h.surroundings(balls)
	if err != nil || about == nil {
		return nil, nil, nil // what can't be looked at is no face; the eye's own measures say what is wrong with it
	}
	for i := range balls {
		balls[i].look(about)
	}
	pair, rivals := pairOf(balls)
	if pair == nil {
		if pair = single(balls); pair == nil {
			return nil, nil, nil
		}
	}
	if err := h.frame(in, pair, about); err != nil {
		return nil, nil, err
	}
	if rivals != "" {
		h.say(Finding{Topic: "eyes", Grade: Question, Choice: names(h.bits, pair), Reason: "other balls would make a pair as well: " + rivals})
	} else {
		h.found(pair)
	}
	h.sockets(in, pair)
	h.sort(in)
	return h, pair, nil
}

func (h *Head) say(f Finding) {
	f.Word = f.Grade.String()
	h.Findings = append(h.Findings, f)
}

// bitsOf takes parts to pieces where that may free an eye: parts of many islands stay whole unless one of these is a ball.
func bitsOf(parts []Part) (out []bit) {
	parts = byName(parts)
	count := map[string]bool{}
	for i := range parts {
		count[parts[i].Name] = true
	}
	for i := range parts {
		p := &parts[i]
		name := p.Name
		if count[name+"#2"] {
			name += "#1" // alone, without its fellows
		}
		if len(p.Mesh.Tri) == 0 || scaledToNothing(p.Mesh) {
			continue
		}
		islands := mesh.Islands(mesh.Weld(p.Mesh, 1e-6*p.Mesh.Bounds().Size().MaxAbs()), 0)
		var list []bit
		round := false
		for k, m := range islands {
			b := bit{name: name, part: p, mesh: m, whole: len(islands) == 1, box: m.Bounds(), ball: -1}
			if len(islands) > 1 {
				b.name = fmt.Sprintf("%s/%d", name, k+1)
			}
			if m.N == nil {
				mesh.Normals(m)
			}
			round = b.isBall() || round
			list = append(list, b)
		}
		if !round && len(islands) > 1 {
			list = []bit{{name: name, part: p, mesh: p.Mesh, whole: true, box: p.Mesh.Bounds(), ball: -1}}
		}
		out = append(out, list...)
	}
	return out
}

// byName puts the parts of one name together, as a scene does that names them.
func byName(parts []Part) (out []Part) {
	at := map[string]int{}
	for _, p := range parts {
		k, ok := at[p.Name]
		if !ok {
			at[p.Name] = len(out)
			out = append(out, p)
			continue
		}
		q := &out[k]
		m := &mesh.Mesh{}
		m.Append(q.Mesh)
		m.Append(p.Mesh)
		if len(m.N) != len(m.P) {
			m.N = nil
		}
		if len(m.UV) != len(m.P) {
			m.UV = nil
		}
		q.Mesh = m
	}
	return out
}

// isBall looks whether a bit is a ball, or most of one.
func (b *bit) isBall() bool {
	size := b.box.Size()
	lo, hi := min(size.X, size.Y, size.Z), size.MaxAbs()
	if len(b.mesh.Tri) < 40 || !(lo > 0.35*hi) {
		return false
	}
	r, err := measure.Look(b.mesh)
	if err != nil || !(r.Within(0.1) > 0.5) {
		return false
	}
	R := r.Sphere.Radius.V
	if 2*R > 1.7*hi || 2*R < 0.7*hi || area(b.mesh) < leastCap*4*math.Pi*R*R {
		return false
	}
	b.rough, b.ball = r, 0
	return true
}

func area(m *mesh.Mesh) (a float64) {
	for _, t := range m.Tri {
		a += m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Len() / 2
	}
	return a
}

// balls gathers the round bits about one centre.
func (h *Head) balls(n Names) (out []ball) {
	var order []int
	for i := range h.bits {
		if h.bits[i].ball == 0 {
			order = append(order, i)
		}
		h.bits[i].ball = -1
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(h.bits[b].rough.Sphere.Radius.V, h.bits[a].rough.Sphere.Radius.V)
	})
next:
	for _, i := range order {
		b := &h.bits[i]
		c, r := b.rough.Sphere.Centre, b.rough.Sphere.Radius.V
		eye := slices.ContainsFunc(append(pieces(b.part.Name), pieces(b.part.Material)...), func(w string) bool {
			return slices.Contains(n["part"]["inner"], w) || slices.Contains(n["part"]["iris"], w) || slices.Contains(n["part"]["sclera"], w) || slices.Contains(n["part"]["cornea"], w)
		})
		for k := range out {
			if q := &out[k]; c.Sub(q.centre).Len() < 0.35*q.radius && r > 0.55*q.radius {
				q.bits, q.tris, q.named = append(q.bits, i), q.tris+len(b.mesh.Tri), q.named || eye
				b.ball = k
				continue next
			}
		}
		b.ball = len(out)
		out = append(out, ball{bits: []int{i}, centre: c, radius: r, tris: len(b.mesh.Tri), named: eye})
	}
	for k := range out {
		for _, i := range out[k].bits {
			if r := &h.bits[i].rough; r.Bulge > 0.025 && out[k].axis == (geom.Vec{}) {
				out[k].axis = r.Axis
			}
		}
		for _, i := range out[k].bits {
			if out[k].axis == (geom.Vec{}) {
				if e, err := measure.Measure(nil, h.bits[i].mesh, measure.Known{}); err == nil && e.Hole.Open && e.Hole.Radius < 0.45*e.Globe.Radius.V {
					out[k].axis = e.Frame.N
				}
			}
		}
	}
	return out
}

// surroundings is what lies about the balls: all that is too large to be a part of an eye.
func (h *Head) surroundings(balls []ball) (*near.Tree, error) {
	least := math.Inf(1)
	for i := range balls {
		least = min(least, balls[i].radius)
	}
	all := &mesh.Mesh{}
	for i := range h.bits {
		b := &h.bits[i]
		if b.ball < 0 && b.box.Size().MaxAbs() > surrounds*least {
			all.Append(&mesh.Mesh{P: b.mesh.P, Tri: b.mesh.Tri})
		}
	}
	if len(all.Tri) == 0 {
		return nil, nil
	}
	return near.New(all)
}

// look casts rays from a ball's centre: where is it free, and how much of it is shut in?
func (b *ball) look(about *near.Tree) {
	const n = 1200
	var free []geom.Vec
	type blocked struct {
		d geom.Vec
		t float64
	}
	var met []blocked
	for i := range n {
		// Fibonacci's lattice on the sphere.
		z := 1 - (2*float64(i)+1)/n
		s := math.Sqrt(1 - z*z)
		sin, cos := math.Sincos(math.Pi * (3 - math.Sqrt(5)) * float64(i))
		d := geom.Vec{X: s * cos, Y: s * sin, Z: z}
		if q, ok := about.Ray(b.centre, d, 0.3*b.radius, 60*b.radius, -1); !ok {
			free = append(free, d)
		} else {
			met = append(met, blocked{d, q.T})
		}
	}
	b.shut = 1 - float64(len(free))/n
	if len(free) == 0 {
		return
	}
	// Bundles of free directions: from each of some the mean of those near it. The front is the one that the eye's own axis lies
	// in, else the one with most of what is close to the globe about it: a face that is a mask is open behind, too.
	best := -1.0
	for i := 0; i < len(free); i += max(1, len(free)/40) {
		m := bundle(free, free[i])
		if m == (geom.Vec{}) {
			continue
		}
		score, all := 0.0, 0.0
		for _, q := range met {
			if c := q.d.Dot(m); c > 0.25 && c < 0.95 {
				all++
				if q.t < 1.6*b.radius {
					score++
				}
			}
		}
		if score /= max(1, all); b.axis != (geom.Vec{}) && m.Dot(b.axis) > 0.8 {
			score += 2
		}
		if score > best {
			best, b.ahead = score, m
		}
	}
}

// bundle returns the mean of the directions about m, again and again, or the zero vector.
func bundle(free []geom.Vec, m geom.Vec) geom.Vec {
	for range 5 {
		var sum geom.Vec
		for _, d := range free {
			if d.Dot(m) > 0.5 {
				sum = sum.Add(d)
			}
		}
		if sum.Len() < 1e-6 {
			return geom.Vec{}
		}
		m = sum.Unit()
	}
	return m
}

// held says whether something lies about a ball and leaves its front free.
func (b *ball) held() bool { return b.shut > shutLeast && b.shut < shutMost }

// pairOf returns the two balls that make the best pair of eyes, and in words others that are nearly as good.
func pairOf(balls []ball) (pair []*ball, rivals string) {
	type both struct {
		a, b  *ball
		score float64
	}
	var list []both
	for i := range balls {
		for k := i + 1; k < len(balls); k++ {
			a, b := &balls[i], &balls[k]
			q := math.Abs(math.Log(a.radius / b.radius))
			d := 2 * a.centre.Sub(b.centre).Len() / (a.radius + b.radius)
			if q > math.Log(pairEqual) || d < pairLeast || d > pairMost || !a.held() || !b.held() {
				continue
			}
			f := math.Log(d/pairApart) / 0.5
			s := math.Exp(-f*f/2 - q*q/(2*0.06*0.06))
			if a.named && b.named {
				s *= 2
			}
			if a.tris == b.tris && len(a.bits) == len(b.bits) {
				s *= 2
			}
			list = append(list, both{a, b, s})
		}
	}
	if len(list) == 0 {
		return nil, ""
	}
	slices.SortStableFunc(list, func(a, b both) int { return cmp.Compare(b.score, a.score) })
	if len(list) > 1 && list[1].score > 0.5*list[0].score {
		rivals = fmt.Sprintf("balls of radius %.4g, %.4g apart, beside these of %.4g, %.4g apart", list[1].a.radius, list[1].a.centre.Sub(list[1].b.centre).Len(),
			list[0].a.radius, list[0].a.centre.Sub(list[0].b.centre).Len())
	}
	return []*ball{list[0].a, list[0].b}, rivals
}

// single returns the ball that is the only eye of a head.
func single(balls []ball) []*ball {
	var best *ball
	for i := range balls {
		b := &balls[i]
		if !b.held() {
			continue
		}
		if best == nil || b.named && !best.named || b.named == best.named && b.tris > best.tris {
			best = b
		}
	}
	if best == nil {
		return nil
	}
	return []*ball{best}
}

func names(bits []bit, pair []*ball) string {
	var out []string
	for _, b := range pair {
		for _, i := range b.bits {
			out = append(out, bits[i].name)
		}
	}
	return quoted(out)
}

// found says which balls are the eyes.
func (h *Head) found(pair []*ball) {
	f := Finding{Topic: "eyes", Choice: names(h.bits, pair)}
	if len(pair) == 1 {
		f.Grade = Unsure
		f.Reason = fmt.Sprintf("one ball alone, %.0f %% shut in: no second one of its size lies beside it", 100*pair[0].shut)
		if pair[0].named {
			f.Reason += "; its name says an eye"
		}
		h.say(f)
		return
	}
	a, b := pair[0], pair[1]
	d := 2 * h.Apart / (a.radius + b.radius) / h.Scale
	f.Reason = fmt.Sprintf("two balls of radius %.4g and %.4g mm, %.4g mm apart (%.3g radii; a grown person's 5.25), each shut in to %.0f and %.0f %% with its front free",
		a.radius*h.Scale, b.radius*h.Scale, h.Apart, d, 100*a.shut, 100*b.shut)
	if d < 3 || d > 9 {
		f.Grade = Unsure
		f.Reason += "; a person's would lie 3 to 9 radii apart"
	}
	if !a.named && !b.named {
		f.Reason += "; the names say nothing"
	} else if a.named != b.named {
		f.Reason += "; the name of one alone says an eye"
	} else {
		f.Reason += ", and the names agree"
	}
	h.say(f)
}

// point brings a place in the file's numbers to ours: mm, from the middle of the eyes, our axes.
func (h *Head) point(p geom.Vec) geom.Vec { return h.Turn.Vector(p.Sub(h.Middle).Mul(h.Scale)) }

// moved is a mesh in our axes.
func (h *Head) moved(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{P: make([]geom.Vec, len(m.P)), UV: m.UV, Tri: m.Tri}
	for i, p := range m.P {
		out.P[i] = h.point(p)
	}
	if m.N != nil {
		out.N = make([]geom.Vec, len(m.N))
		for i, n := range m.N {
			out.N[i] = h.Turn.Vector(n)
		}
	}
	return out
}

// sockets says where the eyes are and which pieces are theirs.
func (h *Head) sockets(in Input, pair []*ball) {
	for k, b := range pair {
		s := Socketed{Centre: h.point(b.centre), Radius: b.radius * h.Scale}
		if len(pair) == 2 {
			s.Side = [2]string{"right", "left"}[k]
		} else {
			s.Side = h.oneSide(in)
		}
		s.Input = in
		one := &s.Input
		one.Parts, one.Notes, one.Grown = nil, nil, nil
		one.Unit, one.Factor, one.Side, one.placed = "", h.Factor, s.Side, true
		if !in.Metres {
			one.Unit = h.Unit
		}
		for _, i := range b.bits {
			q := *h.bits[i].part
			q.Name, q.Mesh = h.bits[i].name, h.bits[i].mesh
			one.Parts = append(one.Parts, q)
		}
		h.Eyes = append(h.Eyes, s)
	}
}

// adoptEyes proposes each eye by itself, as if it were alone; taken are the pictures that are not the eyes'.
func (h *Head) adoptEyes(pair []*ball, taken map[string]bool) error {
	for k := range h.Eyes {
		s := &h.Eyes[k]
		s.Input.taken = taken
		p, err := Propose(s.Input)
		if err != nil {
			return fmt.Errorf("the %s eye (%s): %w", cmp.Or(s.Side, "only"), names(h.bits, pair[k:k+1]), err)
		}
		p.steadyAxis(h.Turn, pair[k])
		s.Eye = p
		for _, f := range p.Findings {
			if slices.Contains([]string{"unit", "factor", "side", "pair"}, f.Topic) {
				continue
			}
			f.Topic = strings.TrimSpace(s.Side+" eye: ") + " " + f.Topic
			h.Findings = append(h.Findings, f)
		}
	}
	return nil
}

// steadyAxis gives an eye whose own axis is not held, such as a plain ball, the front of the head.
func (p *Proposal) steadyAxis(turn geom.Affine, b *ball) {
	front := turn.Inverse().Vector(geom.Vec{Z: 1})
	if p.Globe.Axis.Dot(front) > math.Cos(geom.Radians(40)) && p.Eye.Axis.Held && b.axis != (geom.Vec{}) {
		return
	}
	for i := range p.Findings {
		if f := &p.Findings[i]; f.Topic == "axis" {
			f.Choice = fmt.Sprintf("(%.4f, %.4f, %.4f)", front.X, front.Y, front.Z)
			f.Reason = "straight out of the face, as the ball itself has no axis that is held: " + f.Reason
			f.Grade, f.Word = Unsure, Unsure.String()
		}
	}
	p.Globe.Axis = front
}
