package adopt

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/builtin"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/grown"
)

// grownReport looks for the report of a grown eye beside its maps, else beside the asset. It counts only where the asset is the
// file that it speaks of, to the last bit: an eye that was reshaped since is measured like any other.
func (in *Input) grownReport() error {
	dir := filepath.Dir(in.Asset)
	if in.Folder != "" {
		dir = in.Folder
	}
	path := filepath.Join(dir, grown.Name)
	r, err := grown.Read(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		in.Notes = append(in.Notes, fmt.Sprintf("left out: %v", err))
		return nil
	}
	m := r.Mesh(filepath.Base(in.Asset))
	if m == nil {
		in.Notes = append(in.Notes, fmt.Sprintf("%s: speaks of other shells; left out", path))
		return nil
	}
	sum, err := builtin.Hash(in.Asset)
	if err != nil {
		return err
	}
	if sum != m.Sum {
		in.Notes = append(in.Notes, fmt.Sprintf("%s: %s has changed since it was grown; it is measured afresh", path, m.File))
		return nil
	}
	in.Grown, in.grownDir = r, dir
	return nil
}

// knows fills in what the report tells and nobody else did.
func (in *Input) knows() {
	if in.Factor == 0 {
		in.Factor = 1
	}
	if in.Limbus == 0 {
		in.Limbus = in.Grown.Limbus * in.Factor
	}
	if !in.Metres && in.Unit == "" {
		in.Unit = "mm"
	}
}

// told takes the report's word for what was measured, where the file's lengths are as they were grown.
func (p *Proposal) told(in Input) {
	g := in.Grown
	by := "as " + grown.Name + " tells"
	sure := func(topic, choice string) {
		for i := range p.Findings {
			if f := &p.Findings[i]; f.Topic == topic {
				if choice != "" && f.Choice != choice {
					f.Reason = fmt.Sprintf("%s; measured: %s, %s", by, f.Choice, f.Reason)
					f.Choice = choice
				} else {
					f.Reason = strings.Replace(f.Reason, "as told", by, 1)
				}
				f.Grade, f.Word = Sure, Sure.String()
			}
		}
	}
	if in.Factor != 1 || in.Unit != "" && in.Unit != "mm" {
		return
	}
	p.Globe.Axis = geom.Vec{Z: 1}
	p.Globe.Radius = g.Globe
	p.Grown = g
	sure("axis", "(0, 0, 1)")
	sure("unit", "")
	sure("factor", "")
	sure("cornea", "")
	if in.Limbus == g.Limbus {
		p.Globe.Limbus = g.Limbus
		sure("limbus", "")
	}
	p.Verdict = fmt.Sprintf("the eye is %.4g mm long, as it was grown", p.Globe.Length)
}

// grownMaps fills slots with the pictures that the report tells of, and says of all others of its pictures why they are left out.
// known holds the paths of all.
func (in *Input) grownMaps(own map[string]string, say func(Finding)) (out []Mapped, known map[string]bool) {
	g := in.Grown
	known = map[string]bool{}
	for i := range g.Maps {
		m := &g.Maps[i]
		path := filepath.Join(in.grownDir, m.File)
		sum, err := builtin.Hash(path)
		if err != nil {
			if !errors.Is(err, fs.ErrNotExist) {
				say(Finding{Topic: "map", Grade: Question, Choice: "left out", File: path, Reason: err.Error()})
			}
			continue
		}
		known[path] = true
		changed := sum != m.Sum
		take := func(slot string, clamp bool) {
			f := Finding{Topic: slot, Choice: m.File, File: path, Reason: fmt.Sprintf("%s: %s", grown.Name, m.Holds)}
			if changed {
				f.Reason += "; changed since it was grown"
			}
			if g.Layout == "apart" {
				f.Grade = Unsure
				f.Reason += "; where the limbus blends, iris and white each look past the edge of their own map: it comes out some per cent darker than it was grown"
			}
			look, err := inspect(path)
			if err != nil {
				f.Grade, f.Choice, f.Reason = Question, "none", "it can't be read: "+err.Error()
				say(f)
				return
			}
			say(f)
			delete(own, slot)
			out = append(out, Mapped{Slot: slot, File: path, First: path, Look: look, Mid: 0.5, GreenDown: g.Green == "down", Clamp: clamp})
		}
		leave := func(grade Grade, reason string) {
			say(Finding{Topic: "map", Grade: grade, Choice: "left out", File: path, Reason: reason})
		}
		stem := strings.TrimSuffix(m.File, filepath.Ext(m.File))
		switch {
		case m.Kind == eye.Colour && g.Layout == "apart":
			slot := "sclera.colour"
			if strings.HasSuffix(stem, "_iris") {
				slot = "iris.colour"
			}
			take(slot, false)
		case m.Kind == eye.Colour:
			take("iris.colour", true)
			take("sclera.colour", true)
		case m.Kind == eye.Detail && g.Layout == "whole" && (changed || own["iris.normal"] == ""):
			take("iris.normal", true)
		case m.Kind == eye.Detail && g.Layout == "whole":
			leave(Sure, m.Holds+": the asset brings it")
		case (m.Kind == eye.Normal || m.Kind == eye.Height) && changed:
			leave(Question, m.Holds+"; it has changed since it was grown, but the shells show the relief as it was")
		case m.Kind == eye.Normal || m.Kind == eye.Height:
			leave(Sure, m.Holds+": the shells bring this relief already; laid on again it would count twice")
		case m.Kind == "wobble":
			leave(Sure, m.Holds+": a tile, no map of the eye; the shells' shape has a wobble already")
		default:
			leave(Sure, m.Holds+": no key of the scene takes it")
		}
	}
	return out, known
}

// grownKeys returns the lines of the keys that the report tells, of a part of the eye, or of the eye itself for "".
func (p *Proposal) grownKeys(part string) (out []string) {
	if p.Grown == nil {
		return nil
	}
	for _, k := range slices.Sorted(maps.Keys(p.Grown.Keys)) {
		head, key, ok := strings.Cut(k, ".")
		if !ok {
			head, key = "", k
		}
		if head == part {
			out = append(out, key+": "+p.Grown.Keys[k])
		}
	}
	return out
}

// grownSlot says whether the report tells a slot's value: the grown eye's own scene gave it.
func (p *Proposal) grownSlot(slot string) bool { return p.Grown != nil && p.Grown.Keys[slot] != "" }

// heightText returns the zero level and the scale that a height map's own file states.
func heightText(attrs map[string]string) (zero, scale float64, ok bool) {
	zero, err1 := strconv.ParseFloat(attrs[grown.ZeroText], 64)
	scale, err2 := strconv.ParseFloat(attrs[grown.ScaleText], 64)
	ok = err1 == nil && err2 == nil && zero >= -1e6 && zero <= 1e6 && scale >= -100 && scale <= 100
	return
}
