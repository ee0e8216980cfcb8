package desk

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"catchlight/scene"
	"catchlight/scene/edit"
)

// ErrBusy says that another process has the scene on its desk.
var ErrBusy = errors.New("another page of this scene is open; close it first")

// Options say where a desk keeps what.
type Options struct {
	Journals string // folder of all journals; empty: nothing outlives the process
}

// Desk is a scene under change. Its methods may be called from any goroutine.
type Desk struct {
	path    string // of the scene file, in full
	journal *journal
	now     func() time.Time

	mu       sync.Mutex
	base     string // the file's text as last read or written
	original *scene.Description
	sides    [2]side
	at       int // side in use
	d        *scene.Description
	disk     *string            // text of the file that changed under changes: a question
	glimpse  string             // text of the file at the last look
	theirs   *scene.Description // of that text; nil where it can't be read
	broken   string             // what is wrong with the file on disk
	note     string             // why changes of the last time were not taken up
	restored int                // steps taken from the journal
	version  uint64
	shots    []Snapshot      // oldest first, without texts
	named    map[string]bool // files outside the folder that the scene named when it was opened
}

// side is a text with its steps.
type side struct {
	Text string `json:"text"`
	Undo []step `json:"undo,omitempty"`
	Redo []step `json:"redo,omitempty"`
	Made bool   `json:"made,omitempty"` // it is there: B is made when it is first looked at
}

// step is a change of a text: New stands where Old stood.
type step struct {
	Gesture string   `json:"gesture,omitempty"`
	At      int      `json:"at"`
	Old     string   `json:"old"`
	New     string   `json:"new"`
	Keys    []string `json:"keys,omitempty"`
}

// mostSteps bounds the steps of a side that can be undone.
const mostSteps = 500

// between returns the step from one text to another.
func between(old, now string) step {
	a := 0
	for a < min(len(old), len(now)) && old[a] == now[a] {
		a++
	}
	b := 0
	for b < min(len(old), len(now))-a && old[len(old)-1-b] == now[len(now)-1-b] {
		b++
	}
	// Whole characters: the journal holds text.
	for a > 0 && (a < len(old) && !utf8.RuneStart(old[a]) || a < len(now) && !utf8.RuneStart(now[a])) {
		a--
	}
	for b > 0 && !utf8.RuneStart(old[len(old)-b]) {
		b--
	}
	return step{At: a, Old: old[a : len(old)-b], New: now[a : len(now)-b]}
}

func (s *step) forth(text string) (string, bool) { return swap(text, s.At, s.Old, s.New) }
func (s *step) back(text string) (string, bool)  { return swap(text, s.At, s.New, s.Old) }

// swap puts one text in place of another; ok is false where that does not stand there.
func swap(text string, at int, old, now string) (string, bool) {
	if at < 0 || at+len(old) > len(text) || text[at:at+len(old)] != old {
		return text, false
	}
	return text[:at] + now + text[at+len(old):], true
}

// push makes a step on a side. Steps of one gesture become one.
func (s *side) push(p step) bool {
	text, ok := p.forth(s.Text)
	if !ok {
		return false
	}
	if n := len(s.Undo); n > 0 && p.Gesture != "" && s.Undo[n-1].Gesture == p.Gesture && len(s.Redo) == 0 {
		before, ok := s.Undo[n-1].back(s.Text)
		if !ok {
			return false
		}
		keys := s.Undo[n-1].Keys
		for _, k := range p.Keys {
			if !slices.Contains(keys, k) {
				keys = append(keys, k)
			}
		}
		p = between(before, text)
		p.Gesture, p.Keys = s.Undo[n-1].Gesture, keys
		s.Undo = s.Undo[:n-1]
	}
	s.Text, s.Redo = text, nil
	if p.Old == p.New { // a gesture that came back
		return true
	}
	s.Undo = append(s.Undo, p)
	if len(s.Undo) > mostSteps {
		s.Undo = slices.Delete(s.Undo, 0, len(s.Undo)-mostSteps)
	}
	return true
}

