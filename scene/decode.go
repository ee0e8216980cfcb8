package scene

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/builtin"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// decoder fills a Description from a tree and collects everything that is wrong on the way.
type decoder struct {
	folder   string // of the scene file; relative paths start there
	trusted  bool   // no range checks: the values are defaults, which may lie outside to mean "not given"
	problems Problems
	uses     []Use // places that name files
}

// add notes a problem. value is the value as written, or "".
func (d *decoder) add(at place, key, value, format string, args ...any) {
	d.problems = append(d.problems, Problem{File: at.file, Line: at.line, Column: at.column, order: at.order,
		Key: key, Value: value, Message: fmt.Sprintf(format, args...)})
}

// join adds a key to a path.
func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// presets gives every field of a struct its default.
func presets(b *block, v reflect.Value) {
	d := decoder{trusted: true}
	for _, f := range b.fields {
		switch {
		case f.pointer:
		case f.fresh != nil:
			f.in(v).Set(f.fresh())
		case f.block != nil && f.kind != blocks:
			presets(f.block, f.in(v))
			if f.kind == surfaceMap && f.preset != nil {
				m := f.in(v).Addr().Interface().(*MapSpec)
				d.surfaceMap(f, f.preset, m, "")
				m.Given = false
			}
		case f.preset != nil:
			d.value(f, f.preset, f.in(v), "")
		}
	}
}

// block decodes a block of keys into a struct that has its defaults, then checks what holds between its keys.
func (d *decoder) block(b *block, n *node, v reflect.Value, path string) {
	if n.kind == nullNode {
		n = &node{kind: blockNode, at: n.at} // a heading with all its keys commented out
	}
	if n.kind != blockNode {
		d.add(n.at, path, n.show(), "%s, wants a block of keys", n.phrase())
		return
	}
	sound := len(d.problems)
	chosen := d.chosen(b, n)
	first := map[string]place{}
	for _, e := range n.entries {
		f, key := b.field(e.key), join(path, shorten(e.key))
		if f == nil {
			if r := b.renamed(e.key); r != nil {
				d.oldKey(b, r, e, path)
			} else {
				d.unknown(b, e, key)
			}
			continue
		}
		if at, twice := first[e.key]; twice {
			if at.line > 0 {
				d.add(e.at, key, "", "given twice, first in line %d", at.line)
			} else {
				d.add(e.at, key, "", "given twice")
			}
			continue
		}
		first[e.key] = e.at
		if chosen != "" && len(f.only) > 0 && !slices.Contains(f.only, chosen) {
			d.add(e.at, key, "", "only for %s %s, not for %s", b.selector.key, listing(f.only, "or"), chosen)
			continue
		}
		d.value(f, e.value, f.in(v), key)
	}
	for _, f := range b.fields {
		if _, given := first[f.key]; f.required && !given {
			d.add(n.at, join(path, f.key), "", "missing, wants %s", f.wants())
		}
	}
	d.relations(v, n, path, len(d.problems) == sound)
}

// chosen returns the value of the block's `kind` or `shape`, or "" when it has none or a wrong one.
func (d *decoder) chosen(b *block, n *node) string {
	if b.selector == nil {
		return ""
	}
	word := b.selector.def
	if given := n.get(b.selector.key); given != nil {
		word = given.text
	}
	if !slices.Contains(b.selector.words, word) {
		return ""
	}
	return word
}

// unknown notes a key that the block does not have.
func (d *decoder) unknown(b *block, e entry, path string) {
	if near := nearest(e.key, b.keys()); near != "" {
		d.add(e.at, path, "", "unknown key; did you mean %s?", near)
		return
	}
	for _, r := range renames[b.typ] {
		if nearest(e.key, []string{r.old}) != "" && r.new != "" {
			d.add(e.at, path, "", "unknown key; did you mean %s?", strings.TrimPrefix(r.new, "^"))
			return
		}
	}
	d.add(e.at, path, "", "unknown key; known here: %s", strings.Join(b.keys(), ", "))
}

// wants says what a field's value must be.
func (f *field) wants() string {
	if len(f.words) > 0 {
		return listing(f.words, "or")
	}
	return wants[f.kind]
}

