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
	"catchlight/scene/near"
)

// frame settles how the head stands in its file and how large it is: front, up, which eye is which, unit and factor. pair comes back
// with the person's right eye first.
func (h *Head) frame(in Input, pair []*ball, about *near.Tree) error {
	front, f, err := front(pair)
	if err != nil {
		return err
	}
	line := geom.Vec{}
	if len(pair) == 2 {
		line = pair[1].centre.Sub(pair[0].centre)
		h.Middle = pair[0].centre.Add(line.Mul(0.5))
	} else {
		h.Middle = pair[0].centre
	}
	straight, named := squared(front, line)
	f.Choice = word(straight)
	if named {
		f.Reason += fmt.Sprintf("; within %.1f degrees of that axis of the file", geom.Degrees(math.Acos(min(1, front.Dot(straight)))))
	} else {
		f.Choice = "the direction " + word(straight)
	}
	h.say(f)
	up, q := h.upright(in, straight, line, about, pair[0].radius)
	h.say(q)
	left := up.Cross(straight).Unit()
	h.Turn = geom.Affine{M: [3]geom.Vec{left, up, straight}}
	if len(pair) == 2 {
		if line.Dot(left) < 0 {
			pair[0], pair[1] = pair[1], pair[0]
		}
		h.sides(pair, &q)
	}
	return h.size(in, pair)
}

// front is the direction out of the face: by what the eyes look through, and by their corneas or pupils.
func front(pair []*ball) (geom.Vec, Finding, error) {
	f := Finding{Topic: "front"}
	var open, axes geom.Vec
	n := 0
	for _, b := range pair {
		open = open.Add(b.ahead)
		if b.axis != (geom.Vec{}) {
			axes, n = axes.Add(b.axis), n+1
		}
	}
	if open.Len() < 0.3 {
		return open, f, errors.New("the eyes look through openings in opposite directions: is this one head?")
	}
	open = open.Unit()
	switch {
	case n == 0 || axes.Len() < 0.3*float64(n):
		f.Grade = Unsure
		f.Reason = "the direction in which nothing lies before the eyes; they have no cornea or pupil that tells more"
		return open, f, nil
	case open.Dot(axes.Unit()) < math.Cos(geom.Radians(35)):
		f.Grade = Unsure
		f.Reason = fmt.Sprintf("the eyes' own axes; but what lies about them opens %.0f degrees aside", geom.Degrees(math.Acos(max(-1, open.Dot(axes.Unit())))))
	default:
		f.Reason = fmt.Sprintf("the eyes' own axes, and nothing lies before them: the opening's middle is %.0f degrees aside", geom.Degrees(math.Acos(min(1, open.Dot(axes.Unit())))))
	}
	return axes.Unit(), f, nil
}

// squared returns the front square to the line between the eyes, and along an axis of the file where it is near one: a head that is
// modelled along the axes may look a little up or down.
func squared(front, line geom.Vec) (geom.Vec, bool) {
	if l := line.Len(); l > 0 {
		front = front.Mad(-front.Dot(line)/(l*l), line).Unit()
	}
	for _, a := range []geom.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}} {
		if front.Dot(a) > math.Cos(geom.Radians(20)) && math.Abs(line.Dot(a)) <= 0.02*line.Len() {
			return a, true
		}
	}
	return front, false
}

// word names a direction.
func word(v geom.Vec) string {
	for i, n := range [3]string{"X", "Y", "Z"} {
		if math.Abs(v.At(i)) > 0.9999 {
			return map[bool]string{true: "+", false: "-"}[v.At(i) > 0] + n
		}
	}
	return fmt.Sprintf("(%.3f, %.3f, %.3f)", v.X, v.Y, v.Z)
}

