package adopt

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/pupil"
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
}

// Proposal is a scene for an eye, and why it is so.
type Proposal struct {
	Findings []Finding
	Outer    string // names of the shells, "" for the built-in eye's
	Inner    string
	Unit     string  // of the file's numbers, for formats without one
	Factor   float64 // to true scale, after the unit
	Side     string
	Globe    Globe // in mm after unit and factor, in the file's axes
	Pupil    pupil.Pupil
	Wanted   float64 // diameter that the pupil is to have, mm; 0 leaves it
	Maps     []Mapped
	Verdict  string // one line: whether the size reads as an eye
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

// Axial lengths (mm) of eyes that need no question: people's, from a newborn's 16.5 mm to long adult eyes, and those of
// creatures near in size (common practice, no published source).
const shortEye, longEye = 15.0, 35.0

// units that lengths may be in, and their mm.
var units = []struct {
	name string
	mm   float64
}{{"mm", 1}, {"cm", 10}, {"m", 1000}, {"inch", 25.4}}

// Propose looks at the input and proposes a scene. An error means that there is nothing to propose; its text says what
// is missing.
func Propose(in Input) (*Proposal, error) {
	p := &Proposal{Factor: 1, Unit: "mm"}
	say := func(f Finding) {
		f.Word = f.Grade.String()
		p.Findings = append(p.Findings, f)
	}
	list, extras := in.Names.piecesOf(in.Parts)
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
	}
	e, err := p.pick(in, list, eyes, say)
	if err != nil {
		return nil, err
	}
	choose(list, e, say)
	lead := e.outer
	if lead < 0 {
		lead = e.inner
	}
	if e.outer >= 0 {
		p.Outer = list[e.outer].name
	}
	if e.inner >= 0 {
		p.Inner = list[e.inner].name
	}
	for _, i := range []int{e.outer, e.inner} {
		if i < 0 {
			continue
		}
		list[i].faults(say)
	}
	g := list[lead].globe
	p.axis(list, e, &g, say)
	if e.side == "" && math.Abs(g.Axis.X) > 0.02 && math.Abs(g.Axis.X) < 0.3 && g.Axis.Z > 0.9 {
		// The optical axis is turned outward from the line of sight.
		p.Side = "left"
		if g.Axis.X < 0 {
			p.Side = "right"
		}
		say(Finding{Topic: "side", Choice: p.Side, Grade: Unsure, Reason: fmt.Sprintf("%s; the axis is turned %.1f degrees toward %s, and eyes turn outward",
			e.sideReason, geom.Degrees(math.Asin(math.Abs(g.Axis.X))), map[bool]string{true: "-X", false: "+X"}[g.Axis.X < 0])})
	}
	p.scale(in, g, say)
	k := p.Factor
	if !in.Metres {
		k *= mmOf(p.Unit)
	}
	p.Globe = Globe{Centre: g.Centre.Mul(k), Radius: g.Radius * k, Axis: g.Axis, Bulge: g.Bulge, Limbus: g.Limbus * k, Cornea: g.Cornea * k, Length: g.Length * k, Apex: g.Apex * k}
	p.limbus(say)
	if e.inner >= 0 {
		p.pupil(list[e.inner], g, k, say)
	}
	own := map[string]string{} // by slot
	if e.inner >= 0 {
		q := list[e.inner].part
		own["iris.colour"], own["sclera.colour"], own["iris.normal"] = q.own("colour"), q.own("colour"), q.own("normal")
	}
	for _, s := range slots {
		if own[s.key] != "" {
			say(Finding{Topic: s.key, Choice: own[s.key], Reason: "the asset brings it on the inner shell"})
		}
	}
	maps, err := in.Names.assign(in.Folder, p.Side, say)
	if err != nil {
		return nil, err
	}
	p.keep(list, e, maps, own, say)
	return p, nil
}

// faults says what is wrong with a shell.
func (q *piece) faults(say func(Finding)) {
	if q.insideOut {
		say(Finding{Topic: "winding", Grade: Unsure, Choice: fmt.Sprintf("%q is wound inward", q.name), Reason: "its signed volume is negative; its triangles are turned when it is loaded"})
	}
	if q.open > 0 {
		say(Finding{Topic: "edges", Grade: Unsure, Choice: fmt.Sprintf("%q is not closed", q.name), Reason: fmt.Sprintf("%d edges do not join two triangles of one winding", q.open)})
	}
	if q.mesh.UV == nil {
		say(Finding{Topic: "texture coordinates", Grade: Unsure, Choice: fmt.Sprintf("%q has none", q.name), Reason: "pictures can't be laid on it"})
	}
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
	if p.Side == "" {
		f.Choice, f.Grade = "unknown", Unsure
	}
	say(f)
	return e, nil
}

