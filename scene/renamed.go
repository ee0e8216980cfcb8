package scene

import (
	"fmt"
	"io"
	"reflect"
	"strings"
)

// rename is one key of an older form of scene files. New is where its value stands now, as a path within the same block;
// a path that begins with ^ starts in the block around it. An empty path means that the keys below it stand in the block
// itself. Note says what else differs.
type rename struct {
	old, new, note string
}

// renames holds the old keys of each block of the description. A key that keeps its name does not appear.
var renames = map[reflect.Type][]rename{
	reflect.TypeFor[Description](): {
		{"film", "picture", ""}, {"trace", "advanced", ""}, {"rig", "light_setup", ""}, {"bodies", "objects", ""},
	},
	reflect.TypeFor[Picture](): {
		{"spp", "samples", ""}, {"filter_radius", "filter_width", "twice the radius"},
	},
	reflect.TypeFor[Camera](): {
		{"aim", "target", ""}, {"at", "position", ""}, {"focus", "focus_distance", ""},
	},
	reflect.TypeFor[View](): {
		{"transform", "tone_mapping", ""}, {"colour", "background_colour", ""}, {"edge", "background_edge", ""},
	},
	reflect.TypeFor[Advanced](): {{"effects", "^effects", ""}},
	reflect.TypeFor[Effects]():  {{"coat", "tear_film", ""}},
	reflect.TypeFor[Raster]():   {{"profile", "budget", ""}, {"samples", "coverage_samples", ""}},
	reflect.TypeFor[Card]():     {{"from", "direction", ""}},
	reflect.TypeFor[LightSetup](): {
		{"reveals", "shows", ""}, {"key", "key_direction", ""}, {"turn", "rotation", ""},
	},
	reflect.TypeFor[Light](): {
		{"at", "position", ""}, {"from", "orbit", ""}, {"toward", "target", ""}, {"seen", "camera_visible", ""},
	},
	reflect.TypeFor[Object](): {
		{"place", "transform", ""}, {"cutout", "opacity_mask", ""}, {"seen_by", "visibility", ""}, {"eye", "", ""},
	},
	reflect.TypeFor[Transform]():   {{"at", "translate", ""}},
	reflect.TypeFor[OpacityMask](): {{"level", "threshold", ""}, {"wrap", "tiling", ""}},
	reflect.TypeFor[Gaze]():        {{"look_at", "target", ""}},
	reflect.TypeFor[Material]():    {{"half_radius", "scatter_radius", ""}, {"scatter", "scattering", ""}},
	reflect.TypeFor[MapSpec]():     {{"wrap", "tiling", ""}},
	reflect.TypeFor[NormalMap]():   {{"wrap", "tiling", ""}},
	reflect.TypeFor[HeightMap]():   {{"wrap", "tiling", ""}, {"mid", "zero_level", ""}},
	reflect.TypeFor[Globe]():       {{"silhouette", "facet_error", ""}},
	reflect.TypeFor[Asset]():       {{"pupil", "^iris.pupil", ""}},
	reflect.TypeFor[Cornea](): {
		{"reflect_index", "reflection_index", ""}, {"cloud", "clouding", ""},
		{"sclera_roughness", "^sclera.roughness", ""}, {"sclera_wobble", "^sclera.wobble", ""},
	},
	reflect.TypeFor[Iris](): {
		{"melanin", "pigment", ""}, {"half_radius", "scatter_radius", ""}, {"scatter", "scattering", ""},
	},
	reflect.TypeFor[Sector](): {{"at", "angle", ""}},
	reflect.TypeFor[Sclera](): {
		{"white", "base_colour", ""}, {"generic", "tone_down", ""}, {"half_radius", "scatter_radius", ""}, {"scatter", "scattering", ""},
	},
	reflect.TypeFor[Lids](): {{"width", "outer", "with inner: each corner's distance from the middle of the eye; 0.41 and 0.59 of the width"}, {"rim", "margin", ""}, {"tears", "tear_line", ""}, {"detail", "facet_size", ""}},
	reflect.TypeFor[Skin](): {{"half_radius", "scatter_radius", ""}, {"scatter", "scattering", ""}},
	reflect.TypeFor[Lashes](): {
		{"upper", "upper_length", ""}, {"lower", "lower_length", ""}, {"colour", "eumelanin", "a pigment instead of a colour: 6 is nearly black, 1.3 brown, 0.3 fair"},
	},
}

