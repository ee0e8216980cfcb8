package adopt

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
)

// Lights of a scene that was adopted; a draft turns one of them on.
var Lights = []string{"window", "grazing", "overcast"}

// Scene returns the text of a scene file for the folder dir. Each guess stands there with its reason; what is not sure
// is marked UNSURE, what the built-in eye lends BORROWED, what is left open QUESTION.
func (p *Proposal) Scene(in Input, dir string) string {
	w := &writer{dir: dir}
	name := strings.TrimSuffix(filepath.Base(in.Asset), filepath.Ext(in.Asset))
	R := p.Globe.Radius
	w.line("# Proposed for %s. Lines marked UNSURE, BORROWED or QUESTION want a look; %s.", filepath.Base(in.Asset), p.Verdict)
	w.line("about: %s", strconv.Quote("An adopted eye: "+name+"."))
	w.line("picture: {width: 512, height: 512, samples: 64}")
	w.line("camera: # a pinhole one metre away, off the axis so that the cornea stands out; the globe fills three quarters of the picture")
	w.line("  target: [0, 0, %.4g]", R/3)
	w.line("  orbit: {azimuth: 30, elevation: 4, distance: 1000}")
	w.line("  focal_length: %.4g", 36*1000/(2*R/0.75))
	w.lights()
	w.line("objects:")
	p.eyeObject(w, in, "eye", "")
	return w.String()
}

// writer writes a scene file line by line.
type writer struct {
	strings.Builder
	dir string // that it is for
}

func (w *writer) line(format string, a ...any) { fmt.Fprintf(&w.Builder, format+"\n", a...) }

// rel names a file as the scene does.
func (w *writer) rel(file string) string {
	from, err1 := filepath.Abs(w.dir)
	to, err2 := filepath.Abs(file)
	if r, err := filepath.Rel(from, to); err1 == nil && err2 == nil && err == nil {
		return strconv.Quote(filepath.ToSlash(r))
	}
	return strconv.Quote(file)
}

// why writes the findings of topics as comments.
func (w *writer) why(list []Finding, indent string, topics ...string) {
	for _, t := range topics {
		for _, f := range list {
			if f.Topic != t {
				continue
			}
			tag := ""
			if f.Grade != Sure {
				tag = strings.ToUpper(f.Grade.String()) + ": "
			}
			w.line("%s# %s%s: %s; %s", indent, tag, f.Topic, f.Choice, f.Reason)
		}
	}
}

// lights writes how the picture is shown and the sets of lights, of which one shines.
func (w *writer) lights() {
	w.line("view: {exposure: -0.1, white: 1.4, glare: {}, background: gradient, background_colour: [0.035, 0.035, 0.04]}")
	w.line("lights: # turn one set on at a time")
	w.line("  - {name: window, kind: rectangle, orbit: {azimuth: -28, elevation: 26, distance: 2450}, width: 500, height: 510, panes: [2, 3], bar: 32, radiance: [56, 54.9, 52.9], profile: {core: 1.7, edge: 0.8, sky: 0.6, horizon: 0.14, curtain: 0.08}}")
	w.line("  - {name: room, kind: environment, file: builtin:cottage-room-unlit, rotation: -28, ev: 2.9}")
	w.line("  - {name: grazing, \"on\": false, kind: disc, orbit: {azimuth: 68, elevation: 12, distance: 700}, radius: 30, radiance: [620, 600, 570]}")
	w.line("  - {name: overcast, \"on\": false, kind: constant, radiance: [1, 1, 1]}")
}

