package job

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
)

// TakenError says that work would write over a file, or into a folder, that it did not make.
type TakenError struct{ Msg string }

func (e *TakenError) Error() string { return e.Msg }

func taken(format string, args ...any) error { return &TakenError{fmt.Sprintf(format, args...)} }

// CheckOutputs returns an error where a file to write is among the files to read, unless overwrite is set, or where two
// files to write are one. Other names of a file, by links or by way of other folders, count as the file.
func CheckOutputs(outputs, inputs []string, overwrite bool) error {
	in, out := newPlaces(), newPlaces()
	if !overwrite {
		for _, f := range inputs {
			in.add(f)
		}
	}
	for _, f := range outputs {
		if g := in.find(f); g != "" {
			return taken("%s: this file would be written over, and the work reads it (%s); write elsewhere, or give --overwrite", f, g)
		}
		if g := out.find(f); g != "" {
			return taken("%s: two outputs would go into this file (%s is the other); give each a name of its own", f, g)
		}
		out.add(f)
	}
	return nil
}

// CheckFolder returns an error where a folder to work in holds files that the work did not make. made names what an earlier
// run of the same work left there, nil where none did; planned is what is to be written. With made, other files may lie
// there as long as none of them has a planned name.
func CheckFolder(dir string, planned []string, made func(name string) bool, overwrite bool) error {
	if overwrite {
		return nil
	}
	list, err := os.ReadDir(dir)
	if missing(err) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: %w", dir, cause(err))
	}
	for _, e := range list {
		name := e.Name()
		switch {
		case e.Type().IsRegular() && temporary.MatchString(name):
		case made == nil:
			return taken("%s: holds %s, which this command did not make; give a new or empty folder, or --overwrite", dir, name)
		case slices.Contains(planned, name) && !made(name):
			return taken("%s: this file would be written over, and this command did not make it; give another folder, or --overwrite", filepath.Join(dir, name))
		}
	}
	return nil
}

// missing reports that nothing is there; a folder that can't be made is told where it is made.
func missing(err error) bool {
	return errors.Is(err, os.ErrNotExist) || errors.Is(err, syscall.ENOTDIR)
}

// places finds files again under other names.
type places struct {
	names map[string]string // by where the file lies
	files []os.FileInfo     // of those that exist
	known []string          // their names
}

func newPlaces() *places { return &places{names: map[string]string{}} }

func (p *places) add(file string) {
	p.names[resolve(file)] = file
	if info, err := os.Stat(file); err == nil {
		p.files, p.known = append(p.files, info), append(p.known, file)
	}
}

// find returns the name under which a file was added, or "".
func (p *places) find(file string) string {
	if f, ok := p.names[resolve(file)]; ok {
		return f
	}
	if info, err := os.Stat(file); err == nil {
		for i, q := range p.files {
			if os.SameFile(info, q) {
				return p.known[i]
			}
		}
	}
	return ""
}

// resolve returns where a file lies, or would lie: an absolute path without links in the part that exists.
func resolve(file string) string {
	path, err := filepath.Abs(file)
	if err != nil {
		return filepath.Clean(file)
	}
	for rest := ""; ; {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			return filepath.Join(real, rest)
		}
		up := filepath.Dir(path)
		if up == path {
			return filepath.Join(path, rest)
		}
		rest = filepath.Join(filepath.Base(path), rest)
		path = up
	}
}

// owner tells which files of a folder a manifest names: its pictures, and what else its command writes.
func (m *Manifest) owner(items []Item) func(name string) bool {
	return func(name string) bool {
		if name == ManifestName || m.More == nil || slices.Contains(m.More, name) {
			return true
		}
		for _, files := range m.Done {
			for _, f := range files {
				if f.Name == name {
					return true
				}
			}
		}
		// A picture that a killed run had written, but not yet entered.
		for _, it := range items {
			if slices.Contains(it.Files, name) && slices.ContainsFunc(m.Plan, func(q Item) bool { return q.Name == it.Name }) {
				return true
			}
		}
		return strings.HasSuffix(name, ".film")
	}
}

// Guard refuses a folder with files that the manifest there does not name.
func Guard(dir string, m *Manifest) error {
	old, err := Read(dir)
	var made func(string) bool
	switch {
	case missing(err):
	case err != nil:
		if m.Overwrite {
			return nil
		}
		return err
	default:
		made = old.owner(m.Plan)
	}
	return CheckFolder(dir, m.Names(), made, m.Overwrite)
}

// Names returns the names of all files that the job makes in its folder.
func (m *Manifest) Names() []string {
	out := append([]string{ManifestName}, m.More...)
	for _, it := range m.Plan {
		out = append(out, it.Files...)
	}
	return out
}
