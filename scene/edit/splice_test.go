package edit

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
)

// shipped returns the texts of all scenes that come with the program.
func shipped(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, pattern := range []string{"../../scenes/*.yaml", "../../scenes/ranges/*.yaml", "../example.yaml"} {
		names, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, n := range names {
			data, err := os.ReadFile(n)
			require.NoError(t, err)
			if _, err := scene.Parse(n, data); err == nil {
				out[n] = string(data)
			}
		}
	}
	require.Greater(t, len(out), 12)
	return out
}

// other returns another allowed value for a key, or nil.
func other(k *scene.Key, v any) any {
	if k == nil {
		return nil
	}
	switch k.Kind {
	case "number", "whole":
		x, ok := v.(float64)
		if !ok || k.Drag == nil {
			return nil
		}
		for _, y := range []float64{k.Drag.Low + (k.Drag.High-k.Drag.Low)/3, k.Drag.Low, k.Drag.High} {
			if k.Kind == "whole" {
				y = float64(int(y))
			}
			if y != x && y >= k.Drag.Low {
				return y
			}
		}
	case "switch":
		return v != true
	case "text":
		if strings.HasSuffix(k.Key, "name") || k.Key == "mask" || k.Key == "channel" || k.Key == "outer" || k.Key == "inner" {
			return nil
		}
		return "reeds: \"cut\" # by hand, at 3 o'clock"
	case "choice":
		for _, w := range k.Words {
			if w != v && k.Key != "kind" && k.Key != "shape" {
				return w
			}
		}
	case "colour", "vector":
		list, ok := v.([]any)
		if !ok || len(list) != 3 {
			return nil
		}
		return []any{list[0], list[1].(float64)*0.5 + 0.01, list[2]}
	}
	return nil
}

// unchanged asserts that one part of the text changed and all bytes outside it stayed, the comments too.
func unchanged(t *testing.T, old, now, key string) {
	t.Helper()
	a := 0
	for a < min(len(old), len(now)) && old[a] == now[a] {
		a++
	}
	b := 0
	for b < min(len(old), len(now))-a && old[len(old)-1-b] == now[len(now)-1-b] {
		b++
	}
	cut := old[a : len(old)-b]
	require.NotContains(t, cut, "#", "%s takes a comment away: %q", key, cut)
	require.Less(t, len(cut), 200, key)
	require.NotContains(t, cut, "\n", key)
}

// A change of any key of any shipped scene, given or not, in LF and in CRLF, gives a text that means what an override would, and
// leaves all else of the text alone.
func TestSplicesMeanWhatOverridesDo(t *testing.T) {
	r, n := rand.New(rand.NewPCG(3, 5)), 0
	for name, text := range shipped(t) {
		for _, crlf := range []bool{false, true} {
			if crlf {
				text = strings.ReplaceAll(text, "\n", "\r\n")
			}
			d, err := scene.Parse(name, []byte(text))
			require.NoError(t, err)
			values := d.Values()
			keys := make([]string, 0, len(values))
			for k := range values {
				keys = append(keys, k)
			}
			slices.Sort(keys)
			r.Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
			done := 0
			for _, key := range keys {
				v := other(scene.KeyAt(key), values[key])
				if v == nil || done > 24 || (crlf || !Has(text, key)) && done > 8 {
					continue
				}
				value, err := Text(v)
				require.NoError(t, err)
				want, err := d.With(key + "=" + value)
				if err != nil {
					continue // what does not go together
				}
				now, err := Apply(text, Change{key, v})
				require.NoError(t, err, "%s %s", name, key)
				got, err := scene.Parse(name, []byte(now))
				require.NoError(t, err, "%s %s\n%s", name, key, now)
				require.True(t, scene.Equal(want, got), "%s %s=%s\n%s", name, key, value, now)
				require.False(t, scene.Equal(d, got), "%s %s=%s", name, key, value)
				unchanged(t, text, now, key)
				if crlf {
					require.Equal(t, strings.Count(now, "\n"), strings.Count(now, "\r\n"), key)
				}
				// And out again.
				if !Has(text, key) {
					require.True(t, Has(now, key))
				} else if want, err := d.With(key + "=null"); err == nil {
					out, err := Apply(text, Change{key, nil})
					require.NoError(t, err, "%s %s", name, key)
					got, err := scene.Parse(name, []byte(out))
					require.NoError(t, err, "%s %s\n%s", name, key, out)
					require.True(t, scene.Equal(want, got), "%s without %s\n%s", name, key, out)
				}
				done++
			}
			n += done
		}
	}
	require.Greater(t, n, 200)
	t.Log(n, "changes")
}

