package desk

import (
	"cmp"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"catchlight/scene"
	"catchlight/scene/edit"
)

// State is what a page shows of a desk.
type State struct {
	Scene     string         `json:"scene"`  // name of the file
	Folder    string         `json:"folder"` // that it lies in
	Text      string         `json:"text"`
	Values    map[string]any `json:"values"` // of all keys
	Set       []string       `json:"set"`    // keys that stand in the text
	Edited    []string       `json:"edited"` // keys whose values are not the file's
	Undo      int            `json:"undo"`
	Redo      int            `json:"redo"`
	Side      string         `json:"ab"` // A or B
	Stale     bool           `json:"stale"`
	Disk      []Clash        `json:"disk,omitempty"` // while Stale: what the file on disk changed
	Broken    bool           `json:"broken"`         // the file on disk can't be read; Problem says why
	Dirty     bool           `json:"dirty"`          // a side differs from the file as it is on disk
	Restored  int            `json:"restored"`       // steps that were taken up from the last time
	Problem   string         `json:"problem"`        // empty: all is well
	Version   uint64         `json:"version"`
	Lights    []Entry        `json:"lights"`
	Objects   []Entry        `json:"objects"`
	Paint     []Paint        `json:"paint"`
	Film      Film           `json:"film"`
	Slots     []Slot         `json:"slots"` // that a dropped file may be for
	Snapshots []Snapshot     `json:"snapshots"`
}

// Entry is a light or an object.
type Entry struct {
	Name  string `json:"name"`
	Kind  string `json:"kind,omitempty"`
	Shape string `json:"shape,omitempty"`
	On    bool   `json:"on"`
}

// Paint is a layer of paint of an eye.
type Paint struct {
	Object string  `json:"object"`
	Name   string  `json:"name"`
	Kind   string  `json:"kind"`
	On     bool    `json:"on"`
	Amount float64 `json:"amount"`
}

// Film is the size of the picture.
type Film struct {
	Width   int `json:"width"`
	Height  int `json:"height"`
	Samples int `json:"spp"`
}

// State returns what there is to show.
func (k *Desk) State() *State {
	k.mu.Lock()
	defer k.mu.Unlock()
	text, values := k.sides[k.at].Text, k.d.Values()
	s := &State{
		Scene: filepath.Base(k.path), Folder: filepath.Dir(k.path), Text: text, Values: values, Set: edit.Keys(text),
		Edited: differing(k.original.Values(), values), Undo: len(k.sides[k.at].Undo), Redo: len(k.sides[k.at].Redo),
		Side: string(rune('A' + k.at)), Stale: k.disk != nil, Dirty: k.dirty() || k.broken != "", Restored: k.restored,
		Problem: cmp.Or(k.broken, k.note), Broken: k.broken != "", Disk: k.clashes(), Version: k.version,
		Film: Film{k.d.Picture.Width, k.d.Picture.Height, k.d.Picture.Samples}, Snapshots: slices.Clone(k.shots), Slots: k.slots(),
		Lights: []Entry{}, Objects: []Entry{}, Paint: []Paint{},
	}
	if err := k.journal.problem(); err != nil && s.Problem == "" {
		s.Problem = "steps can't be kept for the next start: " + err.Error()
	}
	for i := range k.d.Lights {
		l := &k.d.Lights[i]
		s.Lights = append(s.Lights, Entry{Name: l.Name, Kind: l.Kind, On: l.On})
	}
	for i := range k.d.Objects {
		o := &k.d.Objects[i]
		s.Objects = append(s.Objects, Entry{Name: o.Name, Shape: o.Shape, On: true})
		if o.Eye == nil {
			continue
		}
		for _, p := range o.Eye.Paint {
			s.Paint = append(s.Paint, Paint{o.Name, p.Name, p.Kind, p.On, p.Amount})
		}
	}
	return s
}

// differing lists the keys whose values are not the same, or that only one of both has.
func differing(a, b map[string]any) []string {
	out := []string{}
	for key, v := range b {
		if w, ok := a[key]; !ok || !reflect.DeepEqual(v, w) {
			out = append(out, key)
		}
	}
	for key := range a {
		if _, ok := b[key]; !ok {
			out = append(out, key)
		}
	}
	slices.Sort(out)
	return out
}

// Difference is a key with two values; nil where one has none.
type Difference struct {
	Key string `json:"key"`
	A   any    `json:"a"`
	B   any    `json:"b"`
}

// Differences lists what differs between two of: now, file, A, B, or a snapshot's id.
func (k *Desk) Differences(a, b string) ([]Difference, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	var values [2]map[string]any
	for i, id := range []string{a, b} {
		d, err := k.standsFor(id)
		if err != nil {
			return nil, err
		}
		values[i] = d.Values()
	}
	out := []Difference{}
	for _, key := range differing(values[0], values[1]) {
		out = append(out, Difference{key, values[0][key], values[1][key]})
	}
	return out, nil
}

// standsFor returns the description that an id stands for.
func (k *Desk) standsFor(id string) (*scene.Description, error) {
	switch id {
	case "now", "":
		return k.d, nil
	case "file":
		return k.original, nil
	case "A", "B":
		if s := k.sides[strings.Index("AB", id)]; s.Made {
			return scene.Parse(k.path, []byte(s.Text))
		}
		return nil, refuse("", "side %s is not there yet", id)
	}
	s, err := k.snapshot(id)
	if err != nil {
		return nil, err
	}
	return scene.Parse(k.path, []byte(s.Text))
}
