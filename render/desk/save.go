package desk

import (
	"bytes"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene"
	"catchlight/scene/edit"
)

// errStale asks what is to become of a file that changed on disk.
var errStale = &Problem{Problem: "the scene file was changed on disk meanwhile; keep yours or take the file's, then save", Stale: true}

// Check looks at the scene file; a new text counts once two looks have seen it, as it may be half saved. Where nothing was changed
// here, a new text of it is taken up; where something was, it becomes a question. It reports whether anything is new.
func (k *Desk) Check() bool {
	data, err := os.ReadFile(k.path)
	if err != nil { // editors take a file away for a moment; Save writes it anew
		return false
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	text := string(data)
	switch {
	case text == k.base:
		if k.disk == nil && k.broken == "" {
			return false
		}
		k.disk, k.theirs, k.broken = nil, nil, ""
		k.version++
		return true
	case k.disk != nil && *k.disk == text:
		return false
	case k.glimpse != text:
		k.glimpse = text
		return false
	}
	d, err := scene.Parse(k.path, data)
	if err != nil {
		broken := fileProblem(err)
		if len(text) == 0 || broken == k.broken {
			return false
		}
		k.broken = broken
		k.version++
		return true
	}
	k.broken = ""
	if k.dirty() {
		k.disk, k.theirs = &text, d
		k.version++
		return true
	}
	k.adopt(text, d)
	k.to(text, "", d)
	if k.sides[1-k.at].Made { // it was the same as the file, and stays so
		k.sides[1-k.at] = side{Text: text, Made: true}
	}
	_ = k.journal.begin(k.whole()) // an error is told with the state
	return true
}

// adopt takes a text as the file's.
func (k *Desk) adopt(text string, d *scene.Description) {
	k.base, k.original, k.disk, k.theirs, k.broken = text, d, nil, nil, ""
	maps.Copy(k.named, filesOf(d))
}

// Reload answers the question of a file that changed on disk. Mine puts the changes onto the file's new text, which the next Save
// writes: what else was changed in the file stays, and where both changed a key it is as here. Otherwise the file's text is taken,
// as a step that can be undone. The text on disk is kept beside the journal.
func (k *Desk) Reload(mine bool) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.disk == nil {
		return nil
	}
	text := *k.disk
	d, err := scene.Parse(k.path, []byte(text))
	if err != nil {
		return refuse("", "the file on disk can't be read; mend it, or save your changes under another name: %s", fileProblem(err))
	}
	maps.Copy(k.named, filesOf(d))
	sides := k.sides
	for i := range sides {
		if !sides[i].Made {
			continue
		}
		moved, err := k.moved(sides[i], k.base, text)
		switch {
		case err == nil:
			sides[i] = moved
		case mine:
			return err
		}
	}
	if err := k.keepCopy(text); err != nil {
		return refuse("", "the text on disk can't be kept: %v", err)
	}
	now, err := k.parse(sides[k.at].Text)
	if err != nil {
		return err
	}
	k.sides, k.d = sides, now
	k.adopt(text, d)
	if !mine {
		k.to(text, "", d)
	}
	k.version++
	return k.journal.begin(k.whole())
}

// Save writes the side in use to the scene file, or to a new one beside it, with the maps that were dropped and are used. It
// returns the files that it wrote. A scene that names a file which can't be read is refused, and nothing is written.
func (k *Desk) Save(name string) ([]string, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	target := k.path
	if name != "" {
		if !filepath.IsLocal(name) || filepath.Base(name) != name || !slices.Contains([]string{".yaml", ".yml"}, strings.ToLower(filepath.Ext(name))) {
			return nil, refuse("", "%s: a copy goes beside the scene file; give a name that ends in .yaml", name)
		}
		target = filepath.Join(filepath.Dir(k.path), name)
		if _, err := os.Lstat(target); !errors.Is(err, fs.ErrNotExist) {
			return nil, refuse("", "%s is there already; give another name", name)
		}
	}
	mode := os.FileMode(0o666)
	if info, err := os.Stat(k.path); err == nil {
		mode = info.Mode().Perm()
	}
	if target == k.path {
		data, err := os.ReadFile(k.path)
		if err == nil && string(data) != k.base || k.disk != nil {
			if err == nil && k.disk == nil {
				text := string(data)
				k.disk = &text
				if k.theirs, err = scene.Parse(k.path, data); err != nil {
					k.broken = fileProblem(err)
				}
				k.version++
			}
			return nil, errStale
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
	}
	if err := k.readable(k.d); err != nil {
		return nil, err
	}
	text, written, err := k.carry(k.sides[k.at].Text, k.d, filepath.Dir(k.path), "")
	if err != nil {
		return nil, err
	}
	if err := writeWhole(linkless(target), []byte(text), mode); err != nil {
		return written, refuse("", "the file can't be written: %v", err)
	}
	written = append(written, target)
	again, err := scene.Load(target)
	if err != nil {
		return written, err
	}
	if name == "" {
		k.to(text, "", again)
		k.adopt(text, again)
		k.d = again
		k.version++
		return written, k.journal.begin(k.whole())
	}
	return written, nil
}

// carry returns the text with the dropped maps that it uses copied to a folder and named from there: by their own names after a
// prefix. It returns the copies too.
func (k *Desk) carry(text string, d *scene.Description, dir, prefix string) (string, []string, error) {
	if k.journal.dir == "" {
		return text, nil, nil
	}
	var copies []string
	values := d.Values()
	for _, key := range slices.Sorted(maps.Keys(values)) {
		name, ok := values[key].(string)
		if !ok || name == "" || k.drawn(key) {
			continue
		}
		name = k.full(name) // the folder of journals may lie below the scene's
		if !within(linkless(k.drops()), linkless(name)) {
			continue
		}
		copied, fresh, err := copyBeside(name, dir)
		if err != nil {
			return "", copies, refuse(key, "the dropped file can't be copied beside the scene: %v", err)
		}
		if fresh {
			copies = append(copies, copied)
		}
		if text, err = edit.Apply(text, edit.Change{Key: key, Value: prefix + filepath.Base(copied)}); err != nil {
			return "", copies, err
		}
	}
	return text, copies, nil
}

// copyBeside copies a file into a folder under its own name, or with a number where another file has that; fresh is false where the
// same file is there already.
func copyBeside(name, dir string) (copied string, fresh bool, err error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return "", false, err
	}
	ext := filepath.Ext(name)
	stem := strings.TrimSuffix(filepath.Base(name), ext)
	for i := 1; i < 1000; i++ {
		copied = filepath.Join(dir, stem+ext)
		if i > 1 {
			copied = filepath.Join(dir, stem+"-"+strconv.Itoa(i)+ext)
		}
		f, err := os.OpenFile(copied, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, fs.ErrExist) {
			if there, err := os.ReadFile(copied); err == nil && bytes.Equal(there, data) {
				return copied, false, nil
			}
			continue
		}
		if err != nil {
			return "", false, err
		}
		_, err = f.Write(data)
		err = errors.Join(err, f.Sync(), f.Close())
		if err != nil {
			os.Remove(copied)
		}
		return copied, true, err
	}
	return "", false, fs.ErrExist
}
