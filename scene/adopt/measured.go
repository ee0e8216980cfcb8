package adopt

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/measure"
)

// mm writes a measured length of k mm each, with its standard error and definition.
func mm(v measure.Value, k float64) string {
	if !v.Held {
		return fmt.Sprintf("%s: not held, %s", v.By, v.Why)
	}
	return fmt.Sprintf("%s: %.3g +- %.2g mm", v.By, v.V*k, v.SE*k)
}

// surely is the least probability that is called sure.
const surely = 0.95

// scale settles unit and factor, and says whether the size reads as an eye.
//
// Long: one verdict on the size after the other, each with its reason in words.
func (p *Proposal) scale(in Input, m *measure.Eye, say func(Finding)) error {
	length := m.Length.V
	unit := 1.0
	if !in.Metres {
		if in.Unit != "" {
			p.Unit = in.Unit
			if _, ok := asset.Unit(in.Unit); !ok {
				return fmt.Errorf("unit %q is none of mm, cm, m, inch", in.Unit)
			}
			say(Finding{Topic: "unit", Choice: p.Unit, Reason: "as told"})
		} else {
			var words []string
			var sizes []float64
			for _, u := range units {
				words, sizes = append(words, u.name), append(sizes, u.mm)
			}
			// With a factor that is told the unit is the one that it makes an eye with.
			l := length
			if in.Factor > 0 {
				l *= in.Factor
			}
			list := measure.Words(l, words, sizes)
			p.Unit = list[0].What
			f := Finding{Topic: "unit", Choice: p.Unit, Grade: Unsure, Reason: fmt.Sprintf("the format has no unit; %s or %s", list[0], list[1])}
			if best := list[0].Length; best < measure.UnitShort || best > measure.UnitLong {
				f.Reason += "; none makes it the size of an eye"
			}
			say(f)
		}
		unit = mmOf(p.Unit)
		length *= unit
	}
	f := Finding{Topic: "factor", Reason: fmt.Sprintf("the eye is %.4g mm long", length)}
	if m.Length.Held {
		f.Reason += fmt.Sprintf(" (+- %.2g)", m.Length.SE*unit)
	} else {
		f.Reason += ", but its length is not held: " + m.Length.Why
		f.Grade = Unsure
	}
	if p.Outer == "" {
		f.Grade = Unsure
		f.Reason += "; that is the inner shell's length: there is no outer one"
	} else if !m.Cornea.Radius.Held {
		f.Grade = Unsure
		f.Reason += "; where its front lies is not held, as its cornea is not"
	}
	if in.Factor > 0 {
		p.Factor = in.Factor
		p.Scale = unit * in.Factor
		length *= in.Factor
		f.Grade, f.Choice = Sure, fmt.Sprintf("%.6g", p.Factor)
		f.Reason = fmt.Sprintf("as told; it makes the eye %.4g mm long", length)
		p.Verdict = fmt.Sprintf("the eye is %.4g mm long with the factor that was told", length)
		if length < measure.UnitShort || length > measure.UnitLong {
			p.Verdict += fmt.Sprintf("; a factor of %.5g would make it 24 mm, a grown person's", in.Factor*24/length)
		}
		say(f)
		return nil
	}
	list := measure.Mistakes(length)
	switch best := list[0]; {
	case best.Factor != 1:
		p.Factor = best.Factor
		f.Grade = Unsure
		f.Reason += fmt.Sprintf(", and hardly an eye is: %s; or %s", best, list[1])
		p.Verdict = fmt.Sprintf("the eye is %.4g mm long: no eye's size; probably %s; factor %.6g makes it %.4g mm", length, best.What, best.Factor, best.Length)
	case length < measure.UnitShort || length > measure.UnitLong:
		f.Grade = Unsure
		f.Reason += fmt.Sprintf(", and hardly an eye is: %s; or %s; a factor of %.5g would make it 24 mm", best, list[1], 24/length)
		p.Verdict = fmt.Sprintf("the eye is %.4g mm long: no person's size; factor %.5g would make it 24 mm", length, 24/length)
	case length < measure.GrownShort+2*m.Length.SE*unit || length > measure.GrownLong-2*m.Length.SE*unit:
		// The unit may be right and the eye yet too big or too small: proposed, never done.
		f.Grade = Unsure
		f.Reason += fmt.Sprintf("; the unit is right to %.3g %%, but a grown person's eye is %g to %g mm: a factor of %.5g would make it 24 mm", 100*best.Odds, measure.GrownShort, measure.GrownLong, 24/length)
		p.Verdict = fmt.Sprintf("the eye is %.4g mm long: possible, but a grown person's is %g to %g; factor %.5g would make it 24 mm", length, measure.GrownShort, measure.GrownLong, 24/length)
	default:
		if best.Odds < surely {
			f.Grade = Unsure
			f.Reason += fmt.Sprintf("; %s; or %s", best, list[1])
		}
		p.Verdict = fmt.Sprintf("the eye is %.4g mm long (grown people's: %g to %g): it reads as an eye", length, measure.GrownShort, measure.GrownLong)
	}
	p.Scale = unit * p.Factor
	f.Choice = fmt.Sprintf("%.6g", p.Factor)
	say(f)
	return nil
}

