package adopt

import (
	"cmp"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// Limits of a folder of maps.
const (
	maxMapFiles = 2000
	maxMapDepth = 4
)

// MapEndings are the pictures that are looked at.
var MapEndings = []string{".png", ".jpg", ".jpeg", ".tif", ".tiff", ".hdr", ".exr", ".pfm"}

// pictures lists the pictures in a folder and its folders, sorted. Links are not followed.
func pictures(folder string) ([]string, error) {
	var out []string
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			rel, err := filepath.Rel(folder, path)
			if err == nil && (strings.Count(rel, string(filepath.Separator)) >= maxMapDepth || rel != "." && strings.HasPrefix(d.Name(), ".")) {
				return filepath.SkipDir
			}
			return nil
		}
		if d.Type().IsRegular() && slices.Contains(MapEndings, strings.ToLower(filepath.Ext(path))) {
			if len(out) == maxMapFiles {
				return fmt.Errorf("%s: more than %d pictures; name the folder of this eye's maps", folder, maxMapFiles)
			}
			out = append(out, path)
		}
		return nil
	})
	slices.Sort(out)
	return out, err
}

// candidate is a picture, or a set of numbered tiles, that may fill a slot.
type candidate struct {
	file  string // with {tile} in place of the number for a set
	first string // a file that exists
	label label
	tiles int
}

var tileNumber = regexp.MustCompile(`(^|[^0-9])(1[0-9]{3})([^0-9]|$)`)

// candidates reads the names of the pictures and joins numbered tiles into sets.
func (n Names) candidates(folder string, files []string) []candidate {
	var out []candidate
	at := map[string]int{}
	for _, f := range files {
		l := n.read(f)
		if rel, err := filepath.Rel(folder, filepath.Dir(f)); len(l.sides) == 0 && err == nil {
			l.sides = meaning(n["side"], pieces(rel)) // both eyes in folders of their own
		}
		c := candidate{file: f, first: f, label: l}
		if l.tile != 0 {
			base := filepath.Base(f)
			stem := strings.TrimSuffix(base, filepath.Ext(base))
			m := tileNumber.FindAllStringSubmatchIndex(stem, -1)
			if len(m) > 0 {
				last := m[len(m)-1]
				c.file = filepath.Join(filepath.Dir(f), stem[:last[4]]+"{tile}"+stem[last[5]:]+filepath.Ext(base))
				c.tiles = 1
				if k, ok := at[c.file]; ok {
					out[k].tiles++
					continue
				}
				at[c.file] = len(out)
			}
		}
		out = append(out, c)
	}
	return out
}

// slot is a key of the eye that takes a map.
type slot struct {
	key  string
	kind string
	part string // iris, sclera, cornea
}

// slots of a scene, in its order.
var slots = []slot{
	{"cornea.normal", "normal", "cornea"}, {"cornea.height", "height", "cornea"},
	{"iris.colour", "colour", "iris"}, {"iris.normal", "normal", "iris"}, {"iris.height", "height", "iris"},
	{"sclera.colour", "colour", "sclera"},
}

// fit says how well a name fits a slot: 0 not, 1 by default, 2 as a map of the whole inner shell, 3 by the part's name.
func (s slot) fit(l label) int {
	if !slices.Contains(l.kinds, s.kind) {
		return 0
	}
	for _, k := range []string{"specular", "scatter", "glow", "roughness"} {
		if slices.Contains(l.kinds, k) {
			return 0 // a colour of that
		}
	}
	if slices.Contains(l.parts, s.part) {
		return 3
	}
	// The inner shell is iris and sclera in one: its normal and height maps lie under the iris' keys.
	if s.part == "iris" && s.kind != "colour" && slices.Contains(l.parts, "sclera") {
		return 1
	}
	// A colour of the outer shell is the sclera's, painted there.
	if s.key == "sclera.colour" && slices.Contains(l.parts, "cornea") {
		return 1
	}
	if s.part != "cornea" && slices.Contains(l.parts, "inner") {
		return 2
	}
	if s.part != "cornea" && len(l.parts) == 0 {
		return 1
	}
	return 0
}

