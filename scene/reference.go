package scene

import (
	"bufio"
	"fmt"
	"io"
	"strings"
)

// Reference writes all keys of a scene file as Markdown, from the same tags that the loader checks by: for each key
// its whole path, type, unit, allowed range or words, default, and what it is.
func Reference(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprint(b, `# Keys of a scene file

A scene file is YAML. Lengths are in mm, angles in degrees, exposures in EV (stops), colours linear Rec. 709.
A key's path is also how an override addresses it: `+"`--set picture.samples=16`"+`. NAME stands for the name of an entry of
the list, or its index from 0; the value null takes a key out. Relative file names start at the scene file's folder.

A colour is one number for all channels or [red, green, blue]. A map is a number, [red, green, blue], or a block with
the keys under "map".
`)
	root := schema()
	var maps *block
	var section func(title, path, doc string, bl *block)
	section = func(title, path, doc string, bl *block) {
		fmt.Fprintf(b, "\n## %s\n\n", title)
		if doc != "" {
			fmt.Fprintf(b, "%s.\n\n", strings.ToUpper(doc[:1])+doc[1:])
		}
		fmt.Fprint(b, "| key | type | unit | allowed | default | meaning | source of the default |\n| --- | --- | --- | --- | --- | --- | --- |\n")
		var inner []*field
		for _, f := range bl.fields {
			switch f.kind {
			case group, blocks:
				inner = append(inner, f)
			case surfaceMap:
				maps = f.block
			}
			fmt.Fprintf(b, "| `%s` | %s | %s | %s | %s | %s | %s |\n", join(path, f.key), f.form(), f.unit, f.allowed(), f.absent(), f.meaning(bl), f.source)
		}
		for _, f := range inner {
			p := join(path, f.key)
			if f.fresh != nil {
				defer listed(b, f)
			}
			title := p
			if f.kind == blocks {
				p += ".NAME"
			}
			section(title, p, f.doc, f.block)
		}
	}
	section("the file", "", "", root)
	if maps != nil {
		section("map", "", "a value over a surface: a constant, or a picture with options", maps)
	}
	return b.Flush()
}

// listed writes the list that an absent key gives.
func listed(b *bufio.Writer, f *field) {
	fmt.Fprintf(b, "\n### %s where a scene has none\n\n```yaml\n%s:\n", f.key, f.key)
	e := encoder{}
	for list, i := f.fresh(), 0; i < list.Len(); i++ {
		fmt.Fprintf(b, "  - %s\n", e.block(f.block, list.Index(i), ""))
	}
	fmt.Fprint(b, "```\n")
}

// form returns the short name of a field's type.
func (f *field) form() string {
	if len(f.words) > 0 {
		return "word"
	}
	return [...]string{boolean: "true or false", whole: "whole number", number: "number", text: "text", fileName: "file name",
		vector: "[x, y, z]", pair: "2 numbers", wholePair: "2 whole numbers", channels: "colour", surfaceMap: "map",
		group: "block", blocks: "list of blocks"}[f.kind]
}

// allowed returns the range, words or endings of a field.
func (f *field) allowed() string {
	switch {
	case len(f.words) > 0:
		return strings.Join(f.words, ", ")
	case len(f.ends) > 0:
		return strings.Join(f.ends, " ")
	}
	if f.built.set {
		return fmt.Sprintf("%s; a built eye %s", f.limits, f.built)
	}
	return f.limits.String()
}

// absent says what an absent key means.
func (f *field) absent() string {
	switch {
	case f.required:
		return "required"
	case f.presetOutside():
		return "none"
	case f.def != "":
		return f.def
	case f.kind == group && !f.pointer:
		return "as below"
	case f.fresh != nil:
		return "the list below"
	case f.kind == blocks:
		return "empty"
	}
	return "none"
}

// presetOutside reports whether the default lies outside the allowed range, which means "not given".
func (f *field) presetOutside() bool {
	if f.preset == nil || f.kind != number && f.kind != whole {
		return false
	}
	d := decoder{}
	d.number(f, f.preset, "")
	return len(d.problems) > 0
}

// meaning returns a field's explanation, with the kinds that it belongs to.
func (f *field) meaning(b *block) string {
	if len(f.only) == 0 {
		return f.doc
	}
	return fmt.Sprintf("%s (%s %s only)", f.doc, b.selector.key, listing(f.only, "or"))
}
