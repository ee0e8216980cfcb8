package main

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/job"
)

// shape lists the keys of a JSON text by path with the kind of what they hold, one a line; lists by their entries' shapes.
func shape(t *testing.T, file string) string {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	var v any
	require.NoError(t, json.Unmarshal(data, &v))
	lines := map[string]bool{}
	var walk func(path string, v any)
	walk = func(path string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, w := range v {
				walk(path+"."+k, w)
			}
		case []any:
			lines[path+"[]"] = true
			for _, w := range v {
				walk(path+"[]", w)
			}
		case string:
			lines[path+" text"] = true
		case float64:
			lines[path+" number"] = true
		default:
			lines[fmt.Sprintf("%s %T", path, v)] = true
		}
	}
	walk("", v)
	var out []string
	for l := range lines {
		out = append(out, strings.TrimPrefix(l, "."))
	}
	slices.Sort(out)
	return strings.Join(out, "\n") + "\n"
}

// Scripts read these files. Each has a list of its keys in testdata/json; whoever changes a key
// changes the list with it. CATCHLIGHT_WRITE_SHAPES=1 writes the lists anew.
func TestShapesOfJSON(t *testing.T) {
	lists, err := os.Getwd()
	require.NoError(t, err)
	lists += "/../../testdata/json/"
	file := writeHeron(t)
	put(t, "float.yaml", float)
	require.NoError(t, job.Copy("eye.glb", lists+"../eye/ict_right_eye_axial24mm.glb"))
	for _, args := range []string{
		"render float.yaml -o a.png --stats stats.json --error draft --samples 16",
		"render float.yaml -o b.png --look raster",
		"render float.yaml -o c.png --shard 1/2",
		"sheet float.yaml -o sheet --size 8x8 --samples 2 --cache=",
		"turntable " + file + " -o turn --frames 2 --size 8x8 --samples 2",
		"compare " + file + " --vary advanced.max_depth=3,4 -o compare --size 16x16 --samples 2 --cache=",
		"sheet --distance " + file + " -o far --size 64x64 --samples 2 --page png,svg,pdf --cache=",
		"scale " + file + " -o scale --size 64x64 --samples 1 --walks 1000 --cache=",
		"inspect " + file + " --json inspect.json",
		"grow " + file + " --out grown --size 64 --maps zones --meshes none --wobble 0",
		"base --out base --levels 1",
		"bake eye.glb eye.glb --out bake --size 64 --samples 1 --maps normal,height,ids --align --yes --proof --proof-size 64 --proof-samples 8",
	} {
		code, _, stderr := catchlight(strings.Fields(args)...)
		require.Zero(t, code, "%s: %s", args, stderr)
	}
	code, _, stderr := catchlight("changed", "sheet", "sheet", "--json", "changed.json")
	require.Zero(t, code, stderr)
	for name, file := range map[string]string{
		"report": "stats.json", "report-raster": "b.json", "report-part": "c.shard-1-of-2.json", "cell": "sheet/row1-column1.json",
		"manifest": "sheet/manifest.json", "sheet": "sheet/report.json", "turntable": "turn/report.json", "scale": "scale/scale.json", "distance": "far/distance.json",
		"compare": "compare/compare.json", "grown": "grown/grown.json", "changed": "changed.json", "inspect": "inspect.json", "base": "base/base.json", "bake": "bake/bake.json",
	} {
		got := shape(t, file)
		if os.Getenv("CATCHLIGHT_WRITE_SHAPES") != "" {
			require.NoError(t, os.MkdirAll(lists, 0o777))
			require.NoError(t, os.WriteFile(lists+name+".txt", []byte(got), 0o666))
		}
		want, err := os.ReadFile(lists + name + ".txt")
		require.NoError(t, err)
		require.Equal(t, string(want), got, "the keys of %s", name)
	}
}
