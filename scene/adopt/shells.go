package adopt

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/measure"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Part is one mesh of the artist's file, in mm as the file's unit has it.
type Part struct {
	Name     string
	Material string
	Mesh     *mesh.Mesh
	Look     asset.Material // as its file gives it, with the pictures that it brings

	opaque               bool
	ownColour, ownNormal bool        // its material brings these pictures
	picture              texture.Map // the first of them, where it is there
}

// piece is a part, or one connected island of a part.
type piece struct {
	name        string // as a scene names it: the part's, with /2 and so on for its islands
	part        *Part
	mesh        *mesh.Mesh
	rough       measure.Rough
	round       bool // most of it lies on a sphere
	words       []string
	sides       []string
	open        int   // edges that are not shared by two triangles of one winding
	insideOut   bool  // its triangles wind inward; turned here
	negated     bool  // its normals point inward though its triangles wind outward; turned here
	contains    []int // other pieces that lie inside it
	withinShare []float64
}

// minorPiece is the share of the largest piece's size under which a piece is no shell: lash cards, bubbles.
const minorPiece = 0.2

// piecesOf returns the pieces of a file that can be shells, the largest first, and the names of those that can't. It says
// what is wrong with them. The error says that a shell can't be measured at all.
//
// Long: each piece is read, measured and refused in one pass.
func (n Names) piecesOf(parts []Part, say func(Finding)) (list []piece, extras []string, err error) {
	far := 0.0
	var flat []string
	var errs []error
	for _, p := range parts {
		lost, first := 0, 0
		for i, q := range p.Mesh.P {
			if !q.Finite() {
				if lost == 0 {
					first = i
				}
				lost++
			}
		}
		if lost > 0 {
			errs = append(errs, fmt.Errorf("%q: %d of %d vertices are no numbers, the first is vertex %d", p.Name, lost, len(p.Mesh.P), first))
			continue
		}
		far = max(far, p.Mesh.Bounds().Size().Len())
	}
	if len(errs) > 0 {
		return nil, nil, errors.Join(errs...)
	}
	for i := range parts {
		p := &parts[i]
		ps := pieces(p.Name)
		words, sides := meaning(n["shell"], ps), meaning(n["side"], ps)
		if len(words) == 0 {
			words = meaning(n["shell"], pieces(p.Material))
		}
		if slices.Contains(words, "extra") {
			extras = append(extras, p.Name)
			continue
		}
		if scaledToNothing(p.Mesh) {
			flat = append(flat, p.Name)
			continue
		}
		islands := mesh.Islands(mesh.Weld(p.Mesh, 1e-6*far), 0)
		for k, m := range islands {
			if k == 32 {
				break
			}
			q := piece{name: p.Name, part: p, mesh: m, words: words, sides: sides}
			if len(islands) > 1 {
				q.name = fmt.Sprintf("%s/%d", p.Name, k+1)
			}
			if m.N == nil {
				mesh.Normals(m)
			}
			list = append(list, q)
		}
	}
	if len(flat) > 0 {
		if len(list) == 0 {
			return nil, extras, fmt.Errorf("%s: scaled to nothing: every triangle has no area (a scale of zero?)", quoted(flat))
		}
		say(Finding{Topic: "scale", Grade: Unsure, Choice: quoted(flat) + " left out", Reason: "scaled to nothing: every triangle has no area (a scale of zero?)"})
	}
	slices.SortStableFunc(list, func(a, b piece) int {
		return cmp.Compare(b.mesh.Bounds().Size().Len(), a.mesh.Bounds().Size().Len())
	})
	keep := list[:0:0]
	for _, q := range list {
		if q.mesh.Bounds().Size().Len() < minorPiece*list[0].mesh.Bounds().Size().Len() || len(q.mesh.Tri) < 20 {
			extras = append(extras, q.name)
			continue
		}
		if k := slices.IndexFunc(keep, func(o piece) bool { return twins(o.mesh, q.mesh, 1e-4*far) }); k >= 0 {
			say(Finding{Topic: "duplicates", Grade: Unsure, Choice: fmt.Sprintf("%q left out", q.name), Reason: fmt.Sprintf("it is the mesh of %q over again, in the same place", keep[k].name)})
			continue
		}
		open, odd := mesh.Closed(q.mesh)
		q.open = open + odd
		if q.rough, err = measure.Look(q.mesh); err == nil {
			q.round = q.rough.Within(0.1) > 0.5
		}
		q.insideOut = q.mesh.Volume() < 0
		if q.open > 0 {
			q.insideOut = err == nil && q.rough.Outward() < -0.3
		}
		q.negated = against(q.mesh) > 0.9 && !q.insideOut
		if q.insideOut {
			for i, t := range q.mesh.Tri {
				q.mesh.Tri[i] = [3]uint32{t[0], t[2], t[1]}
			}
		}
		if q.insideOut || q.negated {
			mesh.Normals(q.mesh)
			if r, err := measure.Look(q.mesh); err == nil {
				q.rough = r
			}
		}
		keep = append(keep, q)
	}
	for i := range keep {
		keep[i].withinShare = make([]float64, len(keep))
		for j := range keep {
			if i == j || keep[i].mesh.Bounds().Size().MaxAbs() >= keep[j].mesh.Bounds().Size().MaxAbs() {
				continue
			}
			w := within(keep[i].mesh, keep[j].mesh)
			keep[i].withinShare[j] = w
			if w > 0.7 {
				keep[j].contains = append(keep[j].contains, i)
			}
		}
	}
	return keep, extras, nil
}

