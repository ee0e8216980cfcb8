package edit

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Apply returns the text with changes made in it, one after the other. All bytes outside the changed values stay.
func Apply(text string, changes ...Change) (string, error) {
	for _, c := range changes {
		var err error
		if text, err = set(text, c); err != nil {
			return "", fmt.Errorf("%s: %w", c.Key, err)
		}
	}
	return text, nil
}

// Has reports whether a key stands in the text.
func Has(text, key string) bool {
	root, err := scan(text)
	if err != nil {
		return false
	}
	path, err := split(key)
	if err != nil {
		return false
	}
	_, rest, _ := root.walk(path)
	return len(rest) == 0
}

// split returns the parts of a key's path.
func split(key string) ([]string, error) {
	path := strings.Split(key, ".")
	if slices.Contains(path, "") {
		return nil, fmt.Errorf("%q is no path of a key", key)
	}
	return path, nil
}

// index returns the place in a list of the entry with a name or a number, or -1.
func (n *node) index(label string) int {
	for i, it := range n.items {
		if name := it.get("name"); name != nil && name.text == label {
			return i
		}
	}
	if i, err := strconv.Atoi(label); err == nil && i >= 0 && i < len(n.items) {
		return i
	}
	return -1
}

// get returns the entry of a key, or nil.
func (n *node) get(key string) *entry {
	if n.kind != block {
		return nil
	}
	for i := range n.entries {
		if n.entries[i].key == key {
			return &n.entries[i]
		}
	}
	return nil
}

// step is a node on the way to a value: the child that a path goes through is entry or item i of it.
type step struct {
	*node
	i int
}

// walk goes along a path as far as the text has it. It returns the nodes on the way, the last of which is the value where rest is
// empty; and the reason why one of them can't be edited.
func (n *node) walk(path []string) (way []step, rest []string, why string) {
	at := n
	for {
		if at.why != "" && why == "" {
			why = at.why
		}
		way = append(way, step{at, -1})
		if len(path) == 0 {
			return way, nil, why
		}
		i := -1
		var next *node
		switch at.kind {
		case list:
			if i = at.index(path[0]); i >= 0 {
				next = at.items[i].node
			}
		case block:
			if i = slices.IndexFunc(at.entries, func(e entry) bool { return e.key == path[0] }); i >= 0 {
				next = at.entries[i].node
			}
		}
		if i < 0 {
			return way, path, why
		}
		way[len(way)-1].i = i
		at, path = next, path[1:]
	}
}

// set makes one change.
func set(text string, c Change) (string, error) {
	root, err := scan(text)
	if err != nil {
		return "", err
	}
	path, err := split(c.Key)
	if err != nil {
		return "", err
	}
	way, rest, why := root.walk(path)
	if why != "" {
		return "", fmt.Errorf("this can't be changed here, as %s; change it in the file", why)
	}
	last := way[len(way)-1].node
	if c.Value == nil {
		if len(rest) > 0 {
			return text, nil
		}
		return takeOut(text, way, path)
	}
	value, err := Text(c.Value)
	if err != nil {
		return "", err
	}
	if len(rest) == 0 {
		return replace(text, way, value), nil
	}
	switch last.kind {
	case list:
		return "", fmt.Errorf("there is no entry %s here", rest[0])
	case scalar:
		return "", fmt.Errorf("%s can't be set within %s, which is no block of keys", rest[0], last.text)
	}
	for i := len(rest) - 1; i > 0; i-- {
		value = "{" + word(rest[i]) + ": " + value + "}"
	}
	return insertKey(text, last, rest[0], value, way), nil
}

// splice puts text in place of a part.
func splice(text string, from, to int, with string) string { return text[:from] + with + text[to:] }

// colonOf returns where the colon of the last value on a way ends; ok is false for entries of lists.
func colonOf(way []step) (at int, ok bool) {
	if len(way) < 2 {
		return 0, false
	}
	p := way[len(way)-2]
	if p.kind != block {
		return p.items[p.i].dash + 1, !p.flow
	}
	return p.entries[p.i].colon, true
}

// replace puts another text in place of a value.
func replace(text string, way []step, value string) string {
	n := way[len(way)-1].node
	if colon, ok := colonOf(way); ok {
		between := text[colon:n.from]
		switch {
		case between == "":
			value = " " + value // there was none
		case strings.Contains(between, "\n") && !n.flow && (n.kind == block || n.kind == list) && strings.TrimSpace(between) == "":
			return splice(text, colon, n.to, " "+value) // into the key's line
		}
	}
	return splice(text, n.from, n.to, value)
}

