package adopt

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/grown"
	"catchlight/scene/imageio"
	"catchlight/scene/measure"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Input is what an artist brings.
type Input struct {
	Asset  string   // file of the meshes
	Folder string   // of the maps; "" for none
	Parts  []Part   // of the asset, in mm if Metres, else in the file's own numbers
	Metres bool     // the format fixes the unit (glTF: metres); else it is guessed from the size
	Notes  []string // of the reader
	Names  Names
	Side   string // left or right where a file holds a pair; "" takes the right one, and says so

	// What the artist knows; zero: measured or guessed. All other guesses are made with them.
	Unit     string  // of a file without one
	Factor   float64 // to true scale, after the unit
	Limbus   float64 // its radius, mm at true scale
	Pupil    float64 // diameter that the pupil is to have, mm; 0 leaves it as modelled
	CloseGap bool    // lay the inner shell close beneath the outer one outside the limbus

	Targets []string // names of the file's morph targets

	placed bool            // Side is settled: neither names nor place tell more
	taken  map[string]bool // pictures of the folder that are no eye's

	Grown    *grown.Report // of an eye that was grown here and is as it was; nil of any other
	grownDir string        // of its maps
}

// Proposal is a scene for an eye, and why it is so.
type Proposal struct {
	Findings []Finding
	Outer    string // names of the shells, "" for the built-in eye's
	Inner    string
	Unit     string  // of the file's numbers, for formats without one
	Factor   float64 // to true scale, after the unit
	Side     string
	Globe    Globe        // in mm after unit and factor, in the file's axes
	Eye      *measure.Eye // as measured, in the file's numbers
	Scale    float64      // mm of one of the file's numbers as read: unit and factor
	Wanted   float64      // diameter that the pupil is to have, mm; 0 leaves it
	CloseGap bool
	Maps     []Mapped
	Grown    *grown.Report // whose word is taken; nil for none
	Verdict  string        // one line: whether the size reads as an eye
}

// Borrowed lists what the built-in eye lends.
func (p *Proposal) Borrowed() []string {
	var out []string
	for _, f := range p.Findings {
		if f.Grade == Borrowed {
			out = append(out, f.Topic)
		}
	}
	return out
}

// units that lengths may be in, and their mm.
var units = []struct {
	name string
	mm   float64
}{{"mm", 1}, {"cm", 10}, {"m", 1000}, {"inch", 25.4}}