// Mapped is a slot and the picture that fills it.
type Mapped struct {
	Slot  string
	File  string // with {tile} for a set
	First string // one that exists
	Look  look
	// Of a normal map: which way its green points; of a height map: the value that is no displacement.
	GreenDown bool
	Mid       float64
	Shell     string  // of a colour: "outer" where it is painted on that shell's texture coordinates
	Scale     float64 // of a height map: mm per unit, as its file states; 0: it does not
	Clamp     bool    // its edge goes on outside 0 to 1
}

// assign fills the slots that are not filled yet with pictures of a folder, but for those that are known. side is "" where it is
// not known.
//
// Long: one pass over the names, whose cases share what is taken already.
func (n Names) assign(folder, side string, filled []Mapped, known map[string]bool, say func(Finding)) ([]Mapped, error) {
	if folder == "" {
		return filled, nil
	}
	info, err := os.Stat(folder)
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("%s: is no folder", folder)
	}
	files, err := pictures(folder)
	if err != nil {
		return nil, err
	}
	files = slices.DeleteFunc(files, func(f string) bool { return known[f] })
	used := map[string]bool{}
	var list []candidate
	for _, c := range n.candidates(folder, files) {
		if len(c.label.sides) == 1 && side != "" && c.label.sides[0] != side {
			used[c.file] = true
			say(Finding{Topic: "map", Choice: LeftOut, File: c.first, Reason: fmt.Sprintf("its name says %s, and this eye is the %s one", c.label.sides[0], side)})
			continue
		}
		list = append(list, c)
	}
	out := filled
	for _, s := range slots {
		if slices.ContainsFunc(filled, func(m Mapped) bool { return m.Slot == s.key }) {
			continue
		}
		best := 0
		for _, c := range list {
			best = max(best, s.fit(c.label))
		}
		if best == 0 {
			continue
		}
		var these []candidate
		for _, c := range list {
			if s.fit(c.label) == best {
				these = append(these, c)
			}
		}
		for _, c := range these {
			used[c.file] = true
		}
		if len(these) > 1 {
			var names []string
			for _, c := range these {
				names = append(names, filepath.Base(c.file))
			}
			say(Finding{Topic: s.key, Grade: Question, Choice: "which of " + strings.Join(names, ", ") + "?", File: these[0].first,
				Reason: fmt.Sprintf("%d files are named as its %s map; none is taken", len(these), s.kind)})
			continue
		}
		c := these[0]
		f := s.found(&c, best)
		m := Mapped{Slot: s.key, File: c.file, First: c.first, Mid: 0.5}
		if m.Look, err = inspect(c.first); err != nil {
			say(Finding{Topic: s.key, Grade: Question, Choice: "none", File: c.first, Reason: "named as its " + s.kind + " map, but it can't be read: " + err.Error()})
			continue
		}
		judgePicture(s, &m, &f)
		if s.key == "sclera.colour" && best == 1 && slices.Contains(c.label.parts, "cornea") {
			m.Shell = "outer"
			f.Reason += "; its name says the outer shell"
		}
		say(f)
		out = append(out, m)
	}
	for _, c := range list {
		switch {
		case used[c.file]:
		case len(c.label.kinds) == 0:
			say(Finding{Topic: "map", Choice: LeftOut, File: c.first, Reason: "its name says no kind of map; see the table of names (--print-names, --names)"})
		default:
			say(Finding{Topic: "map", Choice: LeftOut, File: c.first, Reason: "named as " + strings.Join(c.label.kinds, " and ") + ": " + c.label.why()})
		}
	}
	return out, nil
}

