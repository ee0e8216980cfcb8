package desk

import (
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"

	"catchlight/scene"
	"catchlight/scene/edit"
)

// mostReplayed is the most steps that are put onto a new text one by one; more become one step.
const mostReplayed = 60

// Clash is a key that the file on disk changed meanwhile. A value is nil where the key is not there.
type Clash struct {
	Key  string `json:"key"`
	Was  any    `json:"was"`  // as the file was when the changes began
	File any    `json:"file"` // as it is on disk
	Mine any    `json:"mine"` // as it is here
	Both bool   `json:"both"` // changed here too, to another value
}

// clashes lists what the file on disk changed. k.mu is held.
func (k *Desk) clashes() []Clash {
	if k.theirs == nil {
		return nil
	}
	was, file, mine := k.original.Values(), k.theirs.Values(), k.d.Values()
	out := []Clash{}
	for _, key := range differing(was, file) {
		both := !same(mine, was, key) && !same(mine, file, key)
		out = append(out, Clash{key, was[key], file[key], mine[key], both})
	}
	return out
}

// same reports whether a key has one value in both, or is in none.
func same(a, b map[string]any, key string) bool {
	v, ok := a[key]
	w, there := b[key]
	return ok == there && reflect.DeepEqual(v, w)
}

// moved is a side whose changes of one text of the file are put onto another. Its steps go with it, where each of them can be; else
// they are one step.
func (k *Desk) moved(s side, base, theirs string) (side, error) {
	text, err := k.rebase(base, s.Text, theirs)
	if err != nil {
		return s, err
	}
	out := side{Text: theirs, Made: true}
	was := []step{} // the newest first
	at, ok := s.Text, true
	for i := len(s.Undo) - 1; i >= 0 && at != base && ok && len(was) <= mostReplayed; i-- {
		was = append(was, s.Undo[i])
		at, ok = s.Undo[i].back(at)
	}
	if at == base && ok && len(was) <= mostReplayed {
		for _, p := range slices.Backward(was) {
			at, _ = p.forth(at)
			now, err := k.rebase(base, at, theirs)
			if err != nil {
				out = side{Text: theirs, Made: true}
				break
			}
			q := between(out.Text, now)
			q.Gesture, q.Keys = p.Gesture, p.Keys
			out.push(q)
		}
	}
	if out.Text != text {
		out.push(between(out.Text, text))
	}
	return out, nil
}

// rebase puts the changes between two texts of the scene onto a third: what was changed from base to mine is as in mine, all else as in
// theirs, comments and layout too. It is refused where that can't be.
func (k *Desk) rebase(base, mine, theirs string) (string, error) {
	switch {
	case base == mine:
		return theirs, nil
	case base == theirs || mine == theirs:
		return mine, nil
	}
	var values [3]map[string]any
	for i, text := range []string{base, mine, theirs} {
		d, err := scene.Parse(k.path, []byte(text))
		if err != nil {
			return "", err
		}
		values[i] = d.Values()
	}
	want := maps.Clone(values[2])
	changed := differing(values[0], values[1])
	for _, key := range changed {
		if v, ok := values[1][key]; ok {
			want[key] = v
		} else {
			delete(want, key)
		}
	}
	var off []string
	for _, way := range []func() (string, error){
		func() (string, error) { return edit.Apply(theirs, edit.Between(base, mine)...) },
		func() (string, error) { return edit.Merge(base, mine, theirs) },
	} {
		text, err := way()
		if err != nil {
			continue
		}
		d, err := k.parse(text)
		if err != nil {
			continue
		}
		if off = differing(want, d.Values()); len(off) == 0 {
			return text, nil
		}
	}
	key := ""
	if i := slices.IndexFunc(changed, func(key string) bool { return !same(values[0], values[2], key) }); i >= 0 {
		key = changed[i]
	} else if len(off) > 0 {
		key = off[0]
	}
	return "", refuse(key, "your changes can't be put onto the file as it is now; save them under another name, then take the file")
}

// mostKept is how many texts that were on disk are kept.
const mostKept = 50

// keepCopy keeps a text that was on disk beside the journal, so that nothing is lost whatever is saved then.
func (k *Desk) keepCopy(text string) error {
	if k.journal.dir == "" {
		return nil
	}
	dir := filepath.Join(k.journal.dir, "kept")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	name := k.now().UTC().Format("20060102-150405.000000") + "-" + filepath.Base(k.path)
	if err := writeWhole(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
		return err
	}
	list, err := os.ReadDir(dir) // by name, and so by time
	for i := 0; err == nil && i < len(list)-mostKept; i++ {
		_ = os.Remove(filepath.Join(dir, list[i].Name())) // the next one tries again
	}
	return nil
}
