package scene

import (
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/builtin"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Equal reports whether two descriptions say the same, whatever text they were read from.
func Equal(a, b *Description) bool {
	x, y := *a, *b
	x.source, y.source, x.File, y.File = nil, nil, "", ""
	return reflect.DeepEqual(&x, &y)
}

// Values returns the values of all keys by their paths, as JSON has them. Entries of lists go by name. A map has its constant at
// its own key and the rest below it; a key without a value that may be absent is nil. Files in the scene's folder go by their names
// from there.
func (d *Description) Values() map[string]any {
	out := map[string]any{}
	folder := filepath.Dir(d.File)
	d.visit(schema(), reflect.ValueOf(d).Elem(), "", func(key string, f *field, v reflect.Value) {
		if v.IsValid() {
			out[key] = plain(v, folder)
		} else {
			out[key] = nil
		}
	})
	return out
}

// visit calls do for all keys that hold a value, of blocks that are there; for a pointer of nil with no value.
func (d *Description) visit(b *block, v reflect.Value, path string, do func(key string, f *field, v reflect.Value)) {
	chosen := ""
	if b.selector != nil {
		chosen = b.selector.in(v).String()
	}
	for _, f := range b.fields {
		if f.within > 0 && v.Field(f.within-1).IsNil() || len(f.only) > 0 && !slices.Contains(f.only, chosen) {
			continue
		}
		key, w := join(path, f.key), f.in(v)
		if f.pointer {
			if w.IsNil() {
				do(key, f, reflect.Value{})
				continue
			}
			w = w.Elem()
		}
		switch f.kind {
		case group:
			d.visit(f.block, w, key, do)
		case blocks:
			for i := range w.Len() {
				d.visit(f.block, w.Index(i), join(key, entryName(w.Index(i), i)), do)
			}
		case surfaceMap:
			do(key, f, w.FieldByName("Value"))
			d.visit(f.block, w, key, do)
		default:
			do(key, f, w)
		}
	}
}

// entryName is how an entry of a list is addressed.
func entryName(v reflect.Value, i int) string {
	if n := v.FieldByName("Name"); n.IsValid() && n.String() != "" {
		return n.String()
	}
	return strconv.Itoa(i)
}

// plain returns a value as JSON has it.
func plain(v reflect.Value, folder string) any {
	switch x := v.Interface().(type) {
	case colour.RGB:
		return []any{x[0], x[1], x[2]}
	case geom.Vec:
		return []any{x.X, x.Y, x.Z}
	case [2]float64:
		return []any{x[0], x[1]}
	case [2]int:
		return []any{float64(x[0]), float64(x[1])}
	case int:
		return float64(x)
	case Path:
		return near(string(x), folder)
	}
	return v.Interface()
}

// near names a file from a folder where it lies within it.
func near(file, folder string) string {
	if file == "" || builtin.Is(file) {
		return file
	}
	if rel, err := filepath.Rel(folder, file); err == nil && filepath.IsLocal(rel) {
		return filepath.ToSlash(rel)
	}
	return file
}

// Written returns the value of a key as a scene file has it, in flow style: of a block or a list what differs from the defaults.
// Names of files are in full.
func (d *Description) Written(key string) (string, error) {
	e := encoder{}
	b, v := schema(), reflect.ValueOf(d).Elem()
	path := strings.Split(key, ".")
	for i := 0; i < len(path); i++ {
		f := b.field(path[i])
		if f == nil || f.within > 0 && v.Field(f.within-1).IsNil() {
			return "", fmt.Errorf("%s: there is no such key", key)
		}
		w := f.in(v)
		if f.pointer {
			if w.IsNil() {
				return "null", nil
			}
			w = w.Elem()
		}
		if i == len(path)-1 {
			text := e.value(f, w, key)
			return text, e.err
		}
		if f.kind == blocks {
			i++
			at := -1
			for j := range w.Len() {
				if entryName(w.Index(j), j) == path[i] || strconv.Itoa(j) == path[i] && at < 0 {
					at = j
				}
			}
			if at < 0 {
				return "", fmt.Errorf("%s: there is no entry %s", key, path[i])
			}
			w = w.Index(at)
			if i == len(path)-1 {
				text := e.block(f.block, w, key)
				return text, e.err
			}
		}
		if f.block == nil {
			return "", fmt.Errorf("%s: there is no such key", key)
		}
		b, v = f.block, w
	}
	return "", fmt.Errorf("%s: there is no such key", key)
}

// KeyAt returns what the schema says of a key by its path, or nil.
func KeyAt(path string) *Key {
	b := schema()
	parts := strings.Split(path, ".")
	for i := 0; i < len(parts); i++ {
		f := b.field(parts[i])
		if f == nil {
			return nil
		}
		if f.kind == blocks && i+2 < len(parts) {
			i++
		} else if i < len(parts)-1 && f.kind == blocks {
			k := f.public()
			k.Kind, k.Selector = kindNames[group], ""
			return k
		}
		if i == len(parts)-1 {
			return f.public()
		}
		if b = f.block; b == nil {
			return nil
		}
	}
	return nil
}
