package job

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"time"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// ManifestName is the file of the manifest in a job's folder.
const ManifestName = "manifest.json"

// Item is one picture of a job.
type Item struct {
	Name  string   `json:"name"` // unique in the job
	Key   string   `json:"key"`  // hash of all that the files depend on
	Files []string `json:"-"`    // names in the folder that it makes
}

// File is one finished file.
type File struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Manifest is the list of a job.
type Manifest struct {
	Kind    string            `json:"kind"`       // of the command
	Args    []string          `json:"args"`       // that make the same job again
	Program string            `json:"program"`    // what the bits depend on besides the items' keys
	Plan    []Item            `json:"plan"`       // all pictures of the job, in order
	Done    map[string][]File `json:"done"`       // by the item's name
	More    []string          `json:"more"`       // names of what the command writes besides, of the whole job
	Keys    []string          `json:"scene_keys"` // of the first picture's scene, as scene.Description.Keys, to tell what differs

	Overwrite bool `json:"-"` // the folder may hold what the command did not make
}

// Job is a folder with its manifest, locked for this process.
type Job struct {
	Dir  string
	m    Manifest
	lock io.Closer

	Removed []string // files of an earlier plan that Open took away
}

// ErrBusy is returned where another process works in the folder.
var ErrBusy = errors.New("another process works in this folder")

// temporary is the form of names of files under way; a killed process leaves them.
var temporary = regexp.MustCompile(`^\..+\.[0-9]+-[0-9]+\.tmp$`)

// Open takes a folder for a job: makes it where it is missing, locks it, clears what a killed process left, and takes
// over from the manifest there whatever is finished, unchanged on disk, and still part of the plan. What was part of an
// earlier plan alone is removed, where it is still as it was made. A folder with files that no manifest there names is
// refused with a *TakenError, before anything is done in it, unless the manifest says Overwrite.
func Open(dir string, m Manifest) (*Job, error) {
	if err := Guard(dir, &m); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("%s: the folder can't be made: %w", dir, cause(err))
	}
	seen := map[string]bool{}
	for _, it := range m.Plan {
		if seen[it.Name] {
			return nil, fmt.Errorf("job: two pictures are called %s", it.Name)
		}
		seen[it.Name] = true
	}
	lock, err := lockFolder(dir)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	j := &Job{Dir: dir, m: m, lock: lock}
	j.m.Done = map[string][]File{}
	if err := j.takeOver(); err != nil {
		lock.Close()
		return nil, err
	}
	return j, nil
}

func (j *Job) takeOver() error {
	list, err := os.ReadDir(j.Dir)
	if err != nil {
		return fmt.Errorf("%s: %w", j.Dir, cause(err))
	}
	for _, e := range list {
		if e.Type().IsRegular() && temporary.MatchString(e.Name()) {
			if err := os.Remove(filepath.Join(j.Dir, e.Name())); err != nil {
				return fmt.Errorf("%s: what an earlier run left can't be removed: %w", j.Dir, cause(err))
			}
		}
	}
	old, err := Read(j.Dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return j.write()
	case err != nil && j.m.Overwrite:
		return j.write()
	case err != nil:
		return err
	case old.Kind != j.m.Kind && !j.m.Overwrite:
		return fmt.Errorf("%s: holds a %s; give another folder for this %s", j.Dir, old.Kind, j.m.Kind)
	}
	keys, ours := map[string]string{}, map[string]bool{}
	for _, f := range j.m.More {
		ours[f] = true
	}
	for _, it := range j.m.Plan {
		keys[it.Name] = it.Key
		for _, f := range it.Files {
			ours[f] = true
		}
	}
	for _, it := range old.Plan {
		files := old.Done[it.Name]
		if len(files) > 0 && keys[it.Name] == it.Key && whole(j.Dir, files) {
			j.m.Done[it.Name] = files
			continue
		}
		for _, f := range files {
			if !ours[f.Name] && whole(j.Dir, []File{f}) {
				j.remove(f.Name)
			}
		}
	}
	for _, f := range old.More {
		if !ours[f] {
			j.remove(f)
		}
	}
	return j.write()
}

// remove takes a file of an earlier plan away.
func (j *Job) remove(name string) {
	if os.Remove(filepath.Join(j.Dir, name)) == nil {
		j.Removed = append(j.Removed, name)
	}
}

// Sweep removes what killed processes left under way in the folders of a cache. Others may be at work there, so only
// files that nobody has touched for an hour go.
func Sweep(cache string) {
	old, _ := filepath.Glob(filepath.Join(cache, "*", ".*.tmp"))
	for _, f := range old {
		if info, err := os.Stat(f); err == nil && temporary.MatchString(filepath.Base(f)) && time.Since(info.ModTime()) > time.Hour {
			os.Remove(f)
		}
	}
}

// Read reads a folder's manifest.
func Read(dir string) (*Manifest, error) {
	path := filepath.Join(dir, ManifestName)
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var m Manifest
	if err := json.Unmarshal(data, &m); err != nil {
		return nil, fmt.Errorf("%s: no manifest of a job: %w", path, err)
	}
	names := slices.Clone(m.More)
	for _, files := range m.Done {
		for _, f := range files {
			names = append(names, f.Name)
		}
	}
	for _, n := range names {
		if !filepath.IsLocal(n) {
			return nil, fmt.Errorf("%s: the file name %q leaves the folder", path, n)
		}
	}
	return &m, nil
}

