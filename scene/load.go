package scene

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
)

// source is what a description was read from.
type source struct {
	name string // the scene file
	tree *node  // of the file, before any override
	set  []string
}

// Load reads a scene file, puts the overrides on it, in order, and checks everything that can be checked without
// opening the files that it names: keys, types, ranges, words, what belongs together, and that the files are there.
// Paths are resolved against the scene file's folder.
//
// An override is "KEY=VALUE" with the path of a key and a value in YAML: "film.spp=16", "camera.aim=[0, 0, 12]",
// "camera.at=null" (takes the key out). Entries of lists are addressed by name or by index: "lights.key.ev=1",
// "bodies.0.eye.iris.pupil=2.5".
//
// Every error is a Problems with all that is wrong. Load may be called by many goroutines at once.
func Load(path string, set ...string) (*Description, error) {
	data, err := readCapped(path)
	if err != nil {
		return nil, Problems{{File: path, Message: "cannot be read: " + cause(err)}}
	}
	return Parse(path, data, set...)
}

// readCapped reads a regular file up to one byte past the largest allowed size.
func readCapped(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("it is not a file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxFileBytes+1))
}

// cause returns the reason of a file error without the path that is said elsewhere.
func cause(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

// Parse is Load for a scene that is already in memory. name stands for the file in messages, and its folder is
// where relative paths start.
func Parse(name string, data []byte, set ...string) (*Description, error) {
	tree, problems := parseTree(data, place{file: name}, false)
	if len(problems) > 0 {
		return nil, problems.sorted()
	}
	return decode(&source{name: name, tree: tree, set: slices.Clone(set)})
}

// With returns the description with more overrides, put on after those that it was loaded with; d stays as it is.
// Only a description from Load, Parse or With has what this needs; for another it reports an error.
func (d *Description) With(set ...string) (*Description, error) {
	if d.source == nil {
		return nil, errors.New("scene: only a description that was read from a file can be varied")
	}
	s := *d.source
	s.set = slices.Concat(s.set, set)
	return decode(&s)
}

// Overrides returns what was put on the description, in order.
func (d *Description) Overrides() []string {
	if d.source == nil {
		return nil
	}
	return slices.Clone(d.source.set)
}

// decode turns a source into a description.
func decode(s *source) (*Description, error) {
	d := decoder{folder: filepath.Dir(s.name)}
	tree := s.tree
	for i, set := range s.set {
		tree = d.override(tree, set, i+1)
	}
	out := &Description{File: s.name, source: s}
	v := reflect.ValueOf(out).Elem()
	presets(schema(), v)
	d.block(schema(), tree, v, "")
	if err := d.problems.sorted(); err != nil {
		return nil, err
	}
	return out, nil
}