// newline returns how lines end at a place.
func newline(text string, at int) string {
	if i := strings.IndexByte(text[at:], '\n'); i >= 0 {
		if i += at; i > 0 && text[i-1] == '\r' {
			return "\r\n"
		}
		return "\n"
	}
	if i := strings.LastIndexByte(text[:at], '\n'); i > 0 && text[i-1] == '\r' {
		return "\r\n"
	}
	return "\n"
}

// lineAfter returns where the line after a place begins, and whether there is an end of line before it.
func lineAfter(text string, at int) (int, bool) {
	if i := strings.IndexByte(text[at:], '\n'); i >= 0 {
		return at + i + 1, true
	}
	return len(text), false
}

// insertLine puts a line after the one that holds a place.
func insertLine(text string, at int, line string) string {
	nl := newline(text, at)
	next, ended := lineAfter(text, at)
	if !ended {
		return text + nl + line
	}
	return splice(text, next, next, line+nl)
}

// indent returns what stands before a place in its line where that is blank, else as many blanks.
func indent(text string, at int) string {
	start := strings.LastIndexByte(text[:at], '\n') + 1
	before := strings.TrimPrefix(text[start:at], "\ufeff")
	return strings.Repeat(" ", len(before))
}

// insertKey appends a key to a block, or makes a block of nothing.
func insertKey(text string, n *node, key, value string, way []step) string {
	pair := word(key) + ": " + value
	switch {
	case n.kind == null && len(way) == 1: // an empty file
		at := len(text)
		if at > 0 && text[at-1] != '\n' {
			return text + newline(text, at) + pair + newline(text, at)
		}
		return text + pair + newline(text, at)
	case n.kind == null:
		return replace(text, way, "{"+pair+"}")
	case n.flow && len(n.entries) == 0:
		return splice(text, n.from, n.to, "{"+pair+"}")
	case n.flow:
		at := n.entries[len(n.entries)-1].to
		return splice(text, at, at, ", "+pair)
	}
	last := n.entries[len(n.entries)-1]
	return insertLine(text, last.to, indent(text, n.entries[0].at)+pair)
}

// takeOut removes the last value of a way with its key or dash.
func takeOut(text string, way []step, path []string) (string, error) {
	if len(way) < 2 {
		return "", fmt.Errorf("%s can't be taken out", strings.Join(path, "."))
	}
	p := way[len(way)-2]
	froms, tos := p.places()
	if len(froms) == 1 {
		empty := "{}"
		if p.kind == list {
			empty = "[]"
		}
		if p.flow {
			return splice(text, p.from, p.to, empty), nil
		}
		if len(way) == 2 {
			return splice(text, p.from, p.to, ""), nil
		}
		return replace(text, way[:len(way)-1], empty), nil
	}
	if p.flow {
		if p.i == 0 {
			return splice(text, froms[0], froms[1], ""), nil
		}
		return splice(text, tos[p.i-1], tos[p.i], ""), nil
	}
	from, to := froms[p.i], tos[p.i]
	if start := strings.LastIndexByte(text[:from], '\n') + 1; strings.Trim(text[start:from], " ") == "" {
		next, _ := lineAfter(text, to)
		return splice(text, start, next, ""), nil
	}
	return splice(text, from, froms[p.i+1], ""), nil // the first key stands in the line of a dash, the next moves there
}

// places returns where the entries or items of a node begin and end.
func (n *node) places() (from, to []int) {
	for _, e := range n.entries {
		from, to = append(from, e.at), append(to, e.to)
	}
	for _, it := range n.items {
		from, to = append(from, it.dash), append(to, it.to)
	}
	return from, to
}

// Get returns the text of a key's value, as it is written.
func Get(text, key string) (string, bool) {
	root, err := scan(text)
	if err != nil {
		return "", false
	}
	path, err := split(key)
	if err != nil {
		return "", false
	}
	way, rest, _ := root.walk(path)
	n := way[len(way)-1]
	if len(rest) > 0 || !n.flow && n.kind != scalar || n.why != "" {
		return "", false
	}
	return text[n.from:n.to], true
}

// Keys lists the paths of all values in the text that are no blocks; entries of lists go by name. It is empty for a text that can't
// be read.
func Keys(text string) []string {
	var out []string
	root, err := scan(text)
	if err != nil {
		return nil
	}
	var walk func(n *node, path string)
	walk = func(n *node, path string) {
		switch {
		case n.kind == block && len(n.entries) > 0:
			for _, e := range n.entries {
				walk(e.node, strings.TrimPrefix(path+"."+e.key, "."))
			}
		case n.kind == list && len(n.items) > 0 && n.items[0].kind == block:
			for i, it := range n.items {
				name := strconv.Itoa(i)
				if e := it.get("name"); e != nil && e.text != "" {
					name = e.text
				}
				walk(it.node, path+"."+name)
			}
		default:
			out = append(out, path)
		}
	}
	walk(root, "")
	return out
}
