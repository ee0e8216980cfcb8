package scene

import (
	"catchlight/scene/builtin"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Keys lists all keys of the description with their values, as "picture.seed=5", in the order of the reference. Entries of lists
// go by their names. A file stands by the hash of its content, so that the same scene in another folder has the same
// list. The line about the scene is not among them.
func (d *Description) Keys() ([]string, error) {
	var out []string
	hashes := contents{}
	var walk func(b *block, v reflect.Value, path string) error
	walk = func(b *block, v reflect.Value, path string) error {
		for _, f := range b.fields {
			key := join(path, f.key)
			if key == "about" || key == "raster.budget" { // whose keys are those of raster
				continue
			}
			if f.within > 0 && v.Field(f.within-1).IsNil() {
				continue
			}
			w := f.in(v)
			if f.pointer {
				if w.IsNil() {
					out = append(out, key+"=null")
					continue
				}
				w = w.Elem()
			}
			switch f.kind {
			case group, surfaceMap:
				if err := walk(f.block, w, key); err != nil {
					return err
				}
			case blocks:
				for i := range w.Len() {
					name := strconv.Itoa(i)
					if n := w.Index(i).FieldByName("Name"); n.IsValid() && n.String() != "" {
						name = n.String()
					}
					if err := walk(f.block, w.Index(i), join(key, name)); err != nil {
						return err
					}
				}
			case fileName:
				text := ""
				if p := Path(w.String()); p != "" {
					var err error
					if text, err = hashes.of(p); err != nil {
						return fmt.Errorf("%s: %w", key, err)
					}
				}
				out = append(out, key+"="+text)
			case vector:
				out = append(out, fmt.Sprintf("%s=[%v, %v, %v]", key, w.Field(0), w.Field(1), w.Field(2)))
			default:
				text, err := json.Marshal(w.Interface())
				if err != nil {
					return fmt.Errorf("%s: %w", key, err)
				}
				out = append(out, key+"="+string(text))
			}
		}
		return nil
	}
	err := walk(schema(), reflect.ValueOf(d).Elem(), "")
	return out, err
}

// contents are the hashes of files by their names, each made once.
type contents map[string]string

// of says what a file holds, or all tiles of a set.
func (c contents) of(p Path) (string, error) {
	tiles, err := TileFiles(p)
	if err != nil {
		return "", err
	}
	list := []string{string(p)}
	if len(tiles) > 0 {
		list = list[:0]
		for _, n := range slices.Sorted(maps.Keys(tiles)) {
			list = append(list, tiles[n])
		}
	}
	var all []string
	for _, f := range list {
		h, ok := c[f]
		if !ok {
			if h, err = builtin.Hash(f); err != nil {
				return "", err
			}
			c[f] = h
		}
		all = append(all, h[:16])
	}
	return "content " + strings.Join(all, "+"), nil
}

// mostDiffering bounds the keys that Differing names.
const mostDiffering = 6

// Differing says which keys of two lists of Keys differ, with the values of both: "picture.seed is 5, was 1". It is "" for none.
func Differing(now, before []string) string {
	split := func(list []string) map[string]string {
		out := make(map[string]string, len(list))
		for _, s := range list {
			k, v, _ := strings.Cut(s, "=")
			out[k] = v
		}
		return out
	}
	a, b := split(now), split(before)
	var out []string
	n := 0
	say := func(key, text string) {
		if n++; n <= mostDiffering {
			out = append(out, key+" "+text)
		}
	}
	for _, s := range now {
		k, v, _ := strings.Cut(s, "=")
		switch w, ok := b[k]; {
		case !ok:
			say(k, "is "+shorten(v)+", was not there")
		case v != w && strings.HasPrefix(v, "content ") && strings.HasPrefix(w, "content "):
			say(k, "names a file of another content")
		case v != w:
			say(k, "is "+shorten(v)+", was "+shorten(w))
		}
	}
	for _, s := range before {
		k, w, _ := strings.Cut(s, "=")
		if _, ok := a[k]; !ok {
			say(k, "is not there, was "+shorten(w))
		}
	}
	if n > mostDiffering {
		out = append(out, fmt.Sprintf("and %d more", n-mostDiffering))
	}
	return strings.Join(out, "; ")
}
