package scene

import (
	"bytes"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// walk calls visit for every key of a block and of those below, with its path as the reference writes it.
func walk(b *block, path string, visit func(path string, b *block, f *field)) {
	for _, f := range b.fields {
		p := join(path, f.key)
		visit(p, b, f)
		switch f.kind {
		case group:
			walk(f.block, p, visit)
		case blocks:
			walk(f.block, p+".NAME", visit)
		}
	}
}

// Every tag in description.go can be used: a doc for each key, a default that its own range and words allow (but 0
// for "not given"), and a range only where there are numbers.
func TestTags(t *testing.T) {
	seen := 0
	walk(schema(), "", func(path string, b *block, f *field) {
		seen++
		require.NotEmpty(t, f.doc, path)
		require.NotContains(t, f.doc, "|", path)
		require.Regexp(t, `^[a-z][a-z0-9_]*$`, f.key)
		if (f.preset != nil) && (f.kind == number || f.kind == whole || f.kind == channels || f.kind == pair || f.kind == wholePair || f.kind == vector || f.kind == surfaceMap) {
			require.Regexp(t, `published source|from memory|our own|neutral|[12][890][0-9][0-9]|ISO|glTF|this program`, f.source, "%s: a default wants its source or mark", path)
			require.NotRegexp(t, `from memory.*published source`, f.source, path)
		}
		if f.limits.set {
			require.NotContains(t, []valueKind{boolean, text, fileName, group, blocks}, f.kind, path)
		}
		if f.preset == nil {
			return
		}
		d := decoder{}
		d.value(f, f.preset, f.in(reflect.New(b.typ).Elem()), path)
		if len(d.problems) > 0 {
			require.Equal(t, "0", f.def, "%s: %v", path, d.problems)
		}
	})
	require.Greater(t, seen, 100)
}

// A description that gives nothing has every plain default, also those within blocks.
func TestPresets(t *testing.T) {
	d, err := Parse("least.yaml", []byte(head))
	require.NoError(t, err)
	walk(schema(), "", func(path string, b *block, f *field) {
		if f.preset == nil || f.pointer || strings.Contains(path, "NAME") || strings.HasPrefix(path, "camera.orbit") || strings.HasPrefix(path, "view.glare") || f.kind == surfaceMap {
			return
		}
		v := reflect.ValueOf(d).Elem()
		keys := strings.Split(path, ".")
		for bl := schema(); len(keys) > 0; keys = keys[1:] {
			f := bl.field(keys[0])
			v, bl = f.in(v), f.block
		}
		want := f.def
		if v.Kind() == reflect.String || v.Kind() == reflect.Int || v.Kind() == reflect.Float64 || v.Kind() == reflect.Bool {
			require.Equal(t, want, fmt.Sprint(v.Interface()), path)
		}
	})
}

func TestReference(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Reference(&b))
	walk(schema(), "", func(path string, _ *block, f *field) {
		require.Equal(t, 1, strings.Count(b.String(), "| `"+path+"` |"), path)
	})
	for _, line := range []string{
		"| `picture.width` | whole number | px | [1, 16384] | 640 | width of the picture |",
		"| `lights.NAME.power` | number | W | [0, 1e12] | none | radiant flux of all that shines (a window: its panes), split by tint; instead of radiance (kind rectangle, disc or sphere only) |",
		"| `view.tone_mapping` | word |  | reinhard, neutral, filmic, none |",
		"| `space` | word |  | auto, srgb, p3, linear, linear-rec2020, linear-ap1 | auto |",
		"| `objects.NAME.asset.file` | file name |  | .glb .gltf .obj .ply .stl | required |",
	} {
		require.Contains(t, b.String(), line)
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if strings.HasPrefix(line, "|") {
			require.Equal(t, 8, strings.Count(line, "|"), line)
		}
	}
}

// The example loads, says the same as its source without the comments, and shows every key of what is in it.
func TestExample(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Example(&b))
	got, err := Parse("example.yaml", b.Bytes())
	require.NoError(t, err)
	want, err := Parse("example.yaml", exampleScene)
	require.NoError(t, err)
	got.source, want.source = nil, nil
	require.Equal(t, want, got)
	for _, section := range []string{"picture", "camera", "view", "advanced", "effects"} {
		walk(schema().field(section).block, "", func(path string, _ *block, f *field) {
			if len(f.only) == 0 || slices.Contains(f.only, "perspective") {
				require.Regexp(t, `(?m)^ +(# *)?`+f.key+`:`, b.String())
			}
		})
	}
}

func TestNearest(t *testing.T) {
	words := []string{"width", "height", "spp", "seed", "filter"}
	for s, want := range map[string]string{"widht": "width", "Width": "width", "hieght": "height", "sp": "spp", "sead": "seed", "x": "", "gamma": "", "": "", "filtre": "filter"} {
		require.Equal(t, want, nearest(s, words), s)
	}
	// Distances by hand.
	for _, c := range []struct {
		a, b string
		d    int
	}{{"", "", 0}, {"a", "", 1}, {"ab", "ba", 1}, {"kitten", "sitting", 3}, {"iris", "iris", 0}} {
		require.Equal(t, c.d, edits(c.a, c.b))
	}
}

func ExampleLoad() {
	dir, _ := os.MkdirTemp("", "")
	defer os.RemoveAll(dir)
	file := dir + "/heron.yaml"
	os.WriteFile(file, []byte("camera: {orbit: {distance: 300}}\nlights: [{name: sky, kind: constant, radiance: 1}]\n"), 0o666)
	d, err := Load(file, "lights.sky.ev=-1", "picture.samples=16")
	fmt.Println(d.Camera.Orbit.Distance, d.Lights[0].EV, d.Picture.Samples, err)
	_, err = Load(file, "picture.samples=0")
	fmt.Println(err)
	// Output:
	// 300 -1 16 <nil>
	// --set picture.samples=0: picture.samples: 0 is outside [1, 1048576]
}