// upright finds which way is up: by what every format has it, and by the nose, which stands out below the eyes.
func (h *Head) upright(in Input, front, line geom.Vec, about *near.Tree, r float64) (geom.Vec, Finding) {
	f := Finding{Topic: "up"}
	var up geom.Vec
	usual := 0.0 // > 0: up is as usual
	want, reason := geom.Vec{Y: 1}, "glTF's up is +Y"
	if !in.Metres {
		reason = "most files have +Y up"
	}
	if line.Len() > 0 {
		up = front.Cross(line).Unit()
		for _, a := range []geom.Vec{{X: 1}, {Y: 1}, {Z: 1}} { // along an axis of the file where it is within a degree of one
			if c := up.Dot(a); math.Abs(c) > math.Cos(geom.Radians(1)) && front.Dot(a) == 0 {
				up = a.Mul(math.Copysign(1, c))
			}
		}
	} else {
		up = want.Mad(-want.Dot(front), front)
		if up.Len() < 0.5 {
			up = geom.Vec{Z: 1}.Mad(-front.Z, front)
		}
		up = up.Unit()
	}
	if math.Abs(up.Y) < 0.5 {
		want, reason = geom.Vec{Z: 1}, "the eyes lie level with the file's Y, so that +Z must be up"
		if in.Metres {
			reason += ", though glTF's up is +Y"
		}
	}
	if usual = up.Dot(want); usual < 0 {
		up, usual = up.Neg(), -usual
	}
	below, above := h.standsOut(front, up, line, about, r)
	told := fmt.Sprintf("between the eyes the face stands out to %.2g radii below them and to %.2g above", below, above)
	const clear = 0.35
	switch {
	case line.Len() == 0:
		f.Grade, f.Reason = Unsure, reason+"; one eye alone does not tell"
	case below > above+clear && usual > 0.5:
		f.Reason = reason + ", and the nose is there: " + told
		if math.Abs(usual) < 0.9999 && math.Abs(up.At(0))+math.Abs(up.At(1))+math.Abs(up.At(2)) > 1.0001 && usual < 0.9 {
			f.Grade = Unsure
		}
	case above > below+clear:
		up = up.Neg()
		f.Grade, f.Reason = Unsure, "the nose is there: "+told+"; but "+reason
	case in.Metres && up.Y > 0.9999 && front.Z > 0.9999:
		f.Reason = "glTF has +Y up and faces along +Z, and this one does face along +Z; its nose says little: " + told
	case usual > 0.5:
		f.Grade, f.Reason = Unsure, reason+"; no nose tells it: "+told
	default:
		f.Grade, f.Reason = Unsure, "neither the file's axes nor a nose tell it: "+told
	}
	f.Choice = word(up)
	return up, f
}

// standsOut returns how far the face stands out before the eyes' centres, in their radii, on the middle line below and above them.
func (h *Head) standsOut(front, up, line geom.Vec, about *near.Tree, r float64) (below, above float64) {
	if line.Len() == 0 {
		return 0, 0
	}
	left := line.Unit()
	d := line.Len()
	for _, p := range about.Mesh.P {
		q := p.Sub(h.Middle)
		x, y, z := q.Dot(left), q.Dot(up), q.Dot(front)
		switch {
		case math.Abs(x) > 0.15*d || math.Abs(y) < 0.15*d || math.Abs(y) > 1.1*d:
		case y < 0:
			below = max(below, z/r)
		default:
			above = max(above, z/r)
		}
	}
	return below, above
}

// sides says which eye is which: by place, and what the names say.
func (h *Head) sides(pair []*ball, up *Finding) {
	f := Finding{Topic: "sides", Choice: fmt.Sprintf("right %s, left %s", names(h.bits, pair[:1]), names(h.bits, pair[1:])), Reason: "by place: seen from behind the face the right eye is on the right"}
	said, wrong := 0, 0
	for k, b := range pair {
		want := [2]string{"right", "left"}[k]
		for _, i := range b.bits {
			s := meaningSides(h.bits[i].part)
			if len(s) != 1 { // nothing, or both
				continue
			}
			said++
			if s[0] != want {
				wrong++
			}
		}
	}
	switch {
	case wrong > 0:
		f.Grade = Unsure
		f.Reason += "; but the names say the opposite: is the file mirrored, or its up the other way?"
	case up.Grade != Sure:
		f.Grade = Unsure
		f.Reason += "; it rests on which way is up"
		if said > 0 {
			f.Grade = Sure
			f.Reason = "by place, and the names say the same"
		}
	case said > 0:
		f.Reason += ", and the names say the same"
	}
	h.say(f)
}

