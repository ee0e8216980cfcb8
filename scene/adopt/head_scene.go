package adopt

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/shells"
)

// order is how the kinds follow each other in a scene: of flesh that overlaps, what comes first takes precedence.
var order = []Kind{Corner, Lids, Skin, Tears, Lashes, Brows, Other}

// Scene returns the text of a scene file for the folder dir: the eyes with their shells in their places, all else as meshes with the
// file's own pictures. Each guess stands there with its reason.
func (h *Head) Scene(in Input, dir string) string {
	w := &writer{dir: dir}
	name := strings.TrimSuffix(filepath.Base(in.Asset), filepath.Ext(in.Asset))
	w.line("# Proposed for %s. Lines marked UNSURE, BORROWED or QUESTION want a look; %s.", filepath.Base(in.Asset), h.Verdict)
	w.line("# The origin lies half-way between the eyes; +X is to the person's left, +Y up, +Z out of the face; lengths in mm.")
	w.line("about: %s", strconv.Quote("An adopted head: "+name+"."))
	w.line("picture: {width: 640, height: 400, samples: 64, denoise: true}")
	wide := 2.4 * h.Apart
	if h.Apart == 0 {
		wide = 7 * h.Eyes[0].Radius
	}
	const far = 900
	w.line("camera: # a pinhole straight before the eyes")
	w.line("  target: [0, 0, %.4g]", h.Eyes[0].Radius)
	w.line("  orbit: {azimuth: 0, elevation: 0, distance: %d}", far)
	w.line("  focal_length: %.4g", 36*far/wide)
	w.lights()
	w.why(h.Findings, "", "eyes", "front", "up", "sides", "unit", "size of the eyes", "blink", "other meshes", "seating")
	w.line("objects:")
	for i := range h.Eyes {
		e := &h.Eyes[i]
		w.why(h.Findings, "  ", e.Side+" eye: seating")
		if to, ok := h.Seated(e); ok {
			w.line("  # it would sit best with translate: [%.5g, %.5g, %.5g]", to.X, to.Y, to.Z)
		}
		rot, at := h.placeOf(e)
		e.Eye.eyeObject(w, e.Input, h.EyeName(e), turnKeys(rot, at, 1))
	}
	for _, k := range order {
		for i := range h.Items {
			if it := &h.Items[i]; it.Kind == k && it.Uses {
				h.object(w, in, it)
			}
		}
	}
	return w.String()
}

// EyeName is the name of an eye's object.
func (h *Head) EyeName(e *Socketed) string {
	if e.Side == "" {
		return "eye"
	}
	return e.Side + "_eye"
}

// Seated returns the translate of an eye's object that seats it best, and whether that is another than the file's.
func (h *Head) Seated(e *Socketed) (geom.Vec, bool) {
	if e.Seat == nil || e.Seat.Move == (geom.Vec{}) {
		return geom.Vec{}, false
	}
	_, at := h.placeOf(e)
	return at.Add(e.Seat.Move), true
}

// placeOf returns the place of an eye's object: its shells are brought to the globe's centre and the optical axis to +Z when they
// are taken from the file, and this brings them back to where they were.
func (h *Head) placeOf(e *Socketed) (rot geom.Affine, at geom.Vec) {
	p := e.Eye
	turn, err := shells.Frame(p.Globe.Axis)
	if err != nil {
		return geom.Identity(), e.Centre
	}
	var taken [2]*mesh.Mesh
	var first geom.Vec
	var lead *mesh.Mesh
	for k, name := range []string{p.Outer, p.Inner} {
		for i := range e.Input.Parts {
			if q := &e.Input.Parts[i]; q.Name == name && name != "" {
				m := &mesh.Mesh{P: slices.Clone(q.Mesh.P), Tri: q.Mesh.Tri}
				for j := range m.P {
					m.P[j] = turn.Vector(m.P[j].Mul(h.Scale))
				}
				taken[k] = m
				if lead == nil {
					lead, first = m, m.P[0]
				}
			}
		}
	}
	if lead == nil {
		return geom.Identity(), e.Centre
	}
	shells.Centre(taken[0], taken[1], p.Globe.Limbus+max(0.3, 0.1*p.Globe.Radius)/2)
	o := first.Sub(lead.P[0])
	back := turn.Inverse()
	return back.Then(h.Turn), h.Turn.Vector(back.Vector(o).Sub(h.Middle.Mul(h.Scale)))
}

// Looks of what a file says nothing of. Colours, radii and roughness: our own, by eye; the radii are those of the built lids.
var (
	skinColour   = colour.RGB{0.45, 0.295, 0.225}
	skinRadius   = colour.RGB{0.7, 0.35, 0.22}
	cornerColour = colour.RGB{0.50, 0.27, 0.24}
	hairColour   = colour.RGB{0.022, 0.015, 0.011}
)