// value decodes n into a field.
func (d *decoder) value(f *field, n *node, v reflect.Value, path string) {
	if f.pointer {
		p := reflect.New(v.Type().Elem())
		if f.kind == group {
			presets(f.block, p.Elem())
		}
		v.Set(p)
		v = p.Elem()
	}
	switch f.kind {
	case group:
		d.block(f.block, n, v, path)
		return
	case blocks:
		d.list(f, n, v, path)
		return
	}
	if n.kind == nullNode {
		d.add(n.at, path, "", "no value, wants %s", f.wants())
		return
	}
	switch p := v.Addr().Interface().(type) {
	case *MapSpec:
		d.surfaceMap(f, n, p, path)
	case *colour.RGB:
		d.colour(f, n, p, path)
	case *geom.Vec:
		var x [3]float64
		d.numbers(f, n, x[:], path)
		*p = geom.Vec{X: x[0], Y: x[1], Z: x[2]}
	case *[2]float64:
		d.numbers(f, n, p[:], path)
	case *[2]int:
		var x [2]float64
		d.numbers(f, n, x[:], path)
		*p = [2]int{int(x[0]), int(x[1])}
	case *float64:
		*p = d.number(f, n, path)
	case *int:
		*p = int(d.number(f, n, path))
	case *bool:
		d.boolean(n, p, path)
	case *Path:
		d.fileName(f, n, p, path)
	case *string:
		d.text(f, n, p, path)
	}
}

// list decodes a list of named blocks.
func (d *decoder) list(f *field, n *node, v reflect.Value, path string) {
	if n.kind == nullNode {
		return
	}
	if f.fresh != nil && n.kind == blockNode {
		d.changes(f, n, v, path)
		return
	}
	if n.kind != listNode {
		d.add(n.at, path, n.show(), "%s, wants a list of blocks", n.phrase())
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(n.items), len(n.items)))
	named := map[string]*node{}
	for i, item := range n.items {
		presets(f.block, v.Index(i))
		name := item.get("name")
		label := strconv.Itoa(i)
		if name != nil && validName(name.text) {
			if other := named[name.text]; other != nil {
				at := ""
				if other.at.line > 0 {
					at = fmt.Sprintf(", first in line %d", other.at.line)
				}
				d.add(name.at, path+"."+label+".name", name.text, "a second %s in %s%s", name.text, f.key, at)
			} else {
				named[name.text] = name
				label = name.text
			}
		}
		d.block(f.block, item, v.Index(i), path+"."+label)
	}
}

// changes decodes a block whose keys are names: of entries of the list that an absent key gives, which it changes, or of
// new ones, which come after them.
func (d *decoder) changes(f *field, n *node, v reflect.Value, path string) {
	list := f.fresh()
	named := func(name string) int {
		for i := range list.Len() {
			if list.Index(i).FieldByName("Name").String() == name {
				return i
			}
		}
		return -1
	}
	first := map[string]bool{}
	for _, e := range n.entries {
		key, item := join(path, shorten(e.key)), e.value
		switch {
		case !validName(e.key):
			d.add(e.at, key, shorten(e.key), "%s is no name: it wants a letter, then at most 63 letters, digits, - or _", shorten(e.key))
			continue
		case first[e.key]:
			d.add(e.at, key, "", "given twice")
			continue
		case item.get("name") != nil:
			d.add(item.keyPlace("name"), key+".name", "", "the key is its name here")
			continue
		}
		first[e.key] = true
		if item.kind != blockNode {
			d.add(item.at, key, item.show(), "%s, wants a block of keys", item.phrase())
			continue
		}
		q := *item
		q.entries = append([]entry{{"name", e.at, &node{kind: scalarNode, text: e.key, at: e.at}}}, item.entries...)
		at := named(e.key)
		if at < 0 {
			fresh := reflect.New(f.block.typ).Elem()
			presets(f.block, fresh)
			list, at = reflect.Append(list, fresh), list.Len()
		} else if item.get("kind") == nil {
			kind := list.Index(at).FieldByName("Kind").String()
			q.entries = append(q.entries, entry{"kind", e.at, &node{kind: scalarNode, text: kind, at: e.at}})
		}
		d.block(f.block, &q, list.Index(at), key)
	}
	v.Set(list)
}

