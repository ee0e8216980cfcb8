package edit

import (
	"fmt"
	"slices"
	"strings"
)

// listAt returns the list at a key, and the way to it.
func listAt(text, key string) ([]step, error) {
	root, err := scan(text)
	if err != nil {
		return nil, err
	}
	path, err := split(key)
	if err != nil {
		return nil, err
	}
	way, rest, why := root.walk(path)
	switch {
	case why != "":
		return nil, fmt.Errorf("%s: this can't be changed here, as %s; change it in the file", key, why)
	case len(rest) > 0:
		return nil, fmt.Errorf("%s: there is no such list in the file", key)
	case way[len(way)-1].kind != list && way[len(way)-1].kind != null:
		return nil, fmt.Errorf("%s: this is no list", key)
	}
	for _, it := range way[len(way)-1].items {
		if it.why != "" {
			return nil, fmt.Errorf("%s: this can't be changed here, as %s; change it in the file", key, it.why)
		}
	}
	return way, nil
}

// entryAt is listAt with the number of an entry.
func entryAt(text, key, name string) (way []step, i int, err error) {
	if way, err = listAt(text, key); err != nil {
		return nil, 0, err
	}
	if i = way[len(way)-1].index(name); i < 0 {
		return nil, 0, fmt.Errorf("%s: there is no entry %s here", key, name)
	}
	return way, i, nil
}

// Add appends an entry to a list; a list that is not there is made.
func Add(text, key string, value any) (string, error) {
	if !Has(text, key) {
		return Apply(text, Change{key, []any{value}})
	}
	way, err := listAt(text, key)
	if err != nil {
		return "", err
	}
	entry, err := Text(value)
	if err != nil {
		return "", err
	}
	n := way[len(way)-1]
	if len(n.items) == 0 {
		return replace(text, way, "["+entry+"]"), nil
	}
	last := n.items[len(n.items)-1]
	if n.flow {
		return splice(text, last.to, last.to, ", "+entry), nil
	}
	return insertLine(text, last.to, indent(text, last.dash)+"- "+entry), nil
}

// Copy puts a copy of an entry after it, under another name.
func Copy(text, key, name, to string) (string, error) {
	way, i, err := entryAt(text, key, name)
	if err != nil {
		return "", err
	}
	n := way[len(way)-1]
	if n.index(to) >= 0 {
		return "", fmt.Errorf("%s: there is an entry %s already", key, to)
	}
	it := n.items[i]
	if n.flow {
		text = splice(text, it.to, it.to, ", "+text[it.from:it.to])
	} else {
		start, next, err := n.linesOf(text, i, false)
		if err != nil {
			return "", err
		}
		piece := text[start:next]
		if !strings.HasSuffix(piece, "\n") {
			piece = newline(text, start) + piece
		}
		text = splice(text, next, next, piece)
	}
	return Apply(text, Change{fmt.Sprintf("%s.%d.name", key, i+1), to})
}

// Remove takes an entry out of a list, with the comments in its lines.
func Remove(text, key, name string) (string, error) {
	if _, _, err := entryAt(text, key, name); err != nil {
		return "", err
	}
	return Apply(text, Change{key + "." + name, nil})
}

// Move puts an entry at another place in its list, with the comments in its lines and above it.
func Move(text, key, name string, to int) (string, error) {
	way, i, err := entryAt(text, key, name)
	if err != nil {
		return "", err
	}
	n := way[len(way)-1]
	if to < 0 || to >= len(n.items) {
		return "", fmt.Errorf("%s: %d is outside [0, %d]", key, to, len(n.items)-1)
	}
	if i == to {
		return text, nil
	}
	froms, tos := make([]int, len(n.items)), make([]int, len(n.items))
	for j, it := range n.items {
		froms[j], tos[j] = it.from, it.to
		if !n.flow {
			if froms[j], tos[j], err = n.linesOf(text, j, true); err != nil {
				return "", err
			}
		}
	}
	// The pieces change places; what stands between them stays.
	order := slices.Delete(ints(len(n.items)), i, i+1)
	order = slices.Insert(order, to, i)
	out, at := strings.Builder{}, 0
	for j, k := range order {
		piece := text[froms[k]:tos[k]]
		if !n.flow && tos[j] < len(text) && !strings.HasSuffix(piece, "\n") {
			piece += newline(text, froms[j])
		}
		out.WriteString(text[at:froms[j]])
		out.WriteString(piece)
		at = tos[j]
	}
	out.WriteString(text[at:])
	return out.String(), nil
}

func ints(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// linesOf returns the lines of an entry of a list in block style, from their begin to that of the next; with comments above it.
func (n *node) linesOf(text string, i int, above bool) (from, to int, err error) {
	it := n.items[i]
	from = strings.LastIndexByte(text[:it.dash], '\n') + 1
	if strings.Trim(text[from:it.dash], " \ufeff") != "" {
		return 0, 0, fmt.Errorf("line %d: the dash of this entry does not begin its line; change it in the file", 1+strings.Count(text[:from], "\n"))
	}
	to, _ = lineAfter(text, it.to)
	for above && from > 0 {
		start := strings.LastIndexByte(text[:from-1], '\n') + 1
		line := strings.TrimLeft(text[start:from], " ")
		if !strings.HasPrefix(line, "#") || from-start-len(line) != it.dash-(strings.LastIndexByte(text[:it.dash], '\n')+1) {
			break
		}
		from = start
	}
	return from, to, nil
}

// IsList reports whether a key stands in the text as a list.
func IsList(text, key string) bool {
	way, err := listAt(text, key)
	return err == nil && way[len(way)-1].kind == list
}