// turn takes a step back, or forth again.
func (s *side) turn(redo bool) bool {
	from, to := &s.Undo, &s.Redo
	if redo {
		from, to = to, from
	}
	n := len(*from)
	if n == 0 {
		return false
	}
	p := (*from)[n-1]
	text, ok := p.back(s.Text)
	if redo {
		text, ok = p.forth(s.Text)
	}
	if !ok {
		return false
	}
	s.Text = text
	*from, *to = (*from)[:n-1], append(*to, p)
	return true
}

// Open reads a scene file and takes up the changes that the journal has for it.
func Open(path string, o Options) (*Desk, error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	d, err := scene.Load(full)
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(full)
	if err != nil {
		return nil, err
	}
	k := &Desk{path: full, now: time.Now, version: 1}
	dir := ""
	if o.Journals != "" {
		dir = folderOf(o.Journals, full)
	}
	var list []record
	if k.journal, list, err = openJournal(dir); errors.Is(err, ErrBusy) {
		return nil, err
	} else if err != nil {
		return nil, &JournalError{err}
	}
	k.named = filesOf(d)
	k.shots = k.readShelf()
	k.base, k.original, k.d = string(text), d, d
	k.sides[0] = side{Text: k.base, Made: true}
	k.replay(list)
	if dir != "" {
		k.sweep()
	}
	if err := k.journal.begin(k.whole()); err != nil {
		k.journal.close(false)
		return nil, &JournalError{err}
	}
	return k, nil
}

// JournalError says that the journal can't be kept, while the scene may be fine.
type JournalError struct{ Err error }

// Error implements error.
func (e *JournalError) Error() string {
	return "steps can't be kept for the next start: " + e.Err.Error()
}

// Unwrap returns the cause.
func (e *JournalError) Unwrap() error { return e.Err }

func (k *Desk) whole() *whole {
	return &whole{Scene: k.path, Base: k.base, At: k.at, Sides: k.sides}
}

// replay takes up the records of a journal. What can't be taken up leaves the file as it is.
func (k *Desk) replay(list []record) {
	if len(list) == 0 || list[0].Whole == nil {
		return
	}
	w := list[0].Whole
	for _, r := range list[1:] {
		s := &w.Sides[min(max(r.Side, 0), 1)]
		ok := true
		switch r.Do {
		case "edit":
			ok = s.push(step{r.Gesture, r.At, r.Old, r.New, r.Keys})
		case "undo", "redo":
			ok = s.turn(r.Do == "redo")
		case "side":
			w.At = min(max(r.Side, 0), 1)
			if !s.Made {
				*s = side{Text: w.Sides[1-w.At].Text, Made: true}
			}
		}
		if !ok {
			break
		}
	}
	w.At = min(max(w.At, 0), 1)
	if !w.Sides[0].Made || !w.Sides[w.At].Made {
		return
	}
	if w.Sides[0].Text == w.Base && (!w.Sides[1].Made || w.Sides[1].Text == w.Base) && w.Base != k.base {
		return // nothing was changed, and the file went on
	}
	d, err := scene.Parse(k.path, []byte(w.Sides[w.At].Text))
	if err != nil {
		k.note = "changes of the last time can't be taken up: " + AsProblem(err).Error()
		return
	}
	k.sides, k.at, k.d = w.Sides, w.At, d
	k.restored = len(k.sides[0].Undo) + len(k.sides[1].Undo)
	if w.Base != k.base {
		disk := k.base
		if old, err := scene.Parse(k.path, []byte(w.Base)); err == nil {
			k.theirs = k.original
			k.base, k.original, k.disk = w.Base, old, &disk
		}
	}
}

// Path returns the scene file.
func (k *Desk) Path() string { return k.path }

// Description returns the scene as it is now. Nobody changes it.
func (k *Desk) Description() (d *scene.Description, version uint64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.d, k.version
}

// Close ends the journal. Where nothing waits to be saved and nothing can be undone it is removed.
func (k *Desk) Close() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	err := k.journal.problem()
	k.journal.close(!k.dirty() && len(k.sides[0].Undo) == 0 && !k.sides[1].Made)
	return err
}

// dirty reports whether any side differs from the file.
func (k *Desk) dirty() bool {
	return k.sides[0].Text != k.base || k.sides[1].Made && k.sides[1].Text != k.base
}