// Forms of text, and what becomes of them.
func TestForms(t *testing.T) {
	for _, c := range []struct {
		name, text string
		change     Change
		want       string
	}{
		{"comment at the end of a line", "a: 1   # tide\nb: 2\n", Change{"a", 2.5}, "a: 2.5   # tide\nb: 2\n"},
		{"no end of line", "a: 1", Change{"a", 3.0}, "a: 3"},
		{"double quotes", "a: \"b: # c\"  # reed\n", Change{"a", "heron"}, "a: heron  # reed\n"},
		{"single quotes", "a: 'it''s'\n", Change{"a", "it's # here"}, "a: \"it's # here\"\n"},
		{"flow list", "a: [1, 2, 3] # low\n", Change{"a.1", 9.0}, "a: [1, 9, 3] # low\n"},
		{"flow list as a whole", "a: [1,\n  2, 3] # low\n", Change{"a", []any{4.0, 5.0, 6.0}}, "a: [4, 5, 6] # low\n"},
		{"block in a line", "a: {b: 1, c: {d: 2}} # x\n", Change{"a.c.d", true}, "a: {b: 1, c: {d: true}} # x\n"},
		{"new key in a line", "a: {b: 1} # x\n", Change{"a.c", 2.0}, "a: {b: 1, c: 2} # x\n"},
		{"new key in an empty one", "a: {} # x\n", Change{"a.c.d", 2.0}, "a: {c: {d: 2}} # x\n"},
		{"new key in a block", "a:\n  b: 1 # x\n  # about b\nc: 3\n", Change{"a.d", 2.0}, "a:\n  b: 1 # x\n  d: 2\n  # about b\nc: 3\n"},
		{"new key after a nested block", "a:\n  b:\n    c: 1\nd: 1\n", Change{"a.e", 2.0}, "a:\n  b:\n    c: 1\n  e: 2\nd: 1\n"},
		{"new key at the end without its line's end", "a: 1", Change{"b", 2.0}, "a: 1\nb: 2"},
		{"new key under a heading", "a:   # all of it\nb: 1\n", Change{"a.c", 2.0}, "a: {c: 2}   # all of it\nb: 1\n"},
		{"new key in CRLF", "a: 1 # x\r\nb:\r\n  c: 1\r\n", Change{"b.d", 2.0}, "a: 1 # x\r\nb:\r\n  c: 1\r\n  d: 2\r\n"},
		{"empty file", "", Change{"a", 2.0}, "a: 2\n"},
		{"only comments", "# a tide table\n", Change{"a.b", 2.0}, "# a tide table\na: {b: 2}\n"},
		{"list of blocks", "l:\n  - name: a # first\n    x: 1\n  - name: b\n    x: 2 # second\n", Change{"l.b.x", 5.0}, "l:\n  - name: a # first\n    x: 1\n  - name: b\n    x: 5 # second\n"},
		{"list in the key's column", "l:\n- name: a\n  x: 1\n", Change{"l.a.y", 5.0}, "l:\n- name: a\n  x: 1\n  y: 5\n"},
		{"first key of an entry out", "l:\n  - x: 1\n    name: a\n", Change{"l.a.x", nil}, "l:\n  - name: a\n"},
		{"key out with its comment", "a: 1\nb: 2 # of b\n# of c\nc: 3\n", Change{"b", nil}, "a: 1\n# of c\nc: 3\n"},
		{"first of a line out", "a: {b: 1, c: 2}\n", Change{"a.b", nil}, "a: {c: 2}\n"},
		{"last of a line out", "a: {b: 1, c: 2}\n", Change{"a.c", nil}, "a: {b: 1}\n"},
		{"only one out", "a:\n  b: 1\nc: 2\n", Change{"a.b", nil}, "a: {}\nc: 2\n"},
		{"literal text", "a: |\n  one\n\n  two\nb: 2\n", Change{"a", "three"}, "a: three\nb: 2\n"},
		{"text over two lines", "a: one\n  two # x\nb: 2\n", Change{"a", "three"}, "a: three # x\nb: 2\n"},
		{"a text that looks like more", "a: b:c d#e\n", Change{"a", 1.0}, "a: 1\n"},
		{"mark of a document", "%YAML 1.2\n---\na: 1\n...\n", Change{"a", 2.0}, "%YAML 1.2\n---\na: 2\n...\n"},
		{"byte order mark", "\ufeffa: 1\n", Change{"b", 2.0}, "\ufeffa: 1\nb: 2\n"},
		{"a word that is none", "a: b\n", Change{"a", "on"}, "a: \"on\"\n"},
		{"small and large numbers", "a: [1, 2]\n", Change{"a", []any{1e-9, 2e20}}, "a: [1e-09, 2e+20]\n"},
		{"anchor elsewhere", "a: &t 1\nb: 2\nc: *t\n", Change{"b", 3.0}, "a: &t 1\nb: 3\nc: *t\n"},
	} {
		got, err := Apply(c.text, c.change)
		require.NoError(t, err, c.name)
		require.Equal(t, c.want, got, c.name)
		again, err := scan(got)
		require.NoError(t, err, c.name)
		require.NotNil(t, again)
	}
}

