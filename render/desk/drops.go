package desk

import (
	"crypto/rand"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"catchlight/scene"
	"catchlight/scene/edit"
)

// MostDropped bounds a dropped file, in bytes: a map of 8192 x 8192 pixels with four channels of 32 bits.
const MostDropped = 1 << 30

// mostDrops bounds all files that were dropped on a scene, in bytes.
const mostDrops = 4 << 30

// drops is the folder of dropped files.
func (k *Desk) drops() string { return filepath.Join(k.journal.dir, "dropped") }

// unsafe are the characters that a dropped file's name loses.
var unsafe = regexp.MustCompile(`[^A-Za-z0-9._-]+`)

// Drop keeps a file outside the scene's folder and puts its name into a slot: a key that takes a map or a file. Save copies it beside
// the scene, if it is still used then.
func (k *Desk) Drop(slot, name string, body io.Reader) error {
	if k.journal.dir == "" {
		return refuse(slot, "there is no folder to keep dropped files in")
	}
	key := scene.KeyAt(slot)
	switch {
	case key == nil:
		return refuse(slot, "there is no such key")
	case key.Kind == "map" || key.Kind == "block" && scene.KeyAt(slot+".file") != nil:
		key = scene.KeyAt(slot + ".file")
	case key.Kind != "file":
		return refuse(slot, "this key takes no file")
	}
	name = strings.Trim(unsafe.ReplaceAllString(filepath.Base(filepath.FromSlash(strings.ReplaceAll(name, `\`, "/"))), "-"), "-.")
	if !slices.Contains(key.Ends, strings.ToLower(filepath.Ext(name))) || strings.TrimSuffix(name, filepath.Ext(name)) == "" {
		return refuse(slot, "the file's name must end in %s", strings.Join(key.Ends, ", "))
	}
	if err := k.room(); err != nil {
		return err
	}
	dir := filepath.Join(k.drops(), rand.Text()[:12])
	file := filepath.Join(dir, name)
	err := keep(dir, file, body)
	if err == nil {
		err = k.put(slot, file)
	}
	if err != nil {
		_ = os.RemoveAll(dir) // what is left of it is in a cache
	}
	return err
}

// keep writes a dropped file.
func keep(dir, file string, body io.Reader) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	n, err := io.Copy(f, io.LimitReader(body, MostDropped+1))
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if n > MostDropped {
		return refuse("", "the file is larger than %d MB", MostDropped>>20)
	}
	if n == 0 {
		return refuse("", "the file is empty")
	}
	return nil
}

// room refuses a file where too many were dropped already.
func (k *Desk) room() error {
	total := int64(0)
	_ = filepath.WalkDir(k.drops(), func(_ string, e os.DirEntry, err error) error { // a folder that is not there is empty
		if err == nil && e.Type().IsRegular() {
			if info, err := e.Info(); err == nil {
				total += info.Size()
			}
		}
		return nil
	})
	if total > mostDrops {
		return refuse("", "%d GB were dropped on this scene already; %s can be emptied", mostDrops>>30, k.drops())
	}
	return nil
}

// put names a file in a slot.
func (k *Desk) put(slot, file string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	c := edit.Change{Key: slot, Value: file}
	if key := scene.KeyAt(slot); key.Kind != "file" {
		c = edit.Change{Key: slot, Value: map[string]any{"file": file}}
		if v, ok := k.d.Values()[slot+".file"].(string); ok && v != "" {
			c = edit.Change{Key: slot + ".file", Value: file}
		}
	}
	return k.set("", []edit.Change{c})
}

// sweep takes away dropped files that no text and no step names any more.
func (k *Desk) sweep() {
	list, err := os.ReadDir(k.drops())
	if err != nil {
		return // nothing was dropped
	}
	used := func(name string) bool {
		for i := range k.sides {
			s := &k.sides[i]
			if strings.Contains(s.Text, name) {
				return true
			}
			for _, p := range slices.Concat(s.Undo, s.Redo) {
				if strings.Contains(p.Old, name) || strings.Contains(p.New, name) {
					return true
				}
			}
		}
		return false
	}
	for _, e := range list {
		if !used(e.Name()) {
			_ = os.RemoveAll(filepath.Join(k.drops(), e.Name())) // the next start tries again
		}
	}
}