func meaningSides(p *Part) (out []string) {
	for _, w := range pieces(p.Name) {
		side := ""
		switch {
		case w == "left" || w == "l" || w == "lft":
			side = "left"
		case w == "right" || w == "r" || w == "rgt":
			side = "right"
		default:
			continue
		}
		if !slices.Contains(out, side) {
			out = append(out, side)
		}
	}
	return out
}

// oneSide is the side of a head's only eye: by its place beside the middle of what lies about it.
func (h *Head) oneSide(in Input) string {
	box := geom.EmptyBox()
	for i := range h.bits {
		if b := &h.bits[i]; b.ball < 0 {
			for _, p := range b.mesh.P {
				box = box.Grow(h.point(p))
			}
		}
	}
	f := Finding{Topic: "sides", Grade: Unsure, Choice: "unknown", Reason: "one eye, and it lies in the middle"}
	x := -box.Centre().X / max(1e-9, box.Size().X)
	side := ""
	if math.Abs(x) > 0.06 {
		side = "left"
		if x < 0 {
			side = "right"
		}
		f.Choice, f.Reason = side, fmt.Sprintf("one eye, %.0f %% of the width of what lies about it beside the middle of that", 100*math.Abs(x))
	}
	h.say(f)
	return side
}

// guess is a factor to mm with how well it fits.
type guess struct {
	what  string
	k     float64
	usual float64
	odds  float64
}

// size settles unit and factor: by the eyes' size and by how far they lie apart, which must say the same.
func (h *Head) size(in Input, pair []*ball) error {
	r := pair[0].radius
	apart := 0.0
	if len(pair) == 2 {
		r = (pair[0].radius + pair[1].radius) / 2
		apart = pair[1].centre.Sub(pair[0].centre).Len()
	}
	long := 2.04 * r // with the cornea: 24.5 mm of 12
	f := Finding{Topic: "unit"}
	told := in.Factor > 0 || in.Unit != ""
	if in.Unit != "" && in.Metres {
		return fmt.Errorf("the unit is given as %s, but the file's format fixes it; give a factor instead", in.Unit)
	}
	k := 1.0
	switch {
	case told:
		h.Unit, h.Factor = cmp.Or(in.Unit, "mm"), cmp.Or(in.Factor, 1)
		if !in.Metres {
			if _, ok := asset.Unit(h.Unit); !ok {
				return fmt.Errorf("unit %q is none of mm, cm, m, inch", h.Unit)
			}
			k = mmOf(h.Unit)
		}
		k *= h.Factor
		f.Choice, f.Reason = fmt.Sprintf("factor %.6g", h.Factor), "as told"
	default:
		list := h.guesses(in.Metres, long, apart)
		best := list[0]
		k = best.k
		f.Choice = best.what
		if in.Metres {
			h.Factor = k
		} else {
			h.Unit = best.what
		}
		f.Reason = fmt.Sprintf("the eyes are then %.3g mm across", 2*r*k)
		if apart > 0 {
			f.Reason += fmt.Sprintf(" and %.3g mm apart (a grown person's: 24 and 63)", apart*k)
		}
		if best.odds < surely || apart == 0 || !within1(long*k, measure.UnitShort, measure.UnitLong) || !within1(apart*k, 63/math.Sqrt(2.54), 63*math.Sqrt(2.54)) {
			f.Grade = Unsure
			f.Reason += fmt.Sprintf("; %.0f %% likely", 100*best.odds)
			if len(list) > 1 && list[1].odds > 0.005 {
				f.Reason += fmt.Sprintf(", else %s (%.3g mm across)", list[1].what, 2*r*list[1].k)
			}
			if apart == 0 {
				f.Reason += "; one eye's size alone tells it"
			}
		}
	}
	h.Scale = k
	h.Apart = apart * k
	h.say(f)
	if long *= k; !within1(long, measure.GrownShort, measure.GrownLong) {
		h.say(Finding{Topic: "size of the eyes", Grade: Unsure, Choice: "left as modelled",
			Reason: fmt.Sprintf("they are about %.3g mm long, %.2f times a grown person's 24; scattering and depth are in mm, so such eyes look as large as they are", long, long/24)})
	}
	h.Verdict = fmt.Sprintf("a head with %s about %.3g mm across", map[bool]string{true: "two eyes, each", false: "one eye,"}[len(pair) == 2], 2*r*k)
	if apart > 0 {
		h.Verdict += fmt.Sprintf(" and %.3g mm apart", h.Apart)
	}
	if r*k < 2 || r*k > 60 {
		return fmt.Errorf("the eyes would be %.4g mm in radius (eyes here: 2 to 60 mm); say what the file's lengths are with --factor, for instance --factor %.4g", r*k, h.Factor*12/(r*k))
	}
	return nil
}