// What can't be changed without touching other places is refused in words.
func TestRefused(t *testing.T) {
	for _, c := range []struct{ text, key, want string }{
		{"a: &tide {b: 1}\nc: *tide\n", "a.b", "a.b: this can't be changed here, as other places may stand for it by its anchor &tide; change it in the file"},
		{"a: &tide {b: 1}\nc: *tide\n", "c.b", "c.b: this can't be changed here, as it is what the anchor &tide holds; change it in the file"},
		{"t: &t {b: 1}\na:\n  <<: *t\n  c: 2\n", "a.c", "a.c: this can't be changed here, as keys are merged into it (<<); change it in the file"},
		{"a: !deep 1\n", "a", "a: this can't be changed here, as it has the tag !deep; change it in the file"},
		{"a: {b: 1, b: 2}\n", "a.b", "a.b: this can't be changed here, as it has the key b twice; change it in the file"},
		{"a: 1\n", "a.b", "a.b: b can't be set within 1, which is no block of keys"},
		{"a: [1, 2]\n", "a.7", "a.7: there is no entry 7 here"},
		{"a: [1, 2\n", "a", "a: line 2: a comma or a closing bracket is missing"},
		{"a: 1\n  b: 2\n", "a", "a: line 2: a key within a text"},
		{"a: 1\n", "a..b", `a..b: "a..b" is no path of a key`},
		{strings.Repeat("[", 200), "a", "a: line 1: more than 100 values within each other"},
	} {
		_, err := Apply(c.text, Change{c.key, 5.0})
		require.EqualError(t, err, c.want, c.text)
	}
	_, err := Apply("a: 1\n", Change{"a", func() {}})
	require.ErrorContains(t, err, "has no form in a scene file")
}