// Propose looks at the input and proposes a scene. An error means that there is nothing to propose; its text says what
// is missing.
//
// Long: one question about the eye after the other, in the order in which the answers rest on each other.
func Propose(in Input) (*Proposal, error) {
	p := &Proposal{Factor: 1, Unit: "mm"}
	if in.Grown != nil {
		in.knows()
	}
	say := func(f Finding) {
		f.Word = f.Grade.String()
		p.Findings = append(p.Findings, f)
	}
	if in.Metres && in.Unit != "" {
		return nil, fmt.Errorf("the unit is given as %s, but the file's format fixes it; give a factor instead", in.Unit)
	}
	for _, n := range in.Notes {
		for _, q := range []struct{ words, topic string }{{asset.NormalsNegated, "normals"}, {asset.WoundInward, "winding"}, {asset.ScaledToNothing, "scale"}} {
			if strings.Contains(n, q.words) {
				say(Finding{Topic: q.topic, Grade: Unsure, Choice: n, Reason: "noted by the reader of the file"})
			}
		}
	}
	list, extras, err := in.Names.piecesOf(in.Parts, say)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		if len(extras) == 0 {
			return nil, errors.New("the file holds no mesh")
		}
		return nil, fmt.Errorf("the file holds no shell of an eye, only %s", quoted(extras))
	}
	if len(extras) > 0 {
		say(Finding{Topic: "other meshes", Choice: quoted(extras), Reason: "lids, lashes and small parts; left out of the eye"})
	}
	eyes := clusters(list)
	for i := range eyes {
		sideOf(list, &eyes[i])
		if in.Grown != nil {
			eyes[i].side, eyes[i].sideReason, eyes[i].sideUnsure = in.Grown.Frame.Side, "as "+grown.Name+" tells", false
		}
		if in.placed {
			eyes[i].side, eyes[i].sideReason, eyes[i].sideUnsure = in.Side, "as told", false
		}
	}
	e, err := p.pick(in, list, eyes, say)
	if err != nil {
		return nil, err
	}
	if e.outer < 0 {
		choose(list, e, say)
	}
	var outer, inner *mesh.Mesh
	if e.outer >= 0 {
		p.Outer, outer = list[e.outer].name, list[e.outer].mesh
	}
	if e.inner >= 0 {
		p.Inner, inner = list[e.inner].name, list[e.inner].mesh
	}
	for _, i := range []int{e.outer, e.inner} {
		if i < 0 {
			continue
		}
		if list[i].insideOut {
			say(Finding{Topic: "winding", Grade: Unsure, Choice: fmt.Sprintf("%q is wound inward", list[i].name), Reason: "its triangles face its middle; they are turned when it is loaded"})
		}
		if list[i].negated {
			say(Finding{Topic: "normals", Grade: Unsure, Choice: fmt.Sprintf("%q has its normals negated", list[i].name), Reason: "they point inward, but its triangles wind outward; the normals are turned when it is loaded, the triangles stay"})
		}
		if list[i].open > 0 {
			say(Finding{Topic: "edges", Grade: Unsure, Choice: fmt.Sprintf("%q is not closed", list[i].name), Reason: fmt.Sprintf("%d edges do not join two triangles of one winding", list[i].open)})
		}
	}
	known := measure.Known{}
	m, err := measure.Measure(outer, inner, known)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", cmp.Or(p.Outer, p.Inner), err)
	}
	if e.side == "" && math.Abs(m.Frame.N.X) > 0.02 && math.Abs(m.Frame.N.X) < 0.3 && m.Frame.N.Z > 0.9 {
		// The optical axis is turned outward from the line of sight.
		p.Side = "left"
		if m.Frame.N.X < 0 {
			p.Side = "right"
		}
		p.Findings = slices.DeleteFunc(p.Findings, func(f Finding) bool { return f.Topic == "side" }) // that it is unknown
		say(Finding{Topic: "side", Choice: p.Side, Grade: Unsure, Reason: fmt.Sprintf("%s; the axis is turned %.1f degrees toward %s, and eyes turn outward",
			e.sideReason, geom.Degrees(math.Asin(math.Abs(m.Frame.N.X))), map[bool]string{true: "-X", false: "+X"}[m.Frame.N.X < 0])})
	}
	own := map[string]string{} // by slot
	if e.inner >= 0 {
		q := list[e.inner].part
		own["iris.colour"], own["sclera.colour"], own["iris.normal"] = q.own("colour"), q.own("colour"), q.own("normal")
	}
	if e.outer >= 0 && own["sclera.colour"] == "" && list[e.outer].part.opaque && list[e.outer].mesh.UV != nil {
		if own["sclera.colour"] = list[e.outer].part.own("colour"); own["sclera.colour"] != "" {
			own["sclera.colour"] += " on the outer shell"
		}
	}
	// What the pictures say comes after what the shells say; the edge of the iris is looked for in them before.
	var later []Finding
	after := func(f Finding) {
		f.Word = f.Grade.String()
		later = append(later, f)
	}
	var maps []Mapped
	var seen map[string]bool
	if in.Grown != nil {
		maps, seen = in.grownMaps(own, after)
	}
	if in.taken != nil {
		seen = in.taken
	}
	maps, err = in.Names.assign(in.Folder, p.Side, maps, seen, after)
	if err != nil {
		return nil, err
	}
	known.Colour = eyePicture(list, e, maps)
	// Size first: what is known in mm is turned into the file's numbers by it.
	if err := p.scale(in, m, say); err != nil {
		return nil, err
	}
	k := p.Scale
	if known.Limbus = in.Limbus / k; in.Limbus > 0 || known.Colour != nil {
		if m, err = measure.Measure(outer, inner, known); err != nil {
			return nil, err
		}
	}
	p.Eye = m
	p.Globe = Globe{Centre: m.Centre.Mul(k), Radius: m.Globe.Radius.V * k, Axis: m.Frame.N, Limbus: m.Limbus.V * k, Length: m.Length.V * k, Apex: m.Apex * k}
	if p.Globe.Radius < 2 || p.Globe.Radius > 60 || in.Limbus >= p.Globe.Radius {
		best := measure.Mistakes(p.Globe.Length)[0]
		s := fmt.Sprintf("the eye would be %.4g mm long, its globe %.4g mm in radius (eyes here: 2 to 60 mm)", p.Globe.Length, p.Globe.Radius)
		if in.Limbus >= p.Globe.Radius {
			s = fmt.Sprintf("a limbus of %g mm is told, but the eye would be %.4g mm long, its globe %.4g mm in radius", in.Limbus, p.Globe.Length, p.Globe.Radius)
		}
		if best.Factor != 1 {
			s += fmt.Sprintf(": %s? A factor of %.6g would make it %.3g mm long", best.What, p.Factor*best.Factor, best.Length)
		}
		return nil, errors.New(s)
	}
	for _, i := range []int{e.outer, e.inner} {
		if i >= 0 {
			p.coordinates(&list[i], i == e.inner, say)
		}
	}
	p.axis(e, say)
	p.cornea(say)
	p.limbus(say)
	if e.inner >= 0 {
		p.pupil(in, say)
	} else if in.Pupil > 0 {
		p.Wanted = in.Pupil
	}
	p.gap(in, say)
	if in.Grown != nil {
		p.told(in)
	}
	for _, s := range slots {
		if own[s.key] != "" {
			say(Finding{Topic: s.key, Choice: own[s.key], Reason: "the asset brings it"})
		}
	}
	colours := map[string]string{} // by slot
	for _, q := range maps {
		colours[q.Slot] = q.File
	}
	shared := colours["iris.colour"] != "" && colours["iris.colour"] == colours["sclera.colour"]
	for _, f := range later {
		for i := range maps {
			if maps[i].Slot == f.Topic && maps[i].First == f.File {
				p.laidOn(&maps[i], outer, inner, shared, &f)
			}
		}
		say(f)
	}
	p.keep(list, e, maps, own, say)
	return p, nil
}

