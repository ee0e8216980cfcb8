package desk

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"catchlight/scene"
)

// Snapshot is a state that was given a name. It lies in a folder beside the scene, NAME-snapshots, as three files: what it says of
// itself (.json), its picture (.png), and its scene, which renders from there (.yaml).
type Snapshot struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"`
	Note     string    `json:"note"`
	Time     time.Time `json:"time"`
	Exposure float64   `json:"exposure"`
	Text     string    `json:"text,omitempty"` // of the scene, as from the scene's own folder
}

const (
	mostSnapshots = 200
	mostName      = 80   // characters
	mostNote      = 2000 // characters
)

// shelf is the folder of the scene's snapshots.
func (k *Desk) shelf() string {
	return strings.TrimSuffix(k.path, filepath.Ext(k.path)) + "-snapshots"
}

var snapshotID = regexp.MustCompile(`^[0-9]{1,4}$`)

// readShelf lists what lies in the folder, oldest first, without texts.
func (k *Desk) readShelf() []Snapshot {
	out := []Snapshot{}
	names, err := filepath.Glob(filepath.Join(globbed(k.shelf()), "*.json"))
	if err != nil {
		return out
	}
	for _, n := range names {
		if s, err := k.snapshot(strings.TrimSuffix(filepath.Base(n), ".json")); err == nil {
			s.Text = ""
			out = append(out, *s)
		}
	}
	slices.SortFunc(out, func(a, b Snapshot) int { return number(a.ID) - number(b.ID) })
	return out
}

// globbed writes a name so that a pattern takes it as it is.
func globbed(name string) string {
	return regexp.MustCompile(`[*?\[\\]`).ReplaceAllString(name, `\$0`)
}

func number(id string) int {
	n, _ := strconv.Atoi(id)
	return n
}

// snapshot reads one of them.
func (k *Desk) snapshot(id string) (*Snapshot, error) {
	if !snapshotID.MatchString(id) {
		return nil, refuse("", "there is no snapshot %q", id)
	}
	data, err := os.ReadFile(filepath.Join(k.shelf(), id+".json"))
	if err != nil {
		return nil, refuse("", "there is no snapshot %q", id)
	}
	var s Snapshot
	if err := json.Unmarshal(data, &s); err != nil {
		return nil, refuse("", "snapshot %s can't be read: %v", id, err)
	}
	s.ID = id
	return &s, nil
}

// Snapshots lists them, oldest first.
func (k *Desk) Snapshots() []Snapshot {
	k.mu.Lock()
	defer k.mu.Unlock()
	return slices.Clone(k.shots)
}

// Picture returns the file of a snapshot's picture.
func (k *Desk) Picture(id string) (string, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if _, err := k.snapshot(id); err != nil {
		return "", err
	}
	return filepath.Join(k.shelf(), id+".png"), nil
}

// Snap keeps the side in use under a name, with a picture of it (PNG) and the maps that were dropped.
func (k *Desk) Snap(name, note string, png []byte) (*Snapshot, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	name = strings.TrimSpace(name)
	switch {
	case name == "":
		return nil, refuse("", "a snapshot wants a name")
	case utf8.RuneCountInString(name) > mostName:
		return nil, refuse("", "the name has more than %d characters", mostName)
	case utf8.RuneCountInString(note) > mostNote:
		return nil, refuse("", "the note has more than %d characters", mostNote)
	}
	last := 0
	list := k.shots
	for _, s := range list {
		if s.Name == name {
			return nil, refuse("", "there is a snapshot %s already; give another name", name)
		}
		last = max(last, number(s.ID))
	}
	if len(list) >= mostSnapshots {
		return nil, refuse("", "there are %d snapshots already, the most that there may be; take some out of %s", mostSnapshots, k.shelf())
	}
	if err := os.MkdirAll(k.shelf(), 0o777); err != nil {
		return nil, err
	}
	shelf := filepath.Base(k.shelf()) + "/"
	text, _, err := k.carry(k.sides[k.at].Text, k.d, k.shelf(), shelf)
	if err != nil {
		return nil, err
	}
	d, err := scene.Parse(k.path, []byte(text))
	if err != nil {
		return nil, err
	}
	own, err := scene.Rewrite([]byte(text), d.Uses(), func(u scene.Use) string {
		switch {
		case filepath.IsAbs(u.Text):
			return ""
		case strings.HasPrefix(u.Text, shelf):
			return strings.TrimPrefix(u.Text, shelf)
		}
		return "../" + u.Text
	})
	if err != nil {
		return nil, err
	}
	s := &Snapshot{ID: strconv.Itoa(last + 1), Name: name, Note: note, Time: k.now().UTC().Truncate(time.Second), Exposure: k.d.View.Exposure, Text: text}
	data, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return nil, err
	}
	// What says that it is there comes last.
	for _, f := range []struct {
		end  string
		data []byte
	}{{".png", png}, {".yaml", own}, {".json", append(data, '\n')}} {
		if f.data == nil {
			continue
		}
		if err := writeWhole(filepath.Join(k.shelf(), s.ID+f.end), f.data, 0o666); err != nil {
			return nil, err
		}
	}
	k.version++
	listed := *s
	listed.Text = ""
	k.shots = append(k.shots, listed)
	return s, nil
}

// Restore makes a snapshot's scene the text of the side in use, as one step.
func (k *Desk) Restore(id string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	s, err := k.snapshot(id)
	if err != nil {
		return err
	}
	d, err := k.parse(s.Text)
	if err != nil {
		return err
	}
	k.to(s.Text, "", d)
	return nil
}