// scaledToNothing says whether no triangle has an area worth the name beside the mesh's own size.
func scaledToNothing(m *mesh.Mesh) bool {
	if len(m.Tri) == 0 {
		return false
	}
	size := m.Bounds().Size()
	return !(size.MaxAbs() > 0) || min(size.X, size.Y, size.Z) == 0 && (size.X == 0 && size.Y == 0 || size.Y == 0 && size.Z == 0 || size.Z == 0 && size.X == 0)
}

// twins says whether two meshes are one and the same surface in one place.
func twins(a, b *mesh.Mesh, eps float64) bool {
	if len(a.P) != len(b.P) || len(a.Tri) != len(b.Tri) {
		return false
	}
	for i := range a.P {
		if a.P[i].Sub(b.P[i]).MaxAbs() > eps {
			return false
		}
	}
	return true
}

// against returns the share of a mesh's area whose normals point to the other side than its triangles wind.
func against(m *mesh.Mesh) float64 {
	wrong, all := 0.0, 0.0
	for _, t := range m.Tri {
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		l := n.Len()
		all += l
		if n.Dot(m.N[t[0]].Add(m.N[t[1]]).Add(m.N[t[2]])) < 0 {
			wrong += l
		}
	}
	if all == 0 {
		return 0
	}
	return wrong / all
}

// eyeball is a cluster of pieces in one place: one eye.
type eyeball struct {
	outer, inner int // of the pieces, -1 for none
	centre       geom.Vec
	radius       float64
	members      []int
	side         string
	sideReason   string
	sideUnsure   bool // name and place disagree
}

// clusters groups pieces whose centres are near each other.
func clusters(list []piece) []eyeball {
	var out []eyeball
next:
	for i := range list {
		c, r := list[i].mesh.Bounds().Centre(), list[i].mesh.Bounds().Size().Len()/(2*math.Sqrt(3))
		for k := range out {
			if c.Sub(out[k].centre).Len() < 0.7*out[k].radius {
				out[k].members = append(out[k].members, i)
				continue next
			}
		}
		out = append(out, eyeball{outer: -1, inner: -1, centre: c, radius: r, members: []int{i}})
	}
	return out
}

// choose picks the shells of an eyeball, and says why. By containment first, by names where that says nothing.
//
// Long: one rule after the other, each with its reason in words.
func choose(list []piece, e *eyeball, say func(f Finding)) {
	is := func(i int, w string) bool { return slices.Contains(list[i].words, w) }
	// Who contains most is outside.
	for _, i := range e.members {
		if len(list[i].contains) > 0 && (e.outer < 0 || len(list[i].contains) > len(list[e.outer].contains)) {
			e.outer = i
		}
	}
	if e.outer >= 0 {
		var in []int
		for _, j := range list[e.outer].contains {
			if slices.Contains(e.members, j) {
				in = append(in, j)
			}
		}
		// Of several inside, one that is called so, else the largest.
		for _, j := range in {
			if e.inner < 0 || is(j, "inner") && !is(e.inner, "inner") {
				e.inner = j
			}
		}
	}
	if e.outer >= 0 && e.inner >= 0 {
		o, n := list[e.outer], list[e.inner]
		f := Finding{Topic: "shells", Choice: fmt.Sprintf("outer %q, inner %q", o.name, n.name),
			Reason: fmt.Sprintf("%.0f %% of the inner shell lies inside the outer", 100*n.withinShare[e.outer])}
		switch {
		case is(e.outer, "inner") && !is(e.outer, "outer") || is(e.inner, "outer") && !is(e.inner, "inner"):
			f.Grade = Unsure
			f.Reason += "; the names say the opposite"
		case n.withinShare[e.outer] < 0.98:
			f.Grade = Unsure
			f.Reason += "; the rest pokes through"
		case o.rough.Bulge < 0.025:
			f.Grade = Unsure
			f.Reason += fmt.Sprintf("; but no cornea stands out of the outer one (%.1f %% of its radius): are they swapped?", 100*o.rough.Bulge)
		case is(e.outer, "outer") && is(e.inner, "inner"):
			f.Reason += ", and the names agree"
		default:
			f.Reason += "; the names say nothing"
		}
		if d := n.rough.Sphere.Centre.Sub(o.rough.Sphere.Centre).Len(); d > 0.12*o.rough.Sphere.Radius.V {
			f.Grade = max(f.Grade, Unsure)
			f.Reason += fmt.Sprintf("; their centres lie apart by %.2g of the globe's radius", d/o.rough.Sphere.Radius.V)
		}
		say(f)
		return
	}
	// Nothing contains anything.
	var named []int
	for _, i := range e.members {
		if is(i, "outer") && e.outer < 0 {
			e.outer = i
			named = append(named, i)
		}
	}
	for _, i := range e.members {
		if is(i, "inner") && i != e.outer && e.inner < 0 {
			e.inner = i
			named = append(named, i)
		}
	}
	if e.outer >= 0 && e.inner >= 0 {
		say(Finding{Topic: "shells", Grade: Unsure, Choice: fmt.Sprintf("outer %q, inner %q", list[e.outer].name, list[e.inner].name),
			Reason: "by their names alone: neither lies inside the other, they poke through each other or lie apart"})
		return
	}
	e.outer, e.inner = -1, -1
	i := e.members[0]
	if len(named) > 0 {
		i = named[0]
	}
	kind, why := list[i].kind()
	if kind == "inner" {
		e.inner = i
		say(Finding{Topic: "shells", Grade: Borrowed, Choice: fmt.Sprintf("inner %q; the outer shell is the built-in eye's", list[i].name),
			Reason: "the outer shell is missing: there is one shell only, and it is the inner one by its " + why})
	} else {
		e.outer = i
		say(Finding{Topic: "shells", Grade: Borrowed, Choice: fmt.Sprintf("outer %q; the inner shell is the built-in eye's", list[i].name),
			Reason: "the inner shell is missing: there is one shell only, and it is the outer one by its " + why})
	}
}

