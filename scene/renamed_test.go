package scene

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// translated returns a tree with today's keys in place of old ones, as the table of old names has them.
func translated(t *testing.T, b *block, n *node) *node {
	if n == nil || n.kind != blockNode {
		return n
	}
	out := &node{kind: blockNode, at: n.at}
	put := func(path string, value *node) {
		changed, wrong := out.with(strings.Split(path, "."), value, n.at)
		require.Empty(t, wrong)
		out = changed
	}
	for _, e := range n.entries {
		f, key := b.field(e.key), e.key
		if r := b.renamed(e.key); f == nil && r != nil {
			if key = r.new; key == "" {
				for _, inner := range translated(t, b, e.value).list() {
					put(strings.TrimPrefix(inner.key, "^"), inner.value)
				}
				continue
			}
			f = b.field(key)
		}
		value := e.value
		switch {
		case f != nil && f.kind == blocks:
			list := *value
			list.items = nil
			for _, item := range value.items {
				list.items = append(list.items, translated(t, f.block, item))
			}
			value = &list
		case f != nil && f.block != nil:
			inner := translated(t, f.block, value)
			kept := *inner
			kept.entries = nil
			for _, x := range inner.entries { // what belongs to the block around
				if up, ok := strings.CutPrefix(x.key, "^"); ok {
					put(up, x.value)
				} else {
					kept.entries = append(kept.entries, x)
				}
			}
			value = &kept
		}
		put(key, value)
	}
	return out
}

// The baseline's scenes in their old words and in today's say the same.
func TestBaselineMeansTheSame(t *testing.T) {
	folder := filepath.Join("..", "testdata", "baseline")
	files, err := filepath.Glob(filepath.Join(folder, "*.yaml"))
	require.NoError(t, err)
	require.Len(t, files, 6)
	for _, f := range files {
		old, err := os.ReadFile(filepath.Join(folder, "then", filepath.Base(f)))
		require.NoError(t, err)
		_, err = Parse(f, old)
		require.Error(t, err, "the old text loads as it is: %s", f)
		tree, problems := parseTree(old, place{file: f}, false)
		require.Empty(t, problems)
		then, err := decode(&source{name: f, tree: translated(t, schema(), tree)})
		require.NoError(t, err, f)
		now, err := Load(f)
		require.NoError(t, err, f)
		then.source, now.source = nil, nil
		require.Equal(t, then, now)
	}
}

// Every old key is refused with the place of the new one, and every new one is there.
func TestOldNames(t *testing.T) {
	var s strings.Builder
	require.NoError(t, OldNames(&s))
	var ref strings.Builder
	require.NoError(t, Reference(&ref))
	rows := regexp.MustCompile("(?m)^\\| `([a-zA-Z_.]+)` \\| `([a-zA-Z_.]+)` \\|").FindAllStringSubmatch(s.String(), -1)
	require.Greater(t, len(rows), 40)
	for _, r := range rows {
		require.NotContains(t, ref.String(), "| `"+r[1]+"` |")
		require.Contains(t, ref.String(), "`"+r[2]+"`", r[0])
	}
	for text, want := range map[string]string{
		"film: {spp: 4, filter_radius: 1}":                                     "film: is now picture\nscene.yaml:1:8: picture.spp: is now picture.samples\nscene.yaml:1:16: picture.filter_radius: is now picture.filter_width (twice the radius)",
		"trace: {manifold: false, effects: {coat: false}}":                     "trace: is now advanced\nscene.yaml:1:26: advanced.effects: is now effects",
		"bodies: [{name: a, shape: eye, eye: {iris: {half_radius: 1}}}]":       "bodies: is now objects\nscene.yaml:1:32: objects.a.eye: has gone: its keys stand in objects.a itself\nscene.yaml:1:45: objects.a.iris.half_radius: is now objects.a.iris.scatter_radius",
		"objects: [{name: a, shape: eye, cornea: {sclera_roughness: 0.3}}]":    "objects.a.cornea.sclera_roughness: is now objects.a.sclera.roughness",
		"objects: [{name: a, shape: eye, iris: {colour: {file: a, wrap: x}}}]": "objects.a.iris.colour.wrap: is now objects.a.iris.colour.tiling",
		"picture: {filter: blackman-harris}":                                   "blackman-harris is none of gaussian, hann, tent, box; it was replaced by hann",
		"format: 1":                                                            "1 is outside [2, 2]",
	} {
		_, err := Parse("scene.yaml", []byte(text))
		for _, line := range strings.Split(want, "\n") {
			require.ErrorContains(t, err, line)
		}
	}
}

// A key has the name of its field, so that code, scene files and messages speak alike.
func TestKeysAreFields(t *testing.T) {
	camel := regexp.MustCompile(`([a-z])([A-Z])`)
	walk(schema(), "", func(path string, b *block, f *field) {
		name := ""
		if f.within > 0 {
			name = reflect.TypeFor[Eye]().Field(f.index).Name
		} else {
			name = b.typ.Field(f.index).Name
		}
		name = strings.Replace(name, "FNumber", "F_Number", 1)
		require.Equal(t, strings.ToLower(camel.ReplaceAllString(name, "${1}_${2}")), f.key, path)
	})
}

// Reports and manifests carry the number of their form, which is that of scene files.
func TestStamp(t *testing.T) {
	require.Equal(t, "{\n  \"format\": 2,\n  \"a\": 1\n}", string(Stamp([]byte("{\n  \"a\": 1\n}"))))
	require.Equal(t, "[1]", string(Stamp([]byte("[1]"))))
	d, err := Parse("scene.yaml", []byte(oneEye))
	require.NoError(t, err)
	require.Equal(t, Form, d.Format)
}