// whole reports whether files are on disk as the manifest says.
func whole(dir string, files []File) bool {
	return !slices.ContainsFunc(files, func(f File) bool {
		g, err := fileOf(dir, f.Name)
		return err != nil || g != f
	})
}

func fileOf(dir, name string) (File, error) {
	r, err := os.Open(filepath.Join(dir, name))
	if err != nil {
		return File{}, err
	}
	defer r.Close()
	h := sha256.New()
	n, err := io.Copy(h, r)
	return File{name, n, hex.EncodeToString(h.Sum(nil))}, err
}

func (j *Job) write() error {
	data, err := json.MarshalIndent(&j.m, "", " ")
	if err != nil {
		return err
	}
	return imageio.WriteAtomic(filepath.Join(j.Dir, ManifestName), func(w io.Writer) error {
		_, err := w.Write(append(scene.Stamp(data), '\n'))
		return err
	})
}

// Done reports whether an item is finished.
func (j *Job) Done(it Item) bool { return len(j.m.Done[it.Name]) > 0 }

// Finish notes an item whose files are written.
func (j *Job) Finish(it Item) error {
	var files []File
	for _, name := range it.Files {
		f, err := fileOf(j.Dir, name)
		if err != nil {
			return err
		}
		files = append(files, f)
	}
	j.m.Done[it.Name] = files
	return j.write()
}

// Path returns where a file of the job lies.
func (j *Job) Path(name string) string { return filepath.Join(j.Dir, name) }

// Close gives the folder free.
func (j *Job) Close() error { return j.lock.Close() }

// Space returns an error where the folder's disk has less room than wanted, in bytes, and so can't hold what is to come.
func (j *Job) Space(wanted int64) error { return Room(j.Dir, wanted) }

// Room is Space for any folder.
func Room(dir string, wanted int64) error {
	free, known := freeBytes(dir)
	if known && free < wanted {
		return fmt.Errorf("%s: the work needs about %s of disk and %s are free", dir, size(wanted), size(free))
	}
	return nil
}

func size(n int64) string { return fmt.Sprintf("%.1f MB", float64(n)/1e6) }

func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// Merge puts the finished items of folders that hold parts of one job into dir, and returns the manifest of the whole.
// The parts must be of the same command, arguments, program and plan; an item that two parts finished must have the same
// files in both; one that none finished is an error.
func Merge(dir string, parts []string, overwrite bool) (*Manifest, error) {
	var whole *Manifest
	from := map[string]string{} // item: folder
	for i, p := range parts {
		m, err := Read(p)
		if err != nil {
			return nil, err
		}
		if i == 0 {
			whole = &Manifest{Kind: m.Kind, Args: m.Args, Program: m.Program, Plan: m.Plan, Done: map[string][]File{}, More: m.More, Keys: m.Keys, Overwrite: overwrite}
		}
		switch {
		case m.Kind != whole.Kind:
			return nil, fmt.Errorf("%s: it is part of a %s, %s of a %s", p, m.Kind, parts[0], whole.Kind)
		case m.Program != whole.Program:
			return nil, fmt.Errorf("%s: it was made by %s, %s by %s", p, m.Program, parts[0], whole.Program)
		case !slices.Equal(m.Args, whole.Args):
			return nil, fmt.Errorf("%s: its arguments are %q, those of %s %q", p, m.Args, parts[0], whole.Args)
		case !slices.EqualFunc(m.Plan, whole.Plan, func(a, b Item) bool { return a.Name == b.Name && a.Key == b.Key }):
			what := scene.Differing(m.Keys, whole.Keys)
			if what == "" {
				what = "a file that the scene names has another content"
			}
			return nil, fmt.Errorf("%s: its plan is another than that of %s: %s", p, parts[0], what)
		}
		for _, it := range m.Plan {
			files := m.Done[it.Name]
			if len(files) == 0 {
				continue
			}
			if other, twice := whole.Done[it.Name]; twice && !slices.Equal(other, files) {
				return nil, fmt.Errorf("%s: its %s differs from that of %s", p, it.Name, from[it.Name])
			}
			whole.Done[it.Name], from[it.Name] = files, p
		}
	}
	var missing []string
	for _, it := range whole.Plan {
		if len(whole.Done[it.Name]) == 0 {
			missing = append(missing, it.Name)
		}
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("%d of %d pictures are in no part; the first is %s", len(missing), len(whole.Plan), missing[0])
	}
	j, err := Open(dir, *whole)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	for _, it := range whole.Plan {
		if j.Done(it) {
			continue
		}
		for _, f := range whole.Done[it.Name] {
			if err := Copy(j.Path(f.Name), filepath.Join(from[it.Name], f.Name)); err != nil {
				return nil, err
			}
			if g, err := fileOf(dir, f.Name); err != nil || g != f {
				return nil, fmt.Errorf("%s: it is not as the manifest in %s says", filepath.Join(from[it.Name], f.Name), from[it.Name])
			}
			it.Files = append(it.Files, f.Name)
		}
		if err := j.Finish(it); err != nil {
			return nil, err
		}
	}
	return whole, nil
}

// Copy copies a file, whole or not at all.
func Copy(to, from string) error {
	r, err := os.Open(from)
	if err != nil {
		return err
	}
	defer r.Close()
	return imageio.WriteAtomic(to, func(w io.Writer) error {
		_, err := io.Copy(w, r)
		return err
	})
}