// eyeObject writes the object of an eye; transform, where not "", is its place.
//
// Long: a block written key by key in its order.
func (p *Proposal) eyeObject(w *writer, in Input, name, transform string) {
	line, rel := w.line, w.rel
	why := func(indent string, topics ...string) { w.why(p.Findings, indent, topics...) }
	R := p.Globe.Radius
	line("  - name: %s", name)
	line("    shape: eye")
	if transform != "" {
		line("    transform: %s", transform)
	}
	why("    ", "side", "pair", "globe", "other meshes", "scale", "duplicates", "winding", "normals", "edges", "texture coordinates")
	line("    asset:")
	line("      file: %s", rel(in.Asset))
	why("      ", "shells", "inner shell")
	if p.Outer != "" {
		line("      outer: %s", strconv.Quote(p.Outer))
	}
	if p.Inner != "" {
		line("      inner: %s", strconv.Quote(p.Inner))
	}
	if !in.Metres {
		why("      ", "unit")
		line("      unit: %s", p.Unit)
	}
	why("      ", "factor")
	line("      factor: %.8g", p.Factor)
	why("      ", "axis")
	line("      axis: [%.6f, %.6f, %.6f]", p.Globe.Axis.X, p.Globe.Axis.Y, p.Globe.Axis.Z)
	if p.Grown != nil {
		line("      subdivide: 0 # grown shells are as fine as they were built")
	}
	why("      ", "gap")
	line("      close_gap: %t", p.CloseGap)
	if len(p.Borrowed()) > 0 {
		line("      borrow: true # of what is missing, the built-in eye's")
	}
	if p.Grown != nil {
		line("    globe: {radius: %.10g}", R)
		line("    side: %s", p.Side)
		for _, k := range p.grownKeys("") {
			if !strings.HasPrefix(k, "side:") {
				line("    %s", k)
			}
		}
	} else {
		line("    globe: {radius: %.4g}", R)
		if transform != "" && p.Side != "" {
			line("    side: %s", p.Side)
		}
	}
	why("    ", "cornea", "limbus")
	if p.Grown != nil {
		line("    limbus: {radius: %.10g, width: %.10g, reach: %.10g}", p.Globe.Limbus, p.Grown.Width, p.Grown.Reach)
	} else {
		line("    limbus: {radius: %.4g, width: %.3g}", p.Globe.Limbus, max(0.3, 0.1*R))
	}
	p.partKeys("cornea", line, why, rel)
	p.partKeys("iris", line, why, rel)
	p.partKeys("sclera", line, why, rel)
}

// partKeys writes the maps of a part of the eye with their reasons; line, why and rel are those of Scene.
func (p *Proposal) partKeys(part string, line func(format string, a ...any), why func(indent string, topics ...string), rel func(file string) string) {
	var maps []Mapped
	for _, m := range p.Maps {
		if strings.HasPrefix(m.Slot, part+".") && !p.grownSlot(m.Slot) {
			maps = append(maps, m)
		}
	}
	topics := []string{part + ".colour", part + ".normal", part + ".height"}
	said := false
	for _, f := range p.Findings {
		for _, t := range topics {
			said = said || f.Topic == t
		}
	}
	pupil := part == "iris"
	keys := p.grownKeys(part)
	if !said && !pupil && len(keys) == 0 {
		return
	}
	if len(keys) == 0 && len(maps) == 0 && !(pupil && p.Wanted > 0) {
		if pupil {
			why("    ", "pupil")
		}
		why("    ", topics...)
		return
	}
	line("    %s:", part)
	if pupil {
		why("      ", "pupil")
		if p.Wanted > 0 {
			line("      pupil: %.3g", p.Wanted)
		}
	}
	why("      ", topics...)
	for _, k := range keys {
		line("      %s", k)
	}
	for _, m := range maps {
		k := strings.TrimPrefix(m.Slot, part+".")
		tiling := ""
		if m.Clamp {
			tiling = ", tiling: clamp"
		}
		switch k {
		case "normal":
			green := "up"
			if m.GreenDown {
				green = "down"
			}
			line("      normal: {file: %s, green: %s%s}", rel(m.File), green, tiling)
		case "height":
			line("      height: {file: %s, zero_level: %.4g, scale: %.3g%s}", rel(m.File), m.Mid, heightScale(part, m), tiling)
		default:
			on := ""
			if m.Shell != "" {
				on = ", shell: " + m.Shell
			}
			line("      %s: {file: %s%s%s}", k, rel(m.File), on, tiling)
		}
	}
}

// heightScale is the displacement in mm that a height map without a stated height is first taken to have: the relief
// of the iris (0.2 mm) or of the tear film (0.02 mm) over the map's own range. It is always marked unsure.
func heightScale(part string, m Mapped) float64 {
	if m.Scale != 0 {
		return m.Scale
	}
	relief := 0.2
	if part == "cornea" {
		relief = 0.02
	}
	if span := m.Look.hi - m.Look.lo; span > 0 && !math.IsInf(span, 0) {
		return min(2, relief/span)
	}
	return relief
}
