package scene

import (
	"slices"
	"strconv"
	"strings"
)

// override returns the tree with one "KEY=VALUE" put on it; the tree it is given stays as it is. A mistake in the
// override is noted and leaves the tree unchanged. order is its number, from 1.
func (d *decoder) override(tree *node, set string, order int) *node {
	at := place{file: "--set " + shorten(set), order: order}
	key, value, ok := strings.Cut(set, "=")
	if !ok {
		d.add(at, "", "", "wants KEY=VALUE")
		return tree
	}
	path := strings.Split(strings.TrimSpace(key), ".")
	for _, k := range path {
		if k == "" || len(path) > maxNesting {
			d.add(at, "", "", "%s is no path of a key", shorten(key))
			return tree
		}
	}
	if strings.TrimSpace(value) == "" {
		d.add(at, shorten(key), "", "no value; null takes a key out")
		return tree
	}
	n, problems := parseTree([]byte(value), at, true)
	if len(problems) > 0 {
		for i := range problems {
			problems[i].Key = shorten(key)
		}
		d.problems = append(d.problems, problems...)
		return tree
	}
	if tree.kind == nullNode {
		tree = &node{kind: blockNode, at: tree.at}
	}
	changed, wrong := tree.with(path, n, at)
	if wrong != "" {
		d.add(at, shorten(key), "", "%s", wrong)
		return tree
	}
	return changed
}

// with returns a copy of n in which the value at path is another; null takes it out. Blocks on the way are made
// where they are missing. wrong says why it can't be done.
func (n *node) with(path []string, value *node, at place) (changed *node, wrong string) {
	if len(path) == 0 {
		return value, ""
	}
	c := *n
	switch n.kind {
	case listNode:
		i := n.index(path[0])
		if i < 0 {
			return nil, "no entry " + shorten(path[0]) + " here; there are " + n.names()
		}
		c.items = slices.Clone(n.items)
		if len(path) == 1 && value.kind == nullNode {
			c.items = slices.Delete(c.items, i, i+1)
			return &c, ""
		}
		c.items[i], wrong = n.items[i].with(path[1:], value, at)
		return &c, wrong
	case scalarNode:
		return nil, shorten(path[0]) + " can't be set within " + n.phrase() + ", which is no block of keys"
	case nullNode:
		c.kind = blockNode
	}
	c.entries = slices.Clone(n.entries)
	for i := range c.entries {
		if c.entries[i].key != path[0] {
			continue
		}
		if len(path) == 1 && value.kind == nullNode {
			c.entries = slices.Delete(c.entries, i, i+1)
			return &c, ""
		}
		c.entries[i].value, wrong = c.entries[i].value.with(path[1:], value, at)
		if len(path) == 1 {
			c.entries[i].at = at
		}
		return &c, wrong
	}
	if len(path) == 1 && value.kind == nullNode {
		return n, ""
	}
	below, wrong := (&node{kind: blockNode, at: at}).with(path[1:], value, at)
	c.entries = append(c.entries, entry{path[0], at, below})
	return &c, wrong
}

// index returns the place in a list of the entry with a name or an index, or -1.
func (n *node) index(label string) int {
	for i, item := range n.items {
		if name := item.get("name"); name != nil && name.text == label {
			return i
		}
	}
	if i, err := strconv.Atoi(label); err == nil && i >= 0 && i < len(n.items) {
		return i
	}
	return -1
}

// names lists how the entries of a list can be addressed, for a message.
func (n *node) names() string {
	if len(n.items) == 0 {
		return "none"
	}
	var labels []string
	for i, item := range n.items {
		if i == 12 {
			return strings.Join(labels, ", ") + ", ..."
		}
		if name := item.get("name"); name != nil && name.text != "" {
			labels = append(labels, shorten(name.text))
		} else {
			labels = append(labels, strconv.Itoa(i))
		}
	}
	return strings.Join(labels, ", ")
}