// parse reads a text of the scene and looks whether it names only files that it may.
func (k *Desk) parse(text string) (*scene.Description, error) {
	d, err := scene.Parse(k.path, []byte(text))
	if err != nil {
		return nil, err
	}
	for _, f := range append(d.Files(), d.BudgetFile()) {
		if f != "" && !k.allowed(f) {
			return nil, refuse("", "%s lies outside the scene's folder; drop it onto the page, or name it in the scene file", f)
		}
	}
	return d, nil
}

// filesOf are the files that a description names.
func filesOf(d *scene.Description) map[string]bool {
	out := map[string]bool{}
	for _, f := range append(d.Files(), d.BudgetFile()) {
		if f != "" {
			out[filepath.Clean(f)] = true
		}
	}
	return out
}

// allowed reports whether a file may be opened for the page: what lies in the scene's folder, was dropped, or was named by the scene
// file itself.
func (k *Desk) allowed(file string) bool {
	clean := filepath.Clean(file)
	if k.named[clean] || clean == k.path {
		return true
	}
	real, err := filepath.EvalSymlinks(clean)
	if errors.Is(err, fs.ErrNotExist) { // a set of tiles
		if real, err = filepath.EvalSymlinks(filepath.Dir(clean)); err == nil {
			real = filepath.Join(real, filepath.Base(clean))
		}
	}
	return err == nil && (within(linkless(filepath.Dir(k.path)), real) || k.journal.dir != "" && within(linkless(k.drops()), real))
}

// linkless is a name without links, or as it is where there is no such file.
func linkless(name string) string {
	if real, err := filepath.EvalSymlinks(name); err == nil {
		return real
	}
	return name
}

// within reports whether a file lies in a folder or below it.
func within(dir, file string) bool {
	rel, err := filepath.Rel(dir, file)
	return err == nil && filepath.IsLocal(rel)
}

// to makes a text the one of the side in use, as one step.
func (k *Desk) to(text, gesture string, d *scene.Description, keys ...string) {
	s := &k.sides[k.at]
	p := between(s.Text, text)
	if p.Old == p.New {
		return
	}
	p.Gesture, p.Keys = gesture, keys
	s.push(p)
	k.d, k.note = d, ""
	k.log(record{Do: "edit", Side: k.at, Gesture: gesture, At: p.At, Old: p.Old, New: p.New, Keys: keys})
}

// log adds to the journal and marks a new version.
func (k *Desk) log(r record) {
	k.version++
	if k.journal.add(r) {
		_ = k.journal.begin(k.whole()) // an error is kept, and told with the state
	}
}

// Set makes changes, all or none. Those with the same gesture, if that is not empty, are undone together.
func (k *Desk) Set(gesture string, changes ...edit.Change) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.set(gesture, changes)
}

func (k *Desk) set(gesture string, changes []edit.Change) error {
	if len(changes) == 0 {
		return nil
	}
	text := k.sides[k.at].Text
	var sets, keys []string
	for _, c := range changes {
		if err := k.reachable(c.Key, c.Value); err != nil {
			return err
		}
		value, err := edit.Text(c.Value)
		if err != nil {
			return refuse(c.Key, "%v", err)
		}
		sets, keys = append(sets, c.Key+"="+value), append(keys, c.Key)
	}
	want, err := k.d.With(sets...)
	if err != nil {
		return err
	}
	now, err := edit.Apply(text, changes...)
	if err != nil {
		return err
	}
	got, err := k.parse(now)
	if err != nil {
		return err
	}
	if !scene.Equal(want, got) {
		return refuse(keys[0], "this can't be written into the file's text as it is laid out; change it in the file")
	}
	k.to(now, gesture, got, keys...)
	return nil
}

// reachable refuses names of files that lead out of the scene's folder before anything is looked up.
func (k *Desk) reachable(key string, value any) error {
	switch v := value.(type) {
	case string:
		full := filepath.FromSlash(v)
		if key == "about" || k.drawn(key) || filepath.IsLocal(full) {
			return nil
		}
		if !filepath.IsAbs(full) {
			full = filepath.Join(filepath.Dir(k.path), full)
		}
		if (filepath.IsAbs(v) || slices.Contains(pathParts(v), "..")) && !k.allowed(full) {
			return refuse(key, "%s lies outside the scene's folder; drop it onto the page, or name it in the scene file", v)
		}
	case edit.Raw:
		return refuse(key, "a value of this kind is not taken")
	case []any:
		for _, x := range v {
			if err := k.reachable(key, x); err != nil {
				return err
			}
		}
	case map[string]any:
		for name, x := range v {
			if err := k.reachable(key+"."+name, x); err != nil {
				return err
			}
		}
	}
	return nil
}