// namePattern is the form of the names of lights and objects, by which overrides address them.
var namePattern = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]{0,63}$`)

func validName(s string) bool { return namePattern.MatchString(s) }

// phrase says what a node is, for messages about a wrong type.
func (n *node) phrase() string {
	switch n.kind {
	case listNode:
		return fmt.Sprintf("a list of %d", len(n.items))
	case blockNode:
		return "a block of keys"
	case nullNode:
		return "no value"
	}
	if s := shorten(n.text); n.quoted && s == n.text {
		return strconv.Quote(s) + " in quotes"
	}
	return shorten(n.text)
}

// show returns a scalar's text for Problem.Value, nothing for a node that is not there.
func (n *node) show() string {
	if n != nil && n.kind == scalarNode {
		return shorten(n.text)
	}
	return ""
}

// decimal is how a number is written; hexadecimal and octal forms are left out so that 010 can't mean 8.
var decimal = regexp.MustCompile(`^[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?$`)

// infinite reports whether text stands for no finite number.
func infinite(s string) bool {
	switch strings.ToLower(strings.TrimLeft(s, "+-")) {
	case ".nan", ".inf", "nan", "inf", "infinity":
		return true
	}
	return false
}

// numberLike reports whether text was meant to be a number.
func numberLike(s string) bool { return decimal.MatchString(s) || infinite(s) }

// number decodes one number, checks its range and returns it; 0 after a problem.
func (d *decoder) number(f *field, n *node, path string) float64 {
	integer := f.kind == whole || f.kind == wholePair
	what := "a number"
	if integer {
		what = "a whole number"
	}
	if n.kind != scalarNode || n.quoted {
		d.add(n.at, path, n.show(), "%s, wants %s", n.phrase(), what)
		return 0
	}
	s := n.text
	if infinite(s) {
		d.add(n.at, path, s, "%s is not finite", shorten(s))
		return 0
	}
	if !decimal.MatchString(s) {
		d.add(n.at, path, s, "%s is not %s", shorten(s), what)
		return 0
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) {
		d.add(n.at, path, shorten(s), "%s is not finite", shorten(s))
		return 0
	}
	if integer && (x != math.Trunc(x) || math.Abs(x) > 1<<53) {
		d.add(n.at, path, shorten(s), "%s is not a whole number", shorten(s))
		return 0
	}
	if !d.trusted && !f.limits.has(x) {
		unit := ""
		if f.unit != "" {
			unit = " " + f.unit
		}
		d.add(n.at, path, shorten(s), "%s is outside %s%s", shorten(s), f.limits, unit)
		return 0
	}
	return x
}

// numbers decodes a list of as many numbers as x has.
func (d *decoder) numbers(f *field, n *node, x []float64, path string) {
	if n.kind != listNode || len(n.items) != len(x) {
		d.add(n.at, path, n.show(), "%s, wants %s", n.phrase(), wants[f.kind])
		return
	}
	for i, item := range n.items {
		x[i] = d.number(f, item, path+"."+strconv.Itoa(i))
	}
}

// colour decodes a number, which stands for all channels, or a list of three.
func (d *decoder) colour(f *field, n *node, c *colour.RGB, path string) {
	switch {
	case n.kind == scalarNode && !n.quoted && numberLike(n.text):
		*c = colour.Grey(d.number(f, n, path))
	case n.kind == listNode && len(n.items) == 3:
		d.numbers(f, n, c[:], path)
	default:
		d.add(n.at, path, n.show(), "%s, wants %s", n.phrase(), wants[f.kind])
	}
}

// surfaceMap decodes a constant or a block.
func (d *decoder) surfaceMap(f *field, n *node, m *MapSpec, path string) {
	m.Given = true
	switch n.kind {
	case blockNode:
		sound := len(d.problems)
		if n.get("file") != nil {
			m.Value = colour.RGB{} // the key's default is no value that was given
		}
		d.block(f.block, n, reflect.ValueOf(m).Elem(), path)
		if value := n.get("value"); value != nil && len(d.problems) == sound {
			d.colour(f, value, &m.Value, join(path, "value")) // once more, for the range of this map
		}
	case scalarNode:
		if !n.quoted && numberLike(n.text) {
			d.colour(f, n, &m.Value, path)
			return
		}
		d.add(n.at, path, n.show(), "%s, wants a number, a list of 3 numbers or a block of keys; write {file: ...} for a picture", n.phrase())
	default:
		d.colour(f, n, &m.Value, path)
	}
}

// boolean decodes true or false, also written on or off.
func (d *decoder) boolean(n *node, b *bool, path string) {
	if n.kind == scalarNode && !n.quoted {
		switch n.text {
		case "true", "on":
			*b = true
			return
		case "false", "off":
			*b = false
			return
		}
	}
	d.add(n.at, path, n.show(), "%s, wants true or false", n.phrase())
}

// text decodes a string, and checks names and words.
func (d *decoder) text(f *field, n *node, s *string, path string) {
	if n.kind != scalarNode {
		d.add(n.at, path, "", "%s, wants %s", n.phrase(), f.wants())
		return
	}
	if len(f.words) > 0 && !slices.Contains(f.words, n.text) {
		hint := ""
		if now := renamedWords[f.key][n.text]; now != "" {
			hint = "; it was replaced by " + now
		} else if near := nearest(n.text, f.words); near != "" {
			hint = "; did you mean " + near + "?"
		}
		d.add(n.at, path, shorten(n.text), "%s is none of %s%s", shorten(n.text), strings.Join(f.words, ", "), hint)
		return
	}
	if f.key == "name" && !validName(n.text) {
		d.add(n.at, path, shorten(n.text), "%s is no name: it wants a letter, then at most 63 letters, digits, - or _", shorten(n.text))
		return
	}
	*s = n.text
}

// fileName decodes a path, resolves it against the scene file's folder and checks that the file is there.
func (d *decoder) fileName(f *field, n *node, p *Path, path string) {
	if n.kind != scalarNode || n.text == "" {
		d.add(n.at, path, n.show(), "%s, wants a file name", n.phrase())
		return
	}
	if _, ok := builtin.Place(n.text); ok && slices.Contains(f.ends, ".hdr") {
		*p = Path(n.text)
		return
	}
	if !slices.Contains(f.ends, strings.ToLower(filepath.Ext(n.text))) {
		ending := strings.ToLower(filepath.Ext(n.text))
		if advice := asset.Advice(ending); ending != "" && slices.Contains(f.ends, ".glb") && advice != "" {
			d.add(n.at, path, shorten(n.text), "%s: %s", shorten(n.text), advice)
			return
		}
		d.add(n.at, path, shorten(n.text), "%s: the name must end in %s", shorten(n.text), listing(f.ends, "or"))
		return
	}
	if builtin.Is(n.text) {
		if _, ok := builtin.Read(n.text); !ok {
			d.add(n.at, path, shorten(n.text), "%s: no such file in the program; there are %s", shorten(n.text), strings.Join(builtin.Environments(), ", "))
			return
		}
		*p = Path(n.text)
		return
	}
	full := filepath.FromSlash(n.text)
	if !filepath.IsAbs(full) {
		folder := d.folder
		if n.at.order == 0 && n.at.file != "" { // written in a file, which may be a light set-up's
			folder = filepath.Dir(n.at.file)
		}
		full = filepath.Join(folder, full)
	}
	if strings.Contains(filepath.Base(full), TileToken) {
		if tiles, err := TileFiles(Path(full)); err != nil || len(tiles) == 0 {
			d.add(n.at, path, shorten(n.text), "%s: no such tile (looked for %s with %d to %d)", shorten(n.text), shorten(full), texture.FirstTile, texture.LastTile)
			return
		}
		d.use(n, full)
		*p = Path(full)
		return
	}
	switch info, err := os.Stat(full); {
	case errors.Is(err, fs.ErrNotExist):
		d.add(n.at, path, shorten(n.text), "%s: no such file (looked for %s)", shorten(n.text), shorten(full))
	case err != nil:
		d.add(n.at, path, shorten(n.text), "%s: cannot be looked up", shorten(n.text))
	case !info.Mode().IsRegular():
		d.add(n.at, path, shorten(n.text), "%s: not a file", shorten(n.text))
	default:
		d.use(n, full)
		*p = Path(full)
	}
}