// Entries of lists are added, copied, removed and moved; their comments go with them.
func TestLists(t *testing.T) {
	const block = "l: # all\n  # of a\n  - {name: a, x: 1} # a\n  - name: b # b\n    x: 2\n  # of c\n  - {name: c}\nz: 1\n"
	const flow = "l: [{name: a, x: 1}, {name: b}, {name: c}] # all\n"
	try := func(want string, f func() (string, error)) {
		t.Helper()
		got, err := f()
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	try("l: # all\n  # of a\n  - {name: a, x: 1} # a\n  - name: b # b\n    x: 2\n  # of c\n  - {name: c}\n  - {name: d, kind: disc, x: 3}\nz: 1\n",
		func() (string, error) {
			return Add(block, "l", map[string]any{"x": 3.0, "kind": "disc", "name": "d"})
		})
	try("l: # all\n  # of a\n  - {name: a, x: 1} # a\n  - name: b # b\n    x: 2\n  - name: d # b\n    x: 2\n  # of c\n  - {name: c}\nz: 1\n",
		func() (string, error) { return Copy(block, "l", "b", "d") })
	try("l: # all\n  # of a\n  - {name: a, x: 1} # a\n  # of c\n  - {name: c}\nz: 1\n", func() (string, error) { return Remove(block, "l", "b") })
	try("l: # all\n  # of c\n  - {name: c}\n  # of a\n  - {name: a, x: 1} # a\n  - name: b # b\n    x: 2\nz: 1\n",
		func() (string, error) { return Move(block, "l", "c", 0) })
	try("l: [{name: b}, {name: c}, {name: a, x: 1}] # all\n", func() (string, error) { return Move(flow, "l", "a", 2) })
	try("l: [{name: a, x: 1}, {name: d, x: 1}, {name: b}, {name: c}] # all\n", func() (string, error) { return Copy(flow, "l", "a", "d") })
	try("l: [{name: b}, {name: c}] # all\n", func() (string, error) { return Remove(flow, "l", "a") })
	try("l: [{name: a, x: 1}, {name: b}, {name: c}, {name: d}] # all\n", func() (string, error) {
		return Add(flow, "l", map[string]any{"name": "d"})
	})
	try("k: 1\nl: [{name: d}]\n", func() (string, error) { return Add("k: 1\n", "l", map[string]any{"name": "d"}) })
	try("l: []\n", func() (string, error) { return Remove("l:\n  - {name: a}\n", "l", "a") })
	try("l:\n- b\n- a\n", func() (string, error) { return Move("l:\n- a\n- b", "l", "0", 1) })
	for want, f := range map[string]func() (string, error){
		"l: there is an entry c already": func() (string, error) { return Copy(flow, "l", "a", "c") },
		"l: there is no entry q here":    func() (string, error) { return Remove(flow, "l", "q") },
		"l: 3 is outside [0, 2]":         func() (string, error) { return Move(flow, "l", "a", 3) },
		"k: this is no list":             func() (string, error) { return Copy("k: {a: 1}\n", "k", "a", "b") },
	} {
		_, err := f()
		require.EqualError(t, err, want)
	}
}

// Texts that are damaged anywhere are edited or refused, and never panic; what is edited and can be read means what was asked.
func TestDamagedTexts(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	var texts []string
	for _, text := range shipped(t) {
		texts = append(texts, text)
	}
	slices.Sort(texts)
	signs := []byte("{}[]:,-#&*!|>'\"? \n\t\\ab0\r%@`~<.")
	edited := 0
	for range 500 {
		b := []byte(texts[r.IntN(len(texts))])
		for range 1 + r.IntN(3) {
			i := r.IntN(len(b))
			switch r.IntN(3) {
			case 0:
				b[i] = signs[r.IntN(len(signs))]
			case 1:
				b = slices.Insert(b, i, signs[r.IntN(len(signs))])
			case 2:
				b = slices.Delete(b, i, min(len(b), i+1+r.IntN(6)))
			}
		}
		text, c := string(b), Change{"view.exposure", -0.123}
		now, err := Apply(text, c)
		_ = Keys(text)
		_, _ = Copy(text, "lights", "0", "copied")
		_, _ = Move(text, "lights", "0", 1)
		_, _ = Remove(text, "objects", "eye")
		if err != nil {
			continue
		}
		old, err := scene.Parse("damaged.yaml", b)
		if err != nil {
			continue
		}
		want, err := old.With("view.exposure=-0.123")
		require.NoError(t, err)
		got, err := scene.Parse("damaged.yaml", []byte(now))
		require.NoError(t, err, text)
		require.True(t, scene.Equal(want, got), text)
		edited++
	}
	require.Greater(t, edited, 15)
	t.Log(edited, "edited")
}
