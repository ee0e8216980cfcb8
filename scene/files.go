package scene

import (
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/builtin"
	"catchlight/scene/texture"
)

// TileToken stands in a file name for the number of a tile.
const TileToken = "{tile}"

// TileFiles finds the files of a set of tiles by their numbers. It is empty for a name without the token.
func TileFiles(path Path) (map[int]string, error) {
	dir, base := filepath.Split(string(path))
	before, after, ok := strings.Cut(base, TileToken)
	if !ok {
		return nil, nil
	}
	list, err := os.ReadDir(filepath.Clean(dir + "."))
	if err != nil {
		return nil, err
	}
	out := map[int]string{}
	for _, e := range list {
		rest, ok := strings.CutPrefix(e.Name(), before)
		if !ok || !e.Type().IsRegular() {
			continue
		}
		number, ok := strings.CutSuffix(rest, after)
		if n, err := strconv.Atoi(number); ok && err == nil && len(number) == 4 && n >= texture.FirstTile && n <= texture.LastTile {
			out[n] = filepath.Join(dir, e.Name())
		}
	}
	return out, nil
}

// Files lists the files that the description names, each once, in its order: pictures and each of their tiles, meshes,
// environments. The scene file itself comes first; files that live in the program are left out.
func (d *Description) Files() []string {
	return slices.DeleteFunc(d.named(), builtin.Is)
}

// named is Files with those that live in the program.
func (d *Description) named() []string {
	var out []string
	seen := map[string]bool{}
	add := func(path string) {
		if path != "" && !seen[path] {
			seen[path] = true
			out = append(out, path)
		}
	}
	add(d.File)
	for _, p := range d.paths() {
		tiles, _ := TileFiles(p)
		if len(tiles) == 0 {
			add(string(p))
		}
		for _, n := range slices.Sorted(maps.Keys(tiles)) {
			add(tiles[n])
		}
	}
	return out
}

// paths lists the file names of the description as they stand in it, sets of tiles by their pattern.
func (d *Description) paths() []Path {
	var out []Path
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Pointer:
			if !v.IsNil() {
				walk(v.Elem())
			}
		case reflect.Struct:
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(v.Field(i))
				}
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i))
			}
		case reflect.String:
			if p, ok := v.Interface().(Path); ok && p != "" {
				out = append(out, p)
			}
		}
	}
	walk(reflect.ValueOf(d))
	return out
}