// axis says where the optical axis is from, and how sure it is.
func (p *Proposal) axis(e *eyeball, say func(Finding)) {
	m := p.Eye
	f := Finding{Topic: "axis", Choice: fmt.Sprintf("(%.4f, %.4f, %.4f)", m.Frame.N.X, m.Frame.N.Y, m.Frame.N.Z), Grade: Unsure, Reason: m.Axis.By}
	switch {
	case !m.Axis.Held:
		f.Reason += "; " + m.Axis.Why
		if m.Bulge < 0.01 {
			f.Reason += "; nothing stands out of the sphere and nothing is symmetric"
		}
	case m.Tilt.Held:
		f.Reason += fmt.Sprintf(", to %.2g degrees; the cornea's and the iris' are %.2g +- %.1g degrees apart", m.Axis.V, m.Tilt.V, m.Tilt.SE)
		if !m.AxisAgrees {
			f.Reason += ": the cornea or the iris is tilted"
		} else if m.Axis.V < 1 {
			f.Grade = Sure
		}
	default:
		f.Reason += fmt.Sprintf(", to %.2g degrees; there is no second measure of it", m.Axis.V)
	}
	say(f)
}

// cornea says what conic the cornea is.
func (p *Proposal) cornea(say func(Finding)) {
	m := p.Eye
	if p.Outer == "" {
		return
	}
	c := &m.Cornea
	f := Finding{Topic: "cornea"}
	if !c.Radius.Held {
		f.Grade, f.Choice, f.Reason = Unsure, "not held", c.Radius.By+": "+c.Radius.Why
		say(f)
		return
	}
	f.Choice = fmt.Sprintf("apical radius %.3g +- %.2g mm", c.Radius.V*p.Scale, c.Radius.SE*p.Scale)
	if c.Q.Held {
		f.Choice += fmt.Sprintf(", asphericity %.2f +- %.2f", c.Q.V, c.Q.SE)
	} else {
		f.Grade = Unsure
		f.Choice += ", asphericity not held (" + c.Q.Why + ")"
	}
	f.Reason = fmt.Sprintf("conic through %d vertices within %.3g mm of the axis; people's: about 7.8 and -0.26", c.Radius.N, c.Aperture*p.Scale)
	if !c.Steady {
		f.Grade = Unsure
		f.Reason += "; a smaller cap says otherwise: it is no conic"
	}
	if s := m.Shape(); s != "" {
		f.Reason += "; stylised: " + s
	}
	say(f)
}

