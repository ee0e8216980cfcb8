package desk

import (
	"reflect"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene"
	"catchlight/scene/edit"
)

// List adds, copies, removes or moves an entry of a list, as one step. add makes an entry of a kind or shape, to; copy makes one with
// the name to; move brings it to the place that to counts from 0.
func (k *Desk) List(key, op, name, to string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	s := scene.KeyAt(key)
	if s == nil || s.Kind != "list" {
		return refuse(key, "this is no list")
	}
	text := k.sides[k.at].Text
	if op == "add" {
		value, err := starter(s, name, to)
		if err != nil {
			return err
		}
		if k.exists(key, name) {
			return refuse(key, "there is an entry %s already", name)
		}
		if strings.HasSuffix(key, ".paint") && !isList(text, key) {
			delete(value, "name")
			return k.set("", []edit.Change{{Key: key + "." + name, Value: value}})
		}
		now, err := edit.Add(text, key, value)
		return k.listed(key, now, err)
	}
	if !k.exists(key, name) {
		return refuse(key, "there is no entry %s", name)
	}
	if !isList(text, key) { // a list that is built in, perhaps with changes: from here on the file has all of it
		whole, err := k.d.Written(key)
		if err == nil {
			text, err = edit.Apply(text, edit.Change{Key: key, Value: edit.Raw(whole)})
		}
		if err != nil {
			return err
		}
	}
	var now string
	var err error
	switch op {
	case "copy":
		now, err = edit.Copy(text, key, name, to)
	case "remove":
		now, err = edit.Remove(text, key, name)
	case "move":
		var n int
		if n, err = strconv.Atoi(to); err != nil {
			return refuse(key, "%s is no place in a list", to)
		}
		now, err = edit.Move(text, key, name, n)
	default:
		return refuse(key, "lists know add, copy, remove and move")
	}
	return k.listed(key, now, err)
}

// isList reports whether a key is written as a list.
func isList(text, key string) bool { return edit.IsList(text, key) }

// exists reports whether a list has an entry.
func (k *Desk) exists(key, name string) bool {
	_, ok := k.d.Values()[key+"."+name+".name"]
	return ok
}

// listed takes a text in which a list has other entries. All that has the same name as before must be the same.
func (k *Desk) listed(key, text string, err error) error {
	if err != nil {
		return err
	}
	d, err := k.parse(text)
	if err != nil {
		return err
	}
	before, after := k.d.Values(), d.Values()
	for name, v := range before {
		if w, ok := after[name]; ok && !reflect.DeepEqual(v, w) || !ok && !strings.HasPrefix(name, key+".") {
			return refuse(key, "this can't be written into the file's text as it is laid out; change it in the file")
		}
	}
	k.to(text, "", d, key)
	return nil
}

// starter is a new entry of a list that can be seen.
func starter(list *scene.Key, name, kind string) (map[string]any, error) {
	words := []string(nil)
	for _, f := range list.Keys {
		if f.Key == list.Selector {
			words = f.Words
		}
	}
	if kind == "" && len(words) > 0 {
		kind = words[0]
		if list.Key == "lights" {
			kind = "rectangle"
		}
	}
	if list.Selector != "" && !slices.Contains(words, kind) {
		return nil, refuse(list.Key+"."+list.Selector, "%s is none of %s", kind, strings.Join(words, ", "))
	}
	value := map[string]any{"name": name}
	if list.Selector != "" {
		value[list.Selector] = kind
	}
	orbit := map[string]any{"azimuth": -35.0, "elevation": 35.0, "distance": 2000.0}
	switch kind {
	case "environment":
		value["file"] = "builtin:cottage-room"
	case "constant":
		value["radiance"] = 0.2
	case "rectangle", "disc":
		value["orbit"], value["radiance"] = orbit, 20.0
	case "sphere":
		if list.Key == "lights" {
			value["orbit"], value["radiance"] = orbit, 20.0
		}
	case "distant":
		value["orbit"], value["irradiance"] = orbit, 1.0
	case "flag":
		value["orbit"] = orbit
	}
	return value, nil
}