func within1(v, lo, hi float64) bool { return v >= lo && v <= hi }

// guesses weighs units: each eye's length of 24 mm and the distance of 63 mm, each within a fifth or so, since heads may be a child's
// or stylised. Spreads: own choice.
func (h *Head) guesses(metres bool, long, apart float64) []guess {
	var list []guess
	if metres {
		list = []guess{{what: "as the format has it", k: 1, usual: 30}, {what: "millimetres stored as metres", k: 1e-3, usual: 1}, {what: "centimetres stored as metres", k: 1e-2, usual: 1},
			{what: "inches stored as metres", k: 0.0254, usual: 0.5}, {what: "ten times too large", k: 0.1, usual: 0.5}, {what: "ten times too small", k: 10, usual: 0.5},
			{what: "a hundred times too small", k: 100, usual: 0.5}, {what: "a thousand times too small", k: 1000, usual: 0.5}}
	} else {
		for _, u := range units {
			list = append(list, guess{what: u.name, k: u.mm, usual: 1})
		}
	}
	sum := 0.0
	for i := range list {
		g := &list[i]
		x := math.Log(long * g.k / 24)
		g.odds = g.usual * (math.Exp(-x*x/(2*0.25*0.25)) + 1e-4*math.Exp(-x*x/2))
		if apart > 0 {
			x = math.Log(apart * g.k / 63)
			g.odds *= math.Exp(-x*x/(2*0.25*0.25)) + 1e-4*math.Exp(-x*x/2)
		}
		sum += g.odds
	}
	for i := range list {
		list[i].odds /= max(sum, 1e-300)
	}
	slices.SortStableFunc(list, func(a, b guess) int { return cmp.Compare(b.odds, a.odds) })
	return list
}

// turnKeys returns the transform of an object that brings a rotation and a move: turns about x, then y, then z.
func turnKeys(m geom.Affine, move geom.Vec, scale float64) string {
	// R = Rz Ry Rx, so its last row is (-sin y, cos y sin x, cos y cos x).
	y := math.Asin(max(-1, min(1, -m.M[2].X)))
	x, z := math.Atan2(m.M[2].Y, m.M[2].Z), math.Atan2(m.M[1].X, m.M[0].X)
	if math.Abs(m.M[2].X) > 1-1e-12 {
		x, z = math.Atan2(-m.M[1].Z, m.M[1].Y), 0
	}
	var keys []string
	clean := func(v float64) float64 { return math.Round(v*1e6)/1e6 + 0 }
	if t := (geom.Vec{X: clean(move.X), Y: clean(move.Y), Z: clean(move.Z)}); t != (geom.Vec{}) {
		keys = append(keys, fmt.Sprintf("translate: [%.7g, %.7g, %.7g]", t.X, t.Y, t.Z))
	}
	if a := (geom.Vec{X: clean(geom.Degrees(x)), Y: clean(geom.Degrees(y)), Z: clean(geom.Degrees(z))}); a != (geom.Vec{}) {
		keys = append(keys, fmt.Sprintf("rotate: [%.7g, %.7g, %.7g]", a.X, a.Y, a.Z))
	}
	if scale != 1 {
		keys = append(keys, fmt.Sprintf("scale: %.8g", scale))
	}
	return "{" + strings.Join(keys, ", ") + "}"
}