// limbus says where the limbus lies, by which definitions.
func (p *Proposal) limbus(say func(Finding)) {
	m := p.Eye
	f := Finding{Topic: "limbus", Choice: fmt.Sprintf("radius %.3g mm", p.Globe.Limbus), Grade: Unsure}
	var held, not []string
	for _, v := range []measure.Value{m.Root, m.Iris, m.Edge} {
		if v.Held {
			held = append(held, mm(v, p.Scale))
		} else if v.Why != "there is no picture" {
			not = append(not, mm(v, p.Scale))
		}
	}
	switch {
	case m.Limbus.By == "as told":
		f.Grade, f.Reason = Sure, "as told"
		if len(held) > 0 {
			f.Reason += "; measured: " + strings.Join(held, "; ")
		}
	case !m.Limbus.Held:
		f.Reason = m.Limbus.Why + "; " + m.Limbus.By
	case m.LimbusAgrees:
		f.Reason = strings.Join(held, "; ") + "; they agree"
		if m.Limbus.SE < 0.05*m.Limbus.V && p.scaleSound() {
			f.Grade = Sure
		}
	case len(held) > 1:
		f.Reason = strings.Join(held, "; ") + "; they disagree; taken: " + mm(m.Limbus, p.Scale)
	default:
		f.Reason = strings.Join(held, "; ") + "; there is no second measure of it"
	}
	if len(not) > 0 && m.Limbus.By != "as told" {
		f.Reason += "; " + strings.Join(not, "; ")
	}
	say(f)
}

// scaleSound says whether the size that lengths in mm rest on is beyond doubt.
func (p *Proposal) scaleSound() bool {
	for _, f := range p.Findings {
		if (f.Topic == "factor" || f.Topic == "unit") && f.Grade != Sure {
			return false
		}
	}
	return true
}

// pupil says what pupil there is. It stays as modelled unless another size is asked for.
func (p *Proposal) pupil(in Input, say func(Finding)) {
	m, k := p.Eye, p.Scale
	pu := &m.Hole
	f := Finding{Topic: "pupil"}
	if !pu.Open {
		f.Grade, f.Choice = Unsure, "none found"
		f.Reason = fmt.Sprintf("the inner shell has no hole within the limbus, %.3g mm about the axis: a closed pupil", p.Globe.Limbus)
		if m.DarkPupil.Held {
			f.Choice = fmt.Sprintf("painted, %.3g mm across", 2*m.DarkPupil.V*k)
			f.Reason += ", painted: " + mm(m.DarkPupil, k)
		} else {
			f.Reason += ", or a painted one"
		}
		if in.Pupil > 0 {
			f.Grade = Question
			f.Reason += fmt.Sprintf("; it can't be warped to %.3g mm", in.Pupil)
		}
		say(f)
		return
	}
	shape := "round"
	if pu.Long > 1.6 {
		shape = map[bool]string{true: "a vertical slit", false: "a horizontal bar"}[pu.Upright]
	}
	aside := math.Hypot(pu.Offset[0], pu.Offset[1])
	f.Choice = fmt.Sprintf("%s, %.3g +- %.1g mm across", shape, 2*pu.Radius*k, 2*m.Pupil.SE*k)
	f.Reason = fmt.Sprintf("a hole in the inner shell, %.2g mm from the axis", aside*k)
	if p.Outer != "" {
		f.Reason += fmt.Sprintf("; its edge lies %.3g mm behind the front of the cornea", (m.Apex-pu.Lip)*k)
	}
	doubt := func(format string, a ...any) {
		f.Grade = Unsure
		f.Reason += "; " + fmt.Sprintf(format, a...)
	}
	if aside > 0.06*m.Globe.Radius.V {
		doubt("it lies off the middle: people's lies within 0.6 mm of the axis")
	}
	if m.Pupil.SE > 0.02*m.Pupil.V {
		doubt("its edge is ragged")
	}
	if !m.PupilSteady {
		doubt("how wide it is changes with how much of the shell is looked at")
	}
	if !m.Limbus.Held {
		doubt("where the iris ends is a guess")
	}
	if p.Outer != "" && m.Apex < pu.Lip {
		doubt("it lies in front of the cornea")
	}
	if !p.scaleSound() {
		doubt("its size in mm is as unsure as the eye's")
	}
	if in.Pupil > 0 {
		p.Wanted = in.Pupil
		f.Reason += fmt.Sprintf("; warped to %.3g mm as told, tissue and maps with it", p.Wanted)
	} else {
		f.Reason += "; left as modelled (--pupil MM warps it)"
	}
	say(f)
}

