package render

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/scene"
	"catchlight/scene/builtin"
	"catchlight/scene/noise"
)

// Keep saves the sums of a render while it works and when it ends, so that it can go on to the same bits after a pause,
// an interrupt or a crash, or take more samples later.
type Keep struct {
	Path   string
	Every  time.Duration // between saves; 0 saves at the end alone
	Record string        // Record.String of the picture; a film of another is refused
	Final  bool          // saves a finished film too, to take more samples later
}

func (k *Keep) due(last time.Time) bool { return k.Every > 0 && time.Since(last) >= k.Every }

func (k *Keep) save(f *film.Film) error {
	if err := f.Keep(k.Path); err != nil {
		return &SaveError{err}
	}
	return nil
}

// SaveError says that the sums of a render could not be saved at its end. Its pictures are as sound as without.
type SaveError struct{ error }

func (e *SaveError) Unwrap() error { return e.error }

// load returns the film that is saved, or nil where there is none.
func (k *Keep) load(w, h int, resident int64) (*film.Film, error) {
	f, err := film.Open(k.Path, film.Opening{Write: true, Resident: resident})
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if err := sameRecord(k.Path, f.Record(), k.Record); err != nil {
		f.Close()
		return nil, err
	}
	if fw, fh := f.Size(); fw != w || fh != h {
		f.Close()
		return nil, fmt.Errorf("%s: holds %d x %d pixels, this picture has %d x %d", k.Path, fw, fh, w, h)
	}
	return f, nil
}

// ReadFilm opens a saved film for reading; of its sums little is in memory at a time.
func ReadFilm(path string) (*film.Film, error) {
	return film.Open(path, film.Opening{Resident: 1})
}

// MostShards is the most parts that the samples of a picture are split into.
const MostShards = 4096

// Shard is a part of a picture's samples, so that all parts together have the bits of one run: of a small picture whole replicates, of
// one with many tiles for each part whole tiles, drawn by a hash. The zero value is all of them.
type Shard struct{ Index, Count int } // Index in [1, Count]

// tilesApart is from how many tiles for each part on a picture is split by tiles: then each part's file holds its tiles alone. Common
// practice, no published source.
const tilesApart = 64

// has reports whether the part holds a replicate of a tile, of so many.
func (s Shard) has(tile, replicate, tiles int) bool {
	switch {
	case s.Count <= 1:
		return true
	case s.Count > film.Replicates || tiles >= tilesApart*s.Count:
		return int(noise.Mix64(uint64(tile))%uint64(s.Count)) == s.Index-1
	}
	return replicate%s.Count == s.Index-1
}

// Identity says what a picture's bits depend on, apart from the number of samples and the error that ends them.
type Identity struct {
	Scene  string `json:"scene"`  // fingerprint of the description
	Build  string `json:"build"`  // hash of the program
	Arch   string `json:"arch"`   // processor that it was built for, with its level
	Kernel string `json:"kernel"` // of the ray hierarchy
}

// Program returns the identity of any picture that this program makes: all but its scene.
func Program() (Identity, error) {
	build, err := buildHash()
	return Identity{"", build, arch(), accel.Kernel()}, err
}

// lightOf returns the description with all set back that leaves a sample's light as it is: their number, the error that ends
// them, and how light is shown.
func lightOf(d *scene.Description) scene.Description {
	c := WithoutView(d)
	c.Picture.Samples, c.Picture.Error = 1, 0
	return c
}

// WithoutView returns the description with the keys of view set back that change how light is shown and not what light
// there is: all but whether the camera sees the surroundings. The primaries of files go with them.
func WithoutView(d *scene.Description) scene.Description {
	c := *d
	c.Picture.Primaries = "rec709"
	c.View = scene.View{Background: "not environment"}
	if d.View.Background == "environment" {
		c.View.Background = d.View.Background
	}
	return c
}

// IdentityOf returns the identity of a description's picture in this program.
func IdentityOf(d *scene.Description) (Identity, error) {
	c := lightOf(d)
	h, err := Fingerprint(&c)
	if err != nil {
		return Identity{}, err
	}
	id, err := Program()
	id.Scene = h
	return id, err
}

// String is the identity on one line.
func (i Identity) String() string {
	b, _ := json.Marshal(i) // strings always have a form
	return string(b)
}

// Differs returns nil for the same identity, else an error that names all that differs.
func (i Identity) Differs(other Identity) error { return i.differs(other, "") }

// differs is Differs; about says more of scenes that differ.
func (i Identity) differs(other Identity, about string) error {
	var out []string
	for _, c := range []struct{ what, a, b string }{
		{"build of the program", i.Build, other.Build}, {"processor", i.Arch, other.Arch},
		{"ray kernel", i.Kernel, other.Kernel}, {"scene", i.Scene, other.Scene},
	} {
		switch {
		case c.a == c.b:
		case c.what == "scene" && about != "":
			out = append(out, "of another scene: "+about)
		default:
			out = append(out, fmt.Sprintf("of another %s (%.16s, wanted %.16s)", c.what, c.b, c.a))
		}
	}
	if out == nil {
		return nil
	}
	return errors.New("it is " + strings.Join(out, " and "))
}

// Record is what a film keeps of its picture: the identity, and the keys of the scene, so that it can be said what differs.
type Record struct {
	Identity
	Keys []string `json:"keys,omitempty"` // scene.Description.Keys of what the light depends on
}

// mostKeys bounds the keys of a record, in bytes; a longer list is left out.
const mostKeys = 1 << 19

// RecordOf returns the record of a description's film in this program.
func RecordOf(d *scene.Description) (Record, error) {
	id, err := IdentityOf(d)
	if err != nil {
		return Record{}, err
	}
	c := lightOf(d)
	keys, err := c.Keys()
	if err != nil {
		return Record{}, fmt.Errorf("%s: %w", d.File, err)
	}
	n := 0
	for _, k := range keys {
		n += len(k) + 3
	}
	if n > mostKeys {
		keys = nil
	}
	return Record{id, keys}, nil
}

// ParseRecord reads what String wrote; a text of another kind is the zero Record.
func ParseRecord(text string) (r Record) {
	_ = json.Unmarshal([]byte(text), &r) // what can't be read differs from all records
	return r
}

// String is the record on one line.
func (r Record) String() string {
	b, _ := json.Marshal(r) // strings always have a form
	return string(b)
}

// Differs is Identity.Differs with the keys of the scene that differ, and their values.
func (r Record) Differs(other Record) error {
	about := ""
	if r.Keys != nil && other.Keys != nil {
		if about = scene.Differing(r.Keys, other.Keys); about == "" {
			about = "a file that it names has another content"
		}
	}
	return r.differs(other.Identity, about)
}

// sameRecord says in words what differs between two records.
func sameRecord(path, got, want string) error {
	if got == want {
		return nil
	}
	g, w := ParseRecord(got), ParseRecord(want)
	if g.Build == "" || w.Build == "" {
		return fmt.Errorf("%s: recorded as %.200q, wanted %.200q", path, got, want)
	}
	if err := w.Differs(g); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil // only one of them has its keys
}

func arch() string {
	level := ""
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "GO"+map[string]string{"amd64": "AMD64", "arm64": "ARM64"}[runtime.GOARCH] {
				level = " " + s.Value
			}
		}
	}
	return runtime.GOARCH + level
}

// buildHash hashes the program's own file: two programs of the same hash do the same arithmetic.
var buildHash = sync.OnceValues(func() (string, error) {
	path, err := os.Executable()
	if err != nil {
		return "", err
	}
	sum, err := builtin.Hash(path)
	return sum[:min(32, len(sum))], err
})
