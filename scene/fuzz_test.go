package scene

import (
	"bytes"
	"strings"
	"testing"
)

// FuzzLoad feeds any bytes and any override to the loader: it gives a description or problems, never both, never a
// panic, and a description can be varied by nothing.
func FuzzLoad(f *testing.F) {
	var example bytes.Buffer
	if err := Example(&example); err != nil {
		f.Fatal(err)
	}
	for _, s := range []string{
		"", goat, head, example.String(), string(exampleScene), "- 1", "null", "~", "{}", "[]", "---\n...\n---\n", "a: &a [*a]", "<<: *a", "? a\n: b", "? [a]\n: b",
		"a: |\n  x\n", "a: >-\n  x", "&a", "*", "!", "!!str", "%YAML 1.2\n---\na: 1", "\xff", "\ufeffabout: x", "a: \"\\x", "{a: 1, a: 2}", "\t", ":", "- - - -",
		"lights: [{}]", "lights: [null]", "objects: [[]]", "camera:", "picture: {samples: 1e400}", "picture: {? samples}", "about: !!binary x", "about: 'x", "a: [1, 2\n", "\r\n\r", "#\x00",
	} {
		f.Add([]byte(s), "picture.samples=16")
		f.Add([]byte(s), "lights.key={a: [")
	}
	for _, set := range []string{"", "=", "a", "a=", "a.b=&x 1", "lights.0=null", "lights.0.name=null", "lights=[*a]", "objects.0=~", strings.Repeat("a.", 100) + "=1", "lights.sky.ev=2", "picture.samples={}"} {
		f.Add([]byte(goat), set)
	}
	f.Fuzz(func(t *testing.T, data []byte, set string) {
		d, err := Parse("fuzz.yaml", data, set)
		if (d == nil) == (err == nil) {
			t.Fatalf("description %v with error %v", d, err)
		}
		if err != nil {
			if problems, ok := err.(Problems); !ok || len(problems) == 0 || err.Error() == "" {
				t.Fatalf("error without problems: %#v", err)
			}
			return
		}
		if _, err := d.With(); err != nil {
			t.Fatal(err)
		}
	})
}