// renamedWords holds old words of keys, by the key's new name.
var renamedWords = map[string]map[string]string{
	"filter": {"blackman-harris": "hann"},
}

// renamed returns what became of an old key of a block, or nil.
func (b *block) renamed(key string) *rename {
	for i, r := range renames[b.typ] {
		if r.old == key {
			return &renames[b.typ][i]
		}
	}
	return nil
}

// place returns the whole path of the new key, for a block at path.
func (r *rename) place(path string) string {
	switch up, ok := strings.CutPrefix(r.new, "^"); {
	case r.new == "":
		return path
	case ok:
		return join(path[:max(0, strings.LastIndexByte(path, '.'))], up)
	}
	return join(path, r.new)
}

// oldKey notes a key that has a new name, and goes on with what stands below it, so that everything old is told in one go.
func (d *decoder) oldKey(b *block, r *rename, e entry, path string) {
	at, note := r.place(path), ""
	if r.note != "" {
		note = " (" + r.note + ")"
	}
	if r.new == "" {
		d.add(e.at, join(path, e.key), "", "has gone: its keys stand in %s itself", path)
	} else {
		d.add(e.at, join(path, e.key), "", "is now %s%s", at, note)
	}
	below := b
	if r.new != "" {
		f := b.field(r.new)
		if f == nil || f.block == nil || f.kind != group && f.kind != blocks {
			return
		}
		below = f.block
		if f.kind == blocks && e.value.kind == listNode {
			for i, item := range e.value.items {
				label := fmt.Sprint(i)
				if name := item.get("name"); name != nil && validName(name.text) {
					label = name.text
				}
				d.oldKeys(below, item, at+"."+label)
			}
			return
		}
	}
	d.oldKeys(below, e.value, at)
}

// oldKeys notes the old keys of a block and of all below it, and nothing else.
func (d *decoder) oldKeys(b *block, n *node, path string) {
	for _, e := range n.list() {
		f := b.field(e.key)
		switch r := b.renamed(e.key); {
		case f == nil && r != nil:
			d.oldKey(b, r, e, path)
		case f != nil && f.block != nil && f.kind == group:
			d.oldKeys(f.block, e.value, join(path, e.key))
		case f != nil && f.kind == surfaceMap && e.value.kind == blockNode:
			d.oldKeys(f.block, e.value, join(path, e.key))
		}
	}
}

// OldNames writes the table of keys that had another name before, as Markdown.
func OldNames(w io.Writer) error {
	var s strings.Builder
	s.WriteString("| old key | new key | note |\n| --- | --- | --- |\n")
	var walk func(b *block, path string)
	walk = func(b *block, path string) {
		for _, r := range renames[b.typ] {
			where := r.place(path)
			if r.new == "" {
				where = path + " itself"
			}
			fmt.Fprintf(&s, "| `%s` | `%s` | %s |\n", join(path, r.old), where, r.note)
		}
		for _, f := range b.fields {
			switch f.kind {
			case group:
				walk(f.block, join(path, f.key))
			case blocks:
				walk(f.block, join(path, f.key)+".NAME")
			}
		}
	}
	walk(schema(), "")
	for _, r := range renames[reflect.TypeFor[MapSpec]()] {
		fmt.Fprintf(&s, "| `%s` of a map | `%s` | %s |\n", r.old, r.new, r.note)
	}
	for key, words := range renamedWords {
		for old, now := range words {
			fmt.Fprintf(&s, "| word `%s` of `%s` | `%s` | |\n", old, key, now)
		}
	}
	_, err := io.WriteString(w, s.String())
	return err
}
