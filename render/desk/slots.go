package desk

import (
	"slices"
	"sync"

	"catchlight/scene"
)

// Slot is a key that a dropped file can be tried in.
type Slot struct {
	Key  string   `json:"key"`
	Doc  string   `json:"doc"`  // what it is
	Ends []string `json:"ends"` // endings of the files that it takes
}

// tree is the schema, which is always the same.
var tree = sync.OnceValue(scene.Schema)

// lacks reports whether a block wants more than a file: numbers that the scene does not give.
func lacks(values map[string]any, block *scene.Key, path string) bool {
	return slices.ContainsFunc(block.Keys, func(k *scene.Key) bool {
		return k.Required && k.Kind != "file" && values[path+"."+k.Key] == nil
	})
}

// slots lists what a dropped file may be for: the maps of eyes and the pictures of surroundings, each once, as far as what the scene has
// there may be given. k.mu is held.
func (k *Desk) slots() []Slot {
	out := []Slot{}
	values := k.d.Values()
	var walk func(block *scene.Key, path string)
	walk = func(block *scene.Key, path string) {
		chosen := ""
		if block.Selector != "" {
			chosen, _ = values[path+"."+block.Selector].(string)
		}
		for _, key := range block.Keys {
			at := path + "." + key.Key
			switch {
			case len(key.Only) > 0 && !slices.Contains(key.Only, chosen):
			case key.Kind == "map": // its own keys are the same place
				for _, q := range key.Keys {
					if q.Key == "file" {
						out = append(out, Slot{at, key.Doc, q.Ends})
					}
				}
			case key.Kind == "file" && !lacks(values, block, path):
				out = append(out, Slot{at, key.Doc, key.Ends})
			case key.Kind == "block":
				walk(key, at)
			}
		}
	}
	for _, list := range tree().Keys {
		switch list.Key {
		case "objects":
			for i := range k.d.Objects {
				if o := &k.d.Objects[i]; o.Eye != nil {
					walk(list, "objects."+o.Name)
				}
			}
		case "lights":
			for i := range k.d.Lights {
				if l := &k.d.Lights[i]; l.Kind == "environment" {
					walk(list, "lights."+l.Name)
				}
			}
		}
	}
	return out
}