// says reports whether a file's material gives a colour: a name, and not the plain white that files have who say nothing.
func says(m *asset.Material) bool {
	return m.Name != "" && (m.BaseMap != nil || m.BaseColour != colour.Grey(1))
}

// object writes a mesh.
func (h *Head) object(w *writer, in Input, it *Item) {
	w.why(h.Findings, "  ", fmt.Sprintf("mesh %q", it.Name))
	for _, f := range h.Findings {
		if strings.HasPrefix(f.Topic, "map of ") && strings.Contains(f.Topic, strconv.Quote(it.Name)) {
			w.why([]Finding{f}, "  ", f.Topic)
		}
	}
	w.line("  - name: %s", strconv.Quote(h.objectName(it)))
	w.line("    shape: mesh")
	w.line("    file: %s", w.rel(in.Asset))
	if !in.Metres {
		w.line("    unit: %s", h.Unit)
	}
	w.line("    node: %s", strconv.Quote(it.Name))
	factor := h.Scale
	if !in.Metres {
		factor = h.Scale / mmOf(h.Unit)
	}
	w.line("    transform: %s", turnKeys(h.Turn, h.Turn.Vector(h.Middle.Mul(-h.Scale)), factor))
	if it.Close {
		w.line("    close: true # caps over its holes, so that light that scatters within stays there")
	}
	own := says(&it.Part.Look)
	laidOn, opacity := it.mapKeys(w)
	if opacity != "" {
		w.line("%s", opacity)
	}
	col := func(c colour.RGB) string {
		if own || it.has("colour") {
			return laidOn
		}
		w.line("    # BORROWED: colour: our own; the file's material gives none")
		return fmt.Sprintf(", colour: [%.3g, %.3g, %.3g]", c[0], c[1], c[2]) + laidOn
	}
	scatter := ""
	if it.Open != "" {
		scatter = ", scattering: false"
		if it.Kind == Skin || it.Kind == Lids || it.Kind == Corner {
			w.line("    # UNSURE: scattering: off; %s, so it encloses no volume", it.Open)
		}
	}
	file := ""
	if it.Part.Look.Name != "" {
		file = ", from_file: true"
	}
	rough := func(r float64) string {
		if it.Part.Look.RoughMap == nil && (it.Part.Look.Name == "" || it.Part.Look.Roughness >= 0.95 || it.Part.Look.Roughness < 0.05) {
			return fmt.Sprintf(", roughness: %.2g", r)
		}
		return ""
	}
	switch it.Kind {
	case Skin, Lids:
		w.line("    material: {kind: tissue%s%s, index: 1.4%s, scatter_radius: [%g, %g, %g]%s}", file, col(skinColour), rough(0.48), skinRadius[0], skinRadius[1], skinRadius[2], scatter)
	case Corner:
		w.line("    material: {kind: tissue%s%s, index: 1.336%s, scatter_radius: [%.2g, %.2g, %.2g]%s}", file, col(cornerColour), rough(0.25), 0.7*skinRadius[0], 0.7*skinRadius[1], 0.7*skinRadius[2], scatter)
	case Tears:
		w.line("    material: {kind: tears, index: 1.336}")
	case Lashes, Brows:
		if it.Part.Look.AlphaMode != asset.Opaque || it.has("opacity") {
			w.line("    material: {kind: diffuse%s%s}", file, col(hairColour))
		} else {
			w.line("    material: {kind: tissue, scattering: false%s%s, index: 1.55%s}", file, col(hairColour), rough(0.5))
		}
	default:
		w.line("    material: {kind: diffuse%s%s}", file, col(colour.Grey(0.4)))
	}
}

// mostName is the most signs that an object's name has.
const mostName = 64

// objectName is an item's node as the name of an object: a letter, then letters, digits, - and _, and unlike all others.
func (h *Head) objectName(it *Item) string {
	used := map[string]bool{}
	for i := range h.Eyes {
		used[h.EyeName(&h.Eyes[i])] = true
	}
	for i := range h.Items {
		q := &h.Items[i]
		name := strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
				return r
			}
			return '_'
		}, q.Name)
		if c := name[:min(1, len(name))]; strings.Trim(c, "0123456789-_") == "" {
			name = "mesh_" + name
		}
		name = name[:min(len(name), mostName-6)]
		base := name
		for k := 2; used[name]; k++ {
			name = fmt.Sprintf("%s_%d", base, k)
		}
		used[name] = true
		if q == it {
			return name
		}
	}
	return "mesh"
}

// Page writes the list of findings as one page that needs nothing but the drafts beside it.
func (h *Head) Page(w io.Writer, in Input, drafts []Draft) error {
	p := Proposal{Findings: h.Findings, Verdict: h.Verdict}
	return p.Page(w, in, drafts)
}