// keyless says of kinds of maps that no key takes why, and what does their work.
var keyless = map[string]string{
	"roughness": "no key of the scene takes a map of it; cornea.roughness and sclera.roughness are plain numbers",
	"zone":      "no key of the scene takes a map of it; limbus.radius and limbus.width say where cornea and sclera meet",
	"veins":     "no key of the scene takes a layer of them; they belong into the sclera's colour",
	"occlusion": "no key of the scene takes it; light between surfaces is traced, and a baked shadow would darken it twice",
	"specular":  "no key of the scene takes a map of it; cornea.index, or cornea.reflection_index, says how much is mirrored",
	"opacity":   "no key of the scene takes it for an eye; the cornea is clear and bends light by itself",
	"scatter":   "no key of the scene takes a map of it; iris.scatter_radius and sclera.scatter_radius are plain values",
	"metal":     "no key of the scene takes it; an eye has no metal",
	"glow":      "no key of the scene takes it; an eye does not shine by itself",
	"packed":    "no key of the scene takes it; it holds roughness, occlusion and metal in its channels",
}

// why says why a picture that is of a known kind fills no slot.
func (l label) why() string {
	for _, k := range l.kinds {
		if w := keyless[k]; w != "" {
			return w
		}
	}
	if slices.Contains(l.parts, "cornea") && slices.Contains(l.kinds, "colour") {
		return "the cornea is clear; the outer shell's colour is taken for the sclera alone, and a more specific file is there"
	}
	return "a more specific file fills its key"
}

// found says why a picture fits the slot; fit is how well.
func (s slot) found(c *candidate, fit int) Finding {
	f := Finding{Topic: s.key, Choice: filepath.Base(c.file), File: c.first}
	switch fit {
	case 3:
		f.Reason = fmt.Sprintf("its name says %s and %s", s.part, s.kind)
	case 2:
		f.Reason = fmt.Sprintf("its name says the whole eye and %s", s.kind)
	default:
		f.Grade = Unsure
		f.Reason = fmt.Sprintf("its name says %s but no part that has one", s.kind)
	}
	if c.tiles > 1 {
		f.Reason += fmt.Sprintf("; %d numbered tiles", c.tiles)
	}
	return f
}

// judgePicture adds to a finding what the picture itself says.
func judgePicture(s slot, m *Mapped, f *Finding) {
	l := &m.Look
	doubt := func(format string, a ...any) {
		f.Grade = cmp.Or(max(f.Grade, Unsure), Unsure)
		f.Reason += "; " + fmt.Sprintf(format, a...)
	}
	f.Reason += fmt.Sprintf("; %d x %d, %d bit", l.w, l.h, l.depth)
	if l.hi == l.lo {
		doubt("every texel is the same")
		return
	}
	switch s.kind {
	case "colour":
		if l.encoded {
			f.Reason += ", taken as sRGB"
		} else {
			f.Reason += ", taken as linear"
		}
		if l.unit > 0.8 {
			doubt("it looks like a normal map: %.0f %% of it are unit vectors", 100*l.unit)
		}
	case "normal":
		if l.unit < 0.5 {
			doubt("only %.0f %% of it are unit vectors", 100*l.unit)
		}
		switch {
		case l.curl > 0.2:
			f.Reason += fmt.Sprintf("; green is up (its slopes belong to a surface so: correlation %.2f)", l.curl)
		case l.curl < -0.2:
			m.GreenDown = true
			f.Reason += fmt.Sprintf("; green is down (its slopes belong to a surface so: correlation %.2f)", l.curl)
		default:
			doubt("its slopes do not tell which way green points (correlation %.2f); taken as up", l.curl)
		}
	case "height":
		switch {
		case l.stated:
			m.Mid, m.Scale = l.zero, l.scale
			f.Reason += fmt.Sprintf("; its file states the zero level %g and the scale %g mm", l.zero, l.scale)
			return
		case !l.grey:
			doubt("a height map is grey, and this has colours")
		case l.middle < 0.02*(l.hi-l.lo)+l.lo && l.lo >= 0:
			m.Mid = l.lo
			doubt("most of it is at its lowest value %.3g, taken as no displacement", l.lo)
		case l.encoded && (l.middle > 0.4 && l.middle < 0.6):
			f.Reason += fmt.Sprintf("; its median %.2f is near the middle, taken as no displacement", l.middle)
		case !l.encoded && l.lo < 0:
			m.Mid = 0
			f.Reason += "; its values have both signs, so 0 is no displacement"
		default:
			doubt("its median is %.2f; 0.5 is taken as no displacement", l.middle)
		}
		doubt("no file says its height in mm")
	}
}