// axis settles the optical axis: the symmetry of the cornea, checked against that of the inner shell's front.
func (p *Proposal) axis(list []piece, e *eyeball, g *Globe, say func(Finding)) {
	rough := g.Axis
	near := func(k float64) func(geom.Vec) bool {
		c, r := g.Centre, g.Limbus
		if r == 0 {
			r = 0.5 * g.Radius
		}
		return func(q geom.Vec) bool {
			v := q.Sub(c)
			z := v.Dot(rough)
			return z > 0 && v.Mad(-z, rough).Len() < k*r
		}
	}
	fit := func(i int) (geom.Vec, geom.Vec, bool) {
		o, d, ok := revolution(list[i].mesh, near(1.25))
		if d.Dot(rough) < 0 {
			d = d.Neg()
		}
		// A sphere's front fits any axis: an answer far from the bulge is noise.
		return o, d, ok && d.Dot(rough) > math.Cos(geom.Radians(12))
	}
	f := Finding{Topic: "axis"}
	var o, d geom.Vec
	ok := false
	if e.outer >= 0 {
		o, d, ok = fit(e.outer)
	}
	switch {
	case ok:
		g.Axis = d
		f.Reason = "the axis about which the cornea is a surface of revolution"
		if e.inner >= 0 {
			if _, di, in := fit(e.inner); in {
				off := geom.Degrees(math.Acos(min(1, d.Dot(di))))
				f.Reason += fmt.Sprintf("; the iris' own is %.1f degrees off", off)
				if off > 3 {
					f.Grade = Unsure
				}
			}
		}
	case e.inner >= 0:
		if oi, di, in := fit(e.inner); in {
			o, d, ok = oi, di, true
			g.Axis = d
			f.Reason = "the axis about which the iris is a surface of revolution"
			if e.outer >= 0 {
				f.Grade = Unsure
			}
		}
	}
	if ok {
		// Along the new axis: centre beside it, height of the apex.
		v := g.Centre.Sub(o)
		g.Centre = g.Centre.Sub(v.Mad(-v.Dot(g.Axis), g.Axis))
	} else {
		f.Grade = Unsure
		f.Reason = "the direction in which the shell stands out of its sphere"
		if g.Bulge < 0.01 {
			f.Reason = "nothing stands out of the sphere and nothing is symmetric; taken from the farthest point"
		}
	}
	f.Choice = fmt.Sprintf("(%.4f, %.4f, %.4f)", g.Axis.X, g.Axis.Y, g.Axis.Z)
	lead := e.outer
	if lead < 0 {
		lead = e.inner
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, q := range list[lead].mesh.P {
		z := q.Sub(g.Centre).Dot(g.Axis)
		lo, hi = min(lo, z), max(hi, z)
	}
	g.Length, g.Apex = hi-lo, hi
	say(f)
}

// scale settles unit and factor, and says whether the size reads as an eye.
func (p *Proposal) scale(in Input, g Globe, say func(Finding)) {
	if !in.Metres {
		var ok []string
		best := math.Inf(1)
		for _, u := range units {
			l := g.Length * u.mm
			if l >= shortEye && l <= longEye {
				ok = append(ok, fmt.Sprintf("%s (%.3g mm long)", u.name, l))
				if d := math.Abs(math.Log(l / 24)); d < best {
					best, p.Unit = d, u.name
				}
			}
		}
		f := Finding{Topic: "unit", Choice: p.Unit, Grade: Unsure, Reason: "the format has no unit; "}
		switch len(ok) {
		case 0:
			f.Reason += fmt.Sprintf("no usual unit makes an eye of %.4g", g.Length)
		case 1:
			f.Reason += "it is the only one that makes an eye of " + fmt.Sprintf("%.4g", g.Length)
		default:
			f.Reason += "eyes in " + strings.Join(ok, " and ") + " are possible; the nearest to 24 mm is taken"
		}
		say(f)
		g.Length *= mmOf(p.Unit)
		g.Cornea *= mmOf(p.Unit)
		g.Limbus *= mmOf(p.Unit)
	}
	f := Finding{Topic: "factor", Choice: "1", Reason: fmt.Sprintf("the eye is %.4g mm long", g.Length)}
	p.Verdict = fmt.Sprintf("the eye is %.4g mm long (grown people's: 21 to 27): it reads as an eye", g.Length)
	if g.Length < shortEye || g.Length > longEye {
		k, what := unitMistake(g.Length)
		p.Factor = k
		f.Grade, f.Choice = Unsure, fmt.Sprintf("%.6g", k)
		f.Reason += ", and no eye is: " + what
		p.Verdict = fmt.Sprintf("the eye is %.4g mm long: no eye's size; %s; factor %.6g makes it %.4g mm", g.Length, what, k, g.Length*k)
	} else if g.Length < 21 || g.Length > 27 {
		f.Reason += fmt.Sprintf("; a factor of %.5g would make it 24 mm, a grown person's", 24/g.Length)
		p.Verdict = fmt.Sprintf("the eye is %.4g mm long: possible, but a grown person's is 21 to 27; factor %.5g would make it 24 mm", g.Length, 24/g.Length)
	}
	say(f)
}

// unitMistake returns the factor that mends a size by the likeliest mistake of units, and its name.
func unitMistake(length float64) (k float64, what string) {
	for _, q := range []struct {
		k    float64
		what string
	}{{1e-3, "probably millimetres stored as metres"}, {1e-2, "probably centimetres stored as metres"}, {0.0254, "probably inches stored as metres"},
		{0.1, "probably ten times too large"}, {10, "probably ten times too small"}, {100, "probably a hundred times too small"}, {1e3, "probably metres taken for millimetres"}, {25.4, "probably inches taken for millimetres"}, {12, "probably scaled to a radius of 1"}} {
		if l := length * q.k; l >= 19 && l <= longEye {
			return q.k, q.what
		}
	}
	return 24 / length, "no usual mistake of units explains it"
}

func (p *Proposal) limbus(say func(Finding)) {
	g := &p.Globe
	f := Finding{Topic: "limbus", Choice: fmt.Sprintf("radius %.3g mm", g.Limbus), Reason: "where the outer shell leaves its sphere"}
	if p.Outer == "" || g.Limbus < 0.25*g.Radius || g.Limbus > 0.8*g.Radius {
		// Share of a grown person's eye: 5.85 of 12 mm.
		g.Limbus = 0.4875 * g.Radius
		f = Finding{Topic: "limbus", Choice: fmt.Sprintf("radius %.3g mm", g.Limbus), Grade: Unsure, Reason: "nothing measurable leaves the sphere; a person's share of the globe's radius"}
	}
	if g.Cornea > 0 && p.Outer != "" {
		f.Reason += fmt.Sprintf("; the cornea within it has a radius of %.3g mm (people's: about 7.8)", g.Cornea)
	}
	say(f)
}

func (p *Proposal) pupil(q piece, g Globe, k float64, say func(Finding)) {
	reach := p.Globe.Limbus / k
	// The eye's frame: Y up as far as it can be.
	up := geom.Vec{Y: 1}
	if math.Abs(g.Axis.Y) > 0.95 {
		up = geom.Vec{Z: 1}
	}
	x := up.Cross(g.Axis).Unit()
	f := geom.Frame{S: x, T: g.Axis.Cross(x), N: g.Axis}
	p.Pupil = pupil.Find(q.mesh, g.Centre, f, reach)
	pu := &p.Pupil
	// As wide as in a dim room, which shows both pupil and iris; less where the iris would fold.
	const dim = 4.0
	p.Wanted = min(dim, 0.95*k*pu.Widest(reach-0.05*g.Radius))
	pu.Radius *= k
	pu.Plane *= k
	pu.Lip *= k
	pu.Offset[0] *= k
	pu.Offset[1] *= k
	if !pu.Open {
		say(Finding{Topic: "pupil", Grade: Unsure, Choice: "none found", Reason: "the inner shell has no hole about the axis: a painted pupil, or a closed one"})
		return
	}
	shape := "round"
	if pu.Long > 1.6 {
		shape = map[bool]string{true: "a vertical slit", false: "a horizontal bar"}[pu.Upright]
	}
	say(Finding{Topic: "pupil", Choice: fmt.Sprintf("%s, %.3g mm across", shape, 2*pu.Radius), Reason: fmt.Sprintf("a hole in the inner shell, %.2g mm from the axis; its edge lies %.3g mm behind the front of the cornea",
		math.Hypot(pu.Offset[0], pu.Offset[1]), p.Globe.Apex-pu.Lip) + fmt.Sprintf("; warped to %.3g mm, tissue and maps with it", p.Wanted)})
}

// keep takes the maps that can be laid on, and borrows what is missing.
func (p *Proposal) keep(list []piece, e *eyeball, maps []Mapped, own map[string]string, say func(Finding)) {
	bare := func(i int) bool { return i >= 0 && list[i].mesh.UV == nil }
	have := map[string]bool{}
	for _, m := range maps {
		outer := strings.HasPrefix(m.Slot, "cornea.")
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
