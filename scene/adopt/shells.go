package adopt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Part is one mesh of the artist's file, in mm as the file's unit has it.
type Part struct {
	Name     string
	Material string
	Mesh     *mesh.Mesh

	ownColour, ownNormal bool // its material brings these pictures
}

// piece is a part, or one connected island of a part.
type piece struct {
	name        string // as a scene names it: the part's, with /2 and so on for its islands
	part        *Part
	mesh        *mesh.Mesh
	globe       Globe
	round       bool // most of it lies on a sphere
	words       []string
	sides       []string
	open        int // edges that are not shared by two triangles of one winding
	insideOut   bool
	contains    []int // other pieces that lie inside it
	withinShare []float64
}

// minorPiece is the share of the largest piece's size under which a piece is no shell: lash cards, bubbles.
const minorPiece = 0.2

// pieces of a file that can be shells, the largest first, and the names of those that can't.
func (n Names) piecesOf(parts []Part) (list []piece, extras []string) {
	far := 0.0
	for _, p := range parts {
		far = max(far, p.Mesh.Bounds().Size().Len())
	}
	for i := range parts {
		p := &parts[i]
		islands := mesh.Islands(mesh.Weld(p.Mesh, 1e-6*far), 0)
		ps := pieces(p.Name)
		words, sides := meaning(n["shell"], ps), meaning(n["side"], ps)
		if len(words) == 0 {
			words = meaning(n["shell"], pieces(p.Material))
		}
		if slices.Contains(words, "extra") {
			extras = append(extras, p.Name)
			continue
		}
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
	slices.SortStableFunc(list, func(a, b piece) int {
		return cmp.Compare(b.mesh.Bounds().Size().Len(), a.mesh.Bounds().Size().Len())
	})
	keep := list[:0:0]
	for _, q := range list {
		if q.mesh.Bounds().Size().Len() < minorPiece*list[0].mesh.Bounds().Size().Len() || len(q.mesh.Tri) < 20 {
			extras = append(extras, q.name)
			continue
		}
		var ok bool
		if q.globe, ok = measure(q.mesh); ok {
			q.round = onSphere(q.mesh, q.globe) > 0.5
		}
		open, odd := mesh.Closed(q.mesh)
		q.open = open + odd
		q.insideOut = q.open == 0 && q.mesh.Volume() < 0
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
	return keep, extras
}

// onSphere returns the share of a mesh's area that lies within a tenth of the radius of its sphere.
func onSphere(m *mesh.Mesh, g Globe) float64 {
	on, all := 0.0, 0.0
	for _, q := range samples(m) {
		all += q.a
		if math.Abs(q.p.Sub(g.Centre).Len()/g.Radius-1) < 0.1 {
			on += q.a
		}
	}
	return on / all
}

// eyeball is a cluster of pieces in one place: one eye.
type eyeball struct {
	outer, inner int // of the pieces, -1 for none
	centre       geom.Vec
	radius       float64
	members      []int
	side         string
	sideReason   string
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
		case is(e.outer, "outer") && is(e.inner, "inner"):
			f.Reason += ", and the names agree"
		case n.withinShare[e.outer] < 0.98:
			f.Grade = Unsure
			f.Reason += "; the rest pokes through"
		default:
			f.Reason += "; the names say nothing"
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
			Reason: "by their names alone: neither lies inside the other"})
		return
	}
	e.outer, e.inner = -1, -1
	i := e.members[0]
	if len(named) > 0 {
		i = named[0]
	}
	switch {
	case is(i, "inner") && !is(i, "outer"), list[i].globe.Bulge < 0.025 && !is(i, "outer"):
		e.inner = i
		say(Finding{Topic: "shells", Grade: Borrowed, Choice: fmt.Sprintf("inner %q; the outer shell is the built-in eye's", list[i].name),
			Reason: fmt.Sprintf("one shell only; it is the inner one by its %s", nameOr(is(i, "inner"), fmt.Sprintf("shape: no cornea stands out of its sphere (%.1f %% of the radius)", 100*list[i].globe.Bulge)))})
	default:
		e.outer = i
		say(Finding{Topic: "shells", Grade: Borrowed, Choice: fmt.Sprintf("outer %q; the inner shell is the built-in eye's", list[i].name),
			Reason: fmt.Sprintf("one shell only; it is the outer one by its %s", nameOr(is(i, "outer"), fmt.Sprintf("shape: a cornea stands %.1f %% of the radius out of its sphere", 100*list[i].globe.Bulge)))})
	}
}

func nameOr(named bool, shape string) string {
	if named {
		return "name"
	}
	return shape
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
	if len(said) == 1 {
		e.side, e.sideReason = said[0], "by its name"
		return
	}
	if x := e.centre.X; math.Abs(x) > 0.8*e.radius && math.Abs(x) < 6*e.radius {
		e.side = "left"
		if x < 0 {
			e.side = "right"
		}
		e.sideReason = fmt.Sprintf("by its place, %.3g mm beside the middle (the person's right is -X)", math.Abs(x))
		return
	}
	if len(said) > 1 {
		e.sideReason = "its names say " + strings.Join(said, " and ")
		return
	}
	e.sideReason = "neither its name nor its place tells"
}
