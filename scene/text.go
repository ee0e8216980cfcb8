package scene

import (
	"fmt"
	"reflect"
	"strings"
)

// Text returns the description as a scene file for people: what differs from the defaults, a key a line, each light and object on a
// line of its own, names of files in full. It is read back as the same description.
func (d *Description) Text() (string, error) {
	e := encoder{}
	v := reflect.ValueOf(d).Elem()
	plain := reflect.New(schema().typ).Elem()
	presets(schema(), plain)
	var s strings.Builder
	if d.About != "" {
		fmt.Fprintf(&s, "# %s\n", oneLine(d.About))
	}
	fmt.Fprintf(&s, "format: %d\n", d.Format)
	for _, f := range schema().fields {
		x := f.in(v)
		if f.key == "format" || reflect.DeepEqual(x.Interface(), f.in(plain).Interface()) {
			continue
		}
		if f.kind != blocks {
			fmt.Fprintf(&s, "%s: %s\n", f.key, e.value(f, x, f.key))
			continue
		}
		fmt.Fprintf(&s, "%s:\n", f.key)
		for i := range x.Len() {
			fmt.Fprintf(&s, "  - %s\n", e.block(f.block, x.Index(i), fmt.Sprintf("%s.%d", f.key, i)))
		}
	}
	return s.String(), e.err
}

// oneLine is a text without what ends a line.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 {
			return ' '
		}
		return r
	}, text)
}