// gap says how far the shells lie apart outside the limbus. It stays as modelled unless closing is asked for.
func (p *Proposal) gap(in Input, say func(Finding)) {
	g := p.Eye.Gap
	p.CloseGap = in.CloseGap || p.Inner == "" // the built-in inner shell is no artist's
	if p.Inner == "" || p.Outer == "" {
		return
	}
	f := Finding{Topic: "gap", Choice: "left as modelled (--close-gap lays the inner shell close beneath the outer)"}
	if in.CloseGap {
		f.Choice = "closed outside the limbus, as told"
	}
	f.Reason = mm(g, p.Scale)
	if !g.Held || g.V < 0 {
		f.Grade = Unsure
	}
	say(f)
}

// coordinates says what is odd about a shell's texture coordinates.
func (p *Proposal) coordinates(q *piece, inner bool, say func(Finding)) {
	m := p.Eye
	reach := 1.3 * m.Limbus.V
	c := measure.Texture(q.mesh, func(at, n geom.Vec) bool {
		v := m.Frame.Local(at.Sub(m.Centre))
		return v.Z > 0 && math.Hypot(v.X, v.Y) < reach && n.Dot(m.Frame.N) > 0.3
	})
	odd := func(choice, reason string, a ...any) {
		say(Finding{Topic: "texture coordinates", Grade: Unsure, Choice: fmt.Sprintf("%q: %s", q.name, choice), Reason: fmt.Sprintf(reason, a...)})
	}
	switch {
	case c.None:
		odd("none", "pictures can't be laid on it")
		return
	case c.Lost > 0:
		odd("broken", "%d of them are no numbers", c.Lost)
		return
	case c.Empty > 0.5:
		odd("of no area", "%.0f %% of its front has all its coordinates in one point or line: a scale of zero?", 100*c.Empty)
		return
	}
	if c.Mirrored > 0.9 {
		odd("mirrored", "seen from outside, a picture laid on its front reads from right to left")
	} else if c.Mirrored > 0.1 {
		odd("mirrored in part", "%.0f %% of its front shows the picture from right to left", 100*c.Mirrored)
	}
	if c.Stretch > 3 {
		odd("stretched", "a square picture is drawn out %.2g to 1 on its front, in the median", c.Stretch)
	}
}

// Fit takes back what the renderer does not accept of a proposal, and says why: the wanted pupil, or a map, or all of
// them. try says what is wrong with a proposal, nil for nothing. The error is that of a proposal which has none of these and
// still is not accepted.
func (p *Proposal) Fit(try func(*Proposal) error) error {
	why := try(p)
	if why == nil {
		return nil
	}
	without := func(pupil bool, drop func(m Mapped) bool) *Proposal {
		q := *p
		q.Findings = slices.Clone(p.Findings)
		refuse := func(f Finding) {
			f.Grade, f.Word, f.Reason = Question, Question.String(), "the renderer refuses it: "+why.Error()
			q.Findings = append(q.Findings, f)
		}
		if pupil && p.Wanted > 0 {
			q.Wanted = 0
			refuse(Finding{Topic: "pupil", Choice: fmt.Sprintf("not warped to %.3g mm; left as modelled", p.Wanted)})
		}
		q.Maps = nil
		for _, m := range p.Maps {
			if !drop(m) {
				q.Maps = append(q.Maps, m)
				continue
			}
			refuse(Finding{Topic: m.Slot, Choice: "left out", File: m.First})
		}
		return &q
	}
	none := func(Mapped) bool { return false }
	var ways []*Proposal
	if p.Wanted > 0 {
		ways = append(ways, without(true, none))
	}
	for _, m := range p.Maps {
		ways = append(ways, without(false, func(o Mapped) bool { return o == m }))
	}
	ways = append(ways, without(true, func(Mapped) bool { return true }))
	var last error
	for _, q := range ways {
		if last = try(q); last == nil {
			*p = *q
			return nil
		}
	}
	return last
}