// kind says which shell a piece is by itself, outer or inner: by its name, by a hole in front, by a cornea.
func (q *piece) kind() (kind, why string) {
	out, in := slices.Contains(q.words, "outer"), slices.Contains(q.words, "inner")
	if out != in {
		if in {
			return "inner", "name"
		}
		return "outer", "name"
	}
	if e, err := measure.Measure(nil, q.mesh, measure.Known{}); err == nil && e.Hole.Open && e.Hole.Radius < 0.45*e.Globe.Radius.V {
		return "inner", "shape: there is a pupil in it"
	}
	if q.rough.Bulge < 0.025 {
		return "inner", fmt.Sprintf("shape: no cornea stands out of its sphere (%.1f %% of the radius)", 100*q.rough.Bulge)
	}
	return "outer", fmt.Sprintf("shape: a cornea stands %.1f %% of the radius out of its sphere", 100*q.rough.Bulge)
}

// apart finds an outer and an inner shell that lie beside each other, in clusters of their own.
func apart(list []piece, eyes []eyeball, globes []int) (outer, inner int, ok bool) {
	if len(globes) != 2 {
		return
	}
	var of [2]int
	var kinds [2]string
	for k, g := range globes {
		var round []int
		for _, i := range eyes[g].members {
			if len(list[i].contains) > 0 {
				return
			}
			if list[i].round {
				round = append(round, i)
			}
		}
		if len(round) != 1 {
			return
		}
		of[k] = round[0]
		kinds[k], _ = list[round[0]].kind()
	}
	switch {
	case kinds[0] == kinds[1]:
		return
	case kinds[0] == "outer":
		return of[0], of[1], true
	}
	return of[1], of[0], true
}

// sideOf tells left from right: by names, then by place (the person's right is -X where the face looks along +Z), then
// by the axis, which turns outward.
func sideOf(list []piece, e *eyeball) {
	var said []string
	for _, i := range e.members {
		for _, s := range list[i].sides {
			if !slices.Contains(said, s) {
				said = append(said, s)
			}
		}
	}
	placed := ""
	if x := e.centre.X; math.Abs(x) > 0.8*e.radius && math.Abs(x) < 6*e.radius {
		placed = "left"
		if x < 0 {
			placed = "right"
		}
	}
	if len(said) == 1 {
		e.side, e.sideReason = said[0], "by its name"
		if placed != "" && placed != said[0] {
			e.sideUnsure = true
			e.sideReason += fmt.Sprintf("; but by its place it would be the %s one (the person's right is -X)", placed)
		}
		return
	}
	if placed != "" {
		e.side = placed
		e.sideReason = fmt.Sprintf("by its place, %.2g of its radius beside the middle (the person's right is -X)", math.Abs(e.centre.X)/e.radius)
		return
	}
	if len(said) > 1 {
		e.sideReason = "its names say " + strings.Join(said, " and ")
		return
	}
	e.sideReason = "neither its name nor its place tells"
}
