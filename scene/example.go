package scene

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strings"
)

// exampleScene is the example without its comments: what it gives is kept, and the rest is filled in from the tags.
//
//go:embed example.yaml
var exampleScene []byte

// Example writes a scene file that loads as it is, with a comment beside every key: what the key is, its unit and its
// range. Keys that have no default and are not needed stand there as comments. It is made from the tags that the
// loader checks by.
func Example(w io.Writer) error {
	tree, problems := parseTree(exampleScene, place{file: "example.yaml"}, false)
	if len(problems) > 0 {
		return problems
	}
	e := exampleWriter{bufio.NewWriter(w)}
	fmt.Fprint(e, "# A scene for catchlight. Every key shows what it would be if it were not there, unless the\n# scene needs another value; a line that is commented out shows a key that is not needed here.\n")
	e.block(schema(), tree, "", true)
	return e.Flush()
}

type exampleWriter struct{ *bufio.Writer }

// line writes one line with its comment in a column.
func (e exampleWriter) line(text, comment string) {
	if comment == "" {
		fmt.Fprintln(e, text)
		return
	}
	fmt.Fprintf(e, "%-44s # %s\n", text, comment)
}

// block writes the keys of a block. With full, keys that the tree does not have are written with their defaults.
func (e exampleWriter) block(b *block, n *node, indent string, full bool) {
	chosen := (&decoder{}).chosen(b, n)
	for _, f := range b.fields {
		if len(f.only) > 0 && !slices.Contains(f.only, chosen) {
			continue
		}
		given := n.get(f.key)
		switch {
		case f.kind == blocks && given != nil:
			e.line(indent+f.key+":", f.doc)
			e.list(f, given, indent)
		case f.kind == group && (given != nil || full && !f.pointer):
			if given == nil {
				given = &node{kind: blockNode}
			}
			e.line(indent+f.key+":", f.doc)
			e.block(f.block, given, indent+"  ", full)
		case given != nil && full:
			e.line(indent+f.key+": "+given.flow(), f.remark())
		case given != nil:
			e.line(indent+f.key+": "+given.flow(), "")
		case full && f.def != "" && !f.presetOutside():
			e.line(indent+f.key+": "+f.def, f.remark())
		case full:
			e.line(indent+"# "+f.key+":", f.remark())
			if f.kind == group {
				for _, sub := range f.block.fields {
					e.line(strings.TrimRight(indent+"#   "+sub.key+": "+sub.def, " "), sub.remark())
				}
			}
		}
	}
}

// list writes the entries of a list; the first of each kind or shape in full.
func (e exampleWriter) list(f *field, n *node, indent string) {
	seen := map[string]bool{}
	for _, item := range n.items {
		chosen := (&decoder{}).chosen(f.block, item)
		var s strings.Builder
		sub := exampleWriter{bufio.NewWriter(&s)}
		sub.block(f.block, item, indent+"    ", !seen[chosen])
		sub.Flush()
		seen[chosen] = true
		text := s.String()
		dash := indent + "  - "
		fmt.Fprint(e, dash+text[min(len(dash), len(text)):])
	}
}

// remark is the comment beside a key: what it is, its unit and what is allowed.
func (f *field) remark() string {
	var facts []string
	if f.unit != "" {
		facts = append(facts, f.unit)
	}
	told := true // the words stand in the explanation already
	for _, w := range append(f.words, f.ends...) {
		told = told && strings.Contains(f.doc, w)
	}
	if allowed := f.allowed(); allowed != "" && (!told || f.limits.set) {
		facts = append(facts, allowed)
	}
	if len(facts) == 0 {
		return f.doc
	}
	return f.doc + " (" + strings.Join(facts, "; ") + ")"
}

// flow writes a node on one line.
func (n *node) flow() string {
	switch n.kind {
	case listNode:
		parts := make([]string, len(n.items))
		for i, item := range n.items {
			parts[i] = item.flow()
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case blockNode:
		parts := make([]string, len(n.entries))
		for i, en := range n.entries {
			parts[i] = en.key + ": " + en.value.flow()
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case nullNode:
		return "null"
	}
	return n.text
}
