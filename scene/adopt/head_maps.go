package adopt

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// laid is a picture that is laid on a mesh of a head.
type laid struct {
	kind string // colour, normal, height, opacity
	file string // with {tile} for a set
	look look
	down bool // green of a normal map points down
}

// plainWords say nothing of which mesh a name speaks of.
var plainWords = []string{"l", "r", "left", "right", "geo", "mesh", "node", "low", "high", "mat", "material", "map", "tex", "texture", "the", "of"}

// maps lays the pictures of a folder on the meshes beside the eyes, by their names, and returns those that are not the eyes'.
func (h *Head) maps(in Input) (taken map[string]bool, err error) {
	if in.Folder == "" {
		return nil, nil
	}
	files, err := pictures(in.Folder)
	if err != nil {
		return nil, err
	}
	taken = map[string]bool{}
	for _, c := range in.Names.candidates(in.Folder, files) {
		base := filepath.Base(c.file)
		words := pieces(strings.TrimSuffix(base, filepath.Ext(base)))
		items := h.spokenOf(words)
		if len(items) == 0 && len(c.label.parts) > 0 {
			continue // an eye's
		}
		for _, f := range files {
			if f == c.first || c.tiles > 0 && in.Names.read(f).tile != 0 && strings.HasPrefix(f, strings.Split(c.file, "{tile}")[0]) {
				taken[f] = true
			}
		}
		f := Finding{Topic: "map", Choice: LeftOut, Grade: Unsure, File: c.first}
		kind := ""
		for _, k := range c.label.kinds {
			if slices.Contains([]string{"colour", "normal", "height", "opacity"}, k) {
				kind = k
			}
		}
		switch {
		case len(items) == 0:
			f.Reason = "its name speaks of no mesh of the head and of no part of an eye"
		case len(c.label.kinds) != 1 || kind == "":
			f.Reason = fmt.Sprintf("its name says %s: no key of a mesh takes it", strings.Join(append(c.label.kinds, map[bool][]string{true: {"no kind of map"}}[len(c.label.kinds) == 0]...), " and "))
		case items[0].Mesh.UV == nil:
			f.Grade, f.Reason = Question, fmt.Sprintf("mesh %q has no texture coordinates to lay it on", items[0].Name)
		default:
			h.lay(c, kind, items, &f)
		}
		h.say(f)
	}
	return taken, nil
}

// lay lays a picture on meshes.
func (h *Head) lay(c candidate, kind string, items []*Item, f *Finding) {
	look, err := inspect(c.first)
	if err != nil {
		f.Grade, f.Reason = Question, "it can't be read: "+err.Error()
		return
	}
	q := laid{kind: kind, file: c.file, look: look}
	var names []string
	for _, it := range items {
		names = append(names, it.Name)
	}
	f.Topic, f.Grade = "map of "+quoted(names), Sure
	f.Choice = kind + ": " + filepath.Base(c.file)
	f.Reason = "by its name"
	switch kind {
	case "normal":
		if q.down = look.curl < -0.2; look.curl > -0.2 && look.curl < 0.2 {
			f.Grade = Unsure
			f.Reason += "; whether its green points up or down does not show; taken: up, as glTF has it"
		}
		if look.unit < 0.5 {
			f.Grade = Unsure
			f.Reason += fmt.Sprintf("; only %.0f %% of its texels are unit normals", 100*look.unit)
		}
	case "height":
		f.Grade = Unsure
		f.Reason += fmt.Sprintf("; its values run from %.3g to %.3g; how many mm that is, the file does not say: taken for 0.2", look.lo, look.hi)
		if look.stated {
			f.Grade, f.Reason = Sure, "by its name, and it states its own scale"
		}
	}
	for _, it := range items {
		if k := slices.IndexFunc(it.maps, func(o laid) bool { return o.kind == kind }); k >= 0 {
			f.Grade, f.Choice = Question, LeftOut
			f.Reason = fmt.Sprintf("two pictures for one role: %s is laid there already", filepath.Base(it.maps[k].file))
			return
		}
	}
	for _, it := range items {
		it.maps = append(it.maps, q)
	}
}

// spokenOf returns the meshes that a name speaks of: those whose own names share most words with it, else those of the kind that it says.
func (h *Head) spokenOf(words []string) (out []*Item) {
	best := 0
	for i := range h.Items {
		it := &h.Items[i]
		if !it.Uses {
			continue
		}
		score := 0
		for _, w := range words {
			if slices.Contains(plainWords, w) || strings.Trim(w, "0123456789") == "" {
				continue
			}
			if slices.Contains(pieces(it.Part.Name), w) || slices.Contains(pieces(it.Part.Material), w) {
				score += 2
			} else if slices.Contains(kindWords[it.Kind], w) {
				score++
			}
		}
		switch {
		case score == 0 || score < best:
		case score > best:
			best, out = score, []*Item{it}
		default:
			out = append(out, it)
		}
	}
	return out
}

// mapKeys are the keys of a mesh's material, and of the mesh, for the pictures that are laid on it.
func (it *Item) mapKeys(w *writer) (material string, opacity string) {
	for _, q := range it.maps {
		switch q.kind {
		case "colour":
			material += fmt.Sprintf(", colour: {file: %s}", w.rel(q.file))
		case "normal":
			material += fmt.Sprintf(", normal: {file: %s, green: %s}", w.rel(q.file), map[bool]string{true: "down", false: "up"}[q.down])
		case "height":
			zero, scale := (q.look.lo+q.look.hi)/2, 0.2/max(1e-6, q.look.hi-q.look.lo)
			if q.look.stated {
				zero, scale = q.look.zero, q.look.scale
			}
			material += fmt.Sprintf(", height: {file: %s, zero_level: %.4g, scale: %.4g}", w.rel(q.file), zero, scale)
		case "opacity":
			opacity = fmt.Sprintf("    opacity_mask: {file: %s, blend: true}", w.rel(q.file))
		}
	}
	return material, opacity
}

// has says whether a kind of picture is laid on a mesh.
func (it *Item) has(kind string) bool {
	return slices.ContainsFunc(it.maps, func(q laid) bool { return q.kind == kind })
}