// drawn reports whether a key takes a text that is no file's name.
func (k *Desk) drawn(key string) bool {
	s := scene.KeyAt(key)
	return s != nil && (s.Kind == "choice" || s.Key == "about" || s.Key == "shows")
}

func pathParts(name string) []string {
	return slices.Collect(func(yield func(string) bool) {
		from := 0
		for i := 0; i <= len(name); i++ {
			if i == len(name) || name[i] == '/' || name[i] == '\\' {
				if !yield(name[from:i]) {
					return
				}
				from = i + 1
			}
		}
	})
}

// Undo takes back the last step of the side in use, Redo makes it again. They report whether there was one.
func (k *Desk) Undo() (bool, error) { return k.turn(false) }

// Redo is described at Undo.
func (k *Desk) Redo() (bool, error) { return k.turn(true) }

func (k *Desk) turn(redo bool) (bool, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	trial := k.sides[k.at]
	trial.Undo, trial.Redo = slices.Clone(trial.Undo), slices.Clone(trial.Redo)
	if !trial.turn(redo) {
		return false, nil
	}
	d, err := k.parse(trial.Text)
	if err != nil {
		return false, err
	}
	k.sides[k.at], k.d = trial, d
	word := "undo"
	if redo {
		word = "redo"
	}
	k.log(record{Do: word, Side: k.at})
	return true, nil
}

// Look goes to side A (0) or B (1). B begins as a copy of A.
func (k *Desk) Look(at int) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if at != 0 && at != 1 {
		return refuse("", "there are sides A and B")
	}
	if at == k.at {
		return nil
	}
	s := k.sides[at]
	if !s.Made {
		s = side{Text: k.sides[1-at].Text, Made: true}
	}
	d, err := k.parse(s.Text)
	if err != nil {
		return err
	}
	k.sides[at], k.at, k.d = s, at, d
	k.log(record{Do: "side", Side: at})
	return nil
}

// Reset takes a key, and all below it, back to what the file says.
func (k *Desk) Reset(key string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	c := edit.Change{Key: key}
	if scene.KeyAt(key) == nil {
		return refuse(key, "there is no such key")
	}
	if raw, ok := edit.Get(k.base, key); ok {
		c.Value = edit.Raw(raw)
	} else if edit.Has(k.base, key) { // over several lines
		text, err := k.original.Written(key)
		if err != nil {
			return err
		}
		c.Value = edit.Raw(text)
	}
	now, err := edit.Apply(k.sides[k.at].Text, c)
	if err != nil {
		return err
	}
	d, err := k.parse(now)
	if err != nil {
		return err
	}
	file := k.original.Values()
	for _, other := range differing(file, d.Values()) {
		if _, ok := file[other]; !ok {
			continue // of an entry that the file does not have
		}
		if other == key || strings.HasPrefix(other, key+".") {
			return refuse(key, "this can't be taken back alone; undo, or change it in the file")
		}
	}
	k.to(now, "", d, key)
	return nil
}

// Take makes changes from a command line, as one step that is not saved: d is the scene with them, sets are its overrides, and lists
// are keys that it has from another file.
func (k *Desk) Take(d *scene.Description, sets []string, lists ...string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	text := k.sides[k.at].Text
	for _, key := range lists {
		value, err := d.Written(key)
		if err != nil {
			return err
		}
		if text, err = edit.Apply(text, edit.Change{Key: key, Value: edit.Raw(value)}); err != nil {
			return err
		}
	}
	for _, s := range sets {
		key, value, _ := strings.Cut(s, "=")
		c := edit.Change{Key: strings.TrimSpace(key), Value: edit.Raw(strings.TrimSpace(value))}
		if c.Value == edit.Raw("null") {
			c.Value = nil
		}
		var err error
		if text, err = edit.Apply(text, c); err != nil {
			return err
		}
	}
	maps.Copy(k.named, filesOf(d))
	got, err := k.parse(text)
	if err != nil {
		return err
	}
	k.to(text, "", got, lists...)
	return nil
}