// eyePicture returns the picture of the whole inner shell, iris and white in one, or nil where there is none.
func eyePicture(list []piece, e *eyeball, maps []Mapped) func(geom.UV) [3]float64 {
	if e.inner < 0 || list[e.inner].mesh.UV == nil {
		return nil
	}
	if own := &list[e.inner].part.picture; own.Valid() {
		return func(uv geom.UV) [3]float64 { return own.RGB(uv, 0) }
	}
	var iris, white *Mapped
	for i := range maps {
		switch maps[i].Slot {
		case "iris.colour":
			iris = &maps[i]
		case "sclera.colour":
			white = &maps[i]
		}
	}
	if iris == nil || white == nil || iris.File != white.File || strings.Contains(iris.File, "{tile}") {
		return nil
	}
	pic, err := imageio.Read(iris.First)
	if err != nil {
		return nil
	}
	img := texture.FromImage(pic.Image(pic.Encoded), texture.Repeat)
	return func(uv geom.UV) [3]float64 { return img.RGB(uv, 0) }
}

func quoted(names []string) string {
	q := make([]string, 0, 8)
	for i, n := range names {
		if i == 7 {
			q = append(q, fmt.Sprintf("and %d more", len(names)-i))
			break
		}
		q = append(q, fmt.Sprintf("%q", n))
	}
	return strings.Join(q, ", ")
}

func mmOf(unit string) float64 {
	for _, u := range units {
		if u.name == unit {
			return u.mm
		}
	}
	return 1
}

