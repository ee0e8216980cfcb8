package render

import (
	"fmt"
	"io"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene"
	"catchlight/scene/asset"
	"catchlight/scene/builtin"
	"catchlight/scene/imageio"
)

// Gathering is a plan to put a scene and all its files into one folder, with file names that hold there.
type Gathering struct {
	d     *scene.Description
	Scene string            // name of the scene file in the folder
	Setup string            // of its light set-up, "" without one and for one that lives in the program
	Files map[string]string // by name in the folder, with slashes: where it is now
	text  map[string][]byte // of the scene file and its light set-up, unless that is a picture, by name in the folder
}

// Gather plans the folder: the scene file, its light set-up in light_setups, and all else in files, in folders of their own that are called
// like those where the files lie now. Files that meshes name keep their places beside the mesh. lit is the scene d with a
// light set-up, or d itself; the files of the scene's own lights come along all the same.
func Gather(d, lit *scene.Description) (*Gathering, error) {
	g := &Gathering{d: lit, Scene: filepath.Base(d.File), Files: map[string]string{}, text: map[string][]byte{}}
	place := shelves{map[string]string{}, map[string]bool{}}.place
	put := func(name, from string) error {
		if other, ok := g.Files[name]; ok && resolved(other) != resolved(from) {
			return fmt.Errorf("%s and %s would both become %s", other, from, name)
		}
		g.Files[name] = from
		return nil
	}
	uses := map[string][]scene.Use{}
	setup := lit.LightSetupFile()
	picture := slices.Contains(scene.Surroundings, strings.ToLower(filepath.Ext(setup)))
	for _, u := range append(d.Uses(), lit.Uses()...) {
		if slices.Contains(uses[u.In], u) || picture && u.In == setup { // which has no text of its own
			continue
		}
		uses[u.In] = append(uses[u.In], u)
		files := []string{u.File}
		tiles, err := scene.TileFiles(scene.Path(u.File))
		if err != nil {
			return nil, err
		}
		if len(tiles) > 0 {
			files = slices.Collect(maps.Values(tiles))
		}
		for _, f := range files {
			if err := put(place(f), f); err != nil {
				return nil, err
			}
			if !slices.Contains(asset.Endings, strings.ToLower(filepath.Ext(f))) {
				continue
			}
			for _, b := range beside(f) {
				rest, err := filepath.Rel(filepath.Dir(f), b)
				if err != nil {
					return nil, err
				}
				if err := put(path.Join(path.Dir(place(f)), filepath.ToSlash(rest)), b); err != nil {
					return nil, err
				}
			}
		}
	}
	own := map[string]string{g.Scene: d.File}
	if setup != "" && !builtin.Is(setup) {
		g.Setup = path.Join("light_setups", filepath.Base(setup))
		if picture {
			g.Files[g.Setup] = setup
		} else {
			own[g.Setup] = setup
		}
	}
	for name, file := range own {
		text, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		up := strings.Repeat("../", strings.Count(name, "/"))
		if g.text[name], err = scene.Rewrite(text, uses[file], func(u scene.Use) string { return up + place(u.File) }); err != nil {
			return nil, err
		}
	}
	return g, nil
}

// shelves are the folders in files, by those that they stand for.
type shelves struct {
	folders map[string]string
	taken   map[string]bool // in small letters: some systems don't tell them from capitals
}

// place is the name in the folder that a file gets.
func (s shelves) place(file string) string {
	dir, base := filepath.Split(file)
	dir = resolved(dir)
	to, ok := s.folders[dir]
	if !ok {
		name := filepath.Base(dir)
		if !filepath.IsLocal(name) || name == "." {
			name = "root"
		}
		to = name
		for n := 2; s.taken[strings.ToLower(to)]; n++ {
			to = name + "-" + strconv.Itoa(n)
		}
		s.taken[strings.ToLower(to)] = true
		s.folders[dir] = to
	}
	return path.Join("files", to, base)
}

// resolved is a path that two names of one place share.
func resolved(file string) string {
	if abs, err := filepath.Abs(file); err == nil {
		file = abs
	}
	if real, err := filepath.EvalSymlinks(file); err == nil {
		file = real
	}
	return filepath.Clean(file)
}

// Names lists the files of the folder, with slashes.
func (g *Gathering) Names() []string {
	return slices.Sorted(func(yield func(string) bool) {
		for n := range g.Files {
			if !yield(n) {
				return
			}
		}
		for n := range g.text {
			if !yield(n) {
				return
			}
		}
	})
}

// Write fills the folder, the scene file last, reads the scene there, and reports an error where it is not the same scene.
// It returns how many bytes were written.
func (g *Gathering) Write(dir string) (int64, error) {
	var total int64
	write := func(name string, from io.Reader) error {
		to := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(to), 0o777); err != nil {
			return err
		}
		return imageio.WriteAtomic(to, func(w io.Writer) error {
			n, err := io.Copy(w, from)
			total += n
			return err
		})
	}
	for _, name := range slices.Sorted(maps.Keys(g.Files)) {
		f, err := os.Open(g.Files[name])
		if err != nil {
			return total, err
		}
		err = write(name, f)
		f.Close()
		if err != nil {
			return total, err
		}
	}
	if text, ok := g.text[g.Setup]; ok {
		if err := write(g.Setup, strings.NewReader(string(text))); err != nil {
			return total, err
		}
	}
	if err := write(g.Scene, strings.NewReader(string(g.text[g.Scene]))); err != nil {
		return total, err
	}
	return total, g.check(dir)
}

// check compares the scene in the folder with the one that was gathered.
func (g *Gathering) check(dir string) error {
	file := filepath.Join(dir, g.Scene)
	var d *scene.Description
	var err error
	switch setup := g.d.LightSetupFile(); {
	case g.Setup != "":
		d, err = scene.LoadLit(file, filepath.Join(dir, filepath.FromSlash(g.Setup)))
	case setup != "":
		d, err = scene.LoadLit(file, setup)
	default:
		d, err = scene.Load(file)
	}
	if err != nil {
		return fmt.Errorf("the gathered scene can't be read: %w", err)
	}
	a, err := RecordOf(g.d)
	if err != nil {
		return err
	}
	b, err := RecordOf(d)
	if err != nil {
		return err
	}
	if err := a.Differs(b); err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	return nil
}
