package scene

import (
	"catchlight/scene/builtin"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// source is what a description was read from.
type source struct {
	name string // the scene file
	tree *node  // of the file, before any override, with a light set-up's lights where there is one
	lit  string // file of the light set-up, "" for the scene's own lights
	set  []string
	uses []Use // where files are named
}

// Load reads a scene file, puts the overrides on it, in order, and checks everything that can be checked without
// opening the files that it names: keys, types, ranges, words, what belongs together, and that the files are there.
// Paths are resolved against the scene file's folder.
//
// An override is "KEY=VALUE" with the path of a key and a value in YAML: "picture.samples=16", "camera.target=[0, 0, 12]",
// "camera.position=null" (takes the key out). Entries of lists are addressed by name or by index: "lights.key.ev=1",
// "objects.0.iris.pupil=2.5".
//
// Every error is a Problems with all that is wrong. Load may be called by many goroutines at once.
func Load(path string, set ...string) (*Description, error) {
	if advice := noScene(path); advice != "" {
		return nil, Problems{{File: path, Message: advice}}
	}
	data, err := readCapped(path)
	if err != nil {
		return nil, Problems{{File: path, Message: "cannot be read: " + cause(err)}}
	}
	return Parse(path, data, set...)
}

// noScene says what to do with a file that is no scene by its ending; "" for all else.
func noScene(path string) string {
	end := strings.ToLower(filepath.Ext(path))
	switch {
	case slices.Contains([]string{".glb", ".gltf", ".obj", ".ply", ".stl"}, end):
		return "is a file of meshes, not a scene: catchlight adopt " + path + " measures the eye in it and proposes a scene"
	case slices.Contains(Surroundings, end):
		return "is a picture, not a scene: catchlight render SCENE --lights " + path + " lights a scene by it"
	case slices.Contains([]string{".png", ".jpg", ".jpeg", ".tif", ".tiff"}, end):
		return "is a picture, not a scene: name it in a scene as the file of a map, such as iris.colour"
	}
	return ""
}

// LoadLit is Load with the lights of a light set-up's file in place of the scene's own; WithLightSetup says more.
func LoadLit(path, setup string, set ...string) (*Description, error) {
	d, err := Load(path)
	if err != nil {
		return nil, err
	}
	if d, err = d.WithLightSetup(setup); err != nil {
		return nil, err
	}
	return d.With(set...)
}

// readCapped reads a regular file up to one byte past the largest allowed size.
func readCapped(path string) ([]byte, error) {
	if data, ok := builtin.Read(path); ok {
		return data, nil
	}
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

// WithLightSetup returns the description with the lights of a light set-up's file, a scene file that holds nothing but `light_setup` and `lights`,
// in place of its own; overrides go on top as before. Names of files in the light set-up start at the light set-up's folder.
func (d *Description) WithLightSetup(path string) (*Description, error) {
	if d.source == nil {
		return nil, errors.New("scene: only a description that was read from a file can be lit anew")
	}
	data, err := lightSetupText(path)
	if err != nil {
		return nil, Problems{{File: path, Message: "cannot be read: " + cause(err)}}
	}
	setup, problems := parseTree(data, place{file: path}, false)
	for _, e := range setup.list() {
		if e.key != "light_setup" && e.key != "lights" && e.key != "format" {
			message := "a light set-up holds light_setup and lights alone"
			if e.key == "rig" {
				message = "is now light_setup"
			}
			problems = append(problems, Problem{File: path, Line: e.at.line, Column: e.at.column, Key: shorten(e.key), Message: message})
		}
	}
	if len(problems) == 0 && setup.get("lights") == nil {
		problems = append(problems, Problem{File: path, Key: "lights", Message: "missing: a light set-up holds lights"})
	}
	if len(problems) > 0 {
		return nil, problems.sorted()
	}
	s := *d.source
	tree := *s.tree
	tree.kind = blockNode
	tree.entries = slices.Clone(setup.entries)
	for _, e := range s.tree.list() {
		if e.key != "light_setup" && e.key != "lights" && e.key != "format" {
			tree.entries = append(tree.entries, e)
		}
	}
	s.tree, s.lit, s.set = &tree, path, slices.Clone(s.set)
	return decode(&s)
}

// lightSetupText reads a light set-up. A picture of surroundings stands for one that holds nothing else, brought to the level of
// the grey card.
func lightSetupText(path string) ([]byte, error) {
	if !slices.Contains(Surroundings, strings.ToLower(filepath.Ext(path))) {
		return readCapped(path)
	}
	if _, err := os.Stat(path); err != nil {
		return nil, err
	}
	name := strconv.Quote(filepath.Base(path))
	return []byte("light_setup: {about: " + name + ", balance: brightest}\nlights: [{name: surroundings, kind: environment, file: " + name + "}]\n"), nil
}

// Surroundings are the endings of pictures that can stand for a light set-up.
var Surroundings = []string{".hdr", ".exr", ".pfm"}

// list returns the entries of a block, and none of anything else.
func (n *node) list() []entry {
	if n == nil {
		return nil
	}
	return n.entries
}

// LightSetupFile returns the file of the light set-up that lights the scene, or "" where its own lights do.
func (d *Description) LightSetupFile() string {
	if d.source == nil {
		return ""
	}
	return d.source.lit
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
	tree = d.budget(tree)
	out := &Description{File: s.name, source: s}
	v := reflect.ValueOf(out).Elem()
	presets(schema(), v)
	d.block(schema(), tree, v, "")
	if err := d.problems.sorted(); err != nil {
		return nil, err
	}
	s.uses = d.uses
	return out, nil
}