// pick takes one eye of those in the file.
func (p *Proposal) pick(in Input, list []piece, eyes []eyeball, say func(Finding)) (*eyeball, error) {
	// Clusters that are no globe, where there is one that is, are other things.
	var globes []int
	for i := range eyes {
		if slices.ContainsFunc(eyes[i].members, func(k int) bool { return list[k].round || len(list[k].contains) > 0 }) {
			globes = append(globes, i)
		}
	}
	if len(globes) == 0 {
		globes = []int{0}
		say(Finding{Topic: "globe", Grade: Unsure, Choice: fmt.Sprintf("%q", list[eyes[0].members[0]].name), Reason: "no mesh of the file lies on a sphere; the largest is taken"})
	}
	if o, n, ok := apart(list, eyes, globes); ok {
		for i := range eyes {
			if slices.Contains(eyes[i].members, o) {
				d := list[n].rough.Sphere.Centre.Sub(list[o].rough.Sphere.Centre).Len() / list[o].rough.Sphere.Radius.V
				say(Finding{Topic: "shells", Grade: Question, Choice: fmt.Sprintf("outer %q; the inner shell is the built-in eye's", list[o].name),
					Reason: fmt.Sprintf("the shells lie apart: the inner one, %q, lies %.2g radii of the globe beside the outer; move them together in the file to have it in the scene", list[n].name, d)})
				say(Finding{Topic: "inner shell", Grade: Borrowed, Choice: "the built-in eye's", Reason: "the file's own lies beside the outer shell"})
				eyes[i].outer = o
				p.Side = eyes[i].side
				return &eyes[i], nil
			}
		}
	}
	want := in.Side
	at := globes[0]
	if len(globes) > 1 {
		if want == "" {
			want = "right"
		}
		found := false
		for _, i := range globes {
			if eyes[i].side == want && !found {
				at, found = i, true
			}
		}
		if !found && in.Side != "" {
			return nil, fmt.Errorf("the file holds %d eyes, but none that is the %s one by name or place", len(globes), in.Side)
		}
		choice := fmt.Sprintf("the %s eye of %d", want, len(globes))
		if !found {
			choice = fmt.Sprintf("the first eye of %d", len(globes))
		}
		say(Finding{Topic: "pair", Grade: Question, Choice: choice, Reason: "one scene holds one eye; adopt the other with --side"})
	}
	e := &eyes[at]
	if in.Side != "" && e.side != "" && e.side != in.Side {
		return nil, fmt.Errorf("--side %s: the file's only eye is the %s one, %s", in.Side, e.side, e.sideReason)
	}
	p.Side = e.side
	if in.Side != "" && e.side == "" {
		p.Side, e.side = in.Side, in.Side
		e.sideReason = "as asked"
	}
	f := Finding{Topic: "side", Choice: p.Side, Reason: e.sideReason}
	if e.sideUnsure {
		f.Grade = Unsure
	}
	if p.Side == "" {
		f.Choice, f.Grade = "unknown", Unsure
	}
	say(f)
	return e, nil
}

// keep takes the maps that can be laid on, and borrows what is missing.
func (p *Proposal) keep(list []piece, e *eyeball, maps []Mapped, own map[string]string, say func(Finding)) {
	bare := func(i int) bool { return i >= 0 && list[i].mesh.UV == nil }
	have := map[string]bool{}
	for _, m := range maps {
		outer := strings.HasPrefix(m.Slot, "cornea.") || m.Shell == "outer"
		if outer && bare(e.outer) || !outer && bare(e.inner) {
			say(Finding{Topic: m.Slot, Grade: Question, Choice: "left out", File: m.First, Reason: "the shell has no texture coordinates to lay it on"})
			continue
		}
		if own[m.Slot] != "" {
			say(Finding{Topic: m.Slot, Grade: Question, Choice: "which: the asset's own, or " + filepath.Base(m.File) + "?", File: m.First, Reason: "two pictures for one role; the asset's own stays until you choose"})
			continue
		}
		have[m.Slot] = true
		p.Maps = append(p.Maps, m)
	}
	for _, k := range []string{"iris.colour", "sclera.colour"} {
		if !have[k] && own[k] == "" {
			say(Finding{Topic: k, Grade: Borrowed, Choice: "the built-in eye's", Reason: "no picture is its colour map"})
		}
	}
}
