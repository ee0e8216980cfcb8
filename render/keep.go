package render

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"runtime/debug"
	"sync"
	"time"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/scene"
	"catchlight/scene/imageio"
)

// Keep saves the sums of a render while it works and when it ends, so that it can go on to the same bits after a pause,
// an interrupt or a crash, or take more samples later.
type Keep struct {
	Path   string
	Every  time.Duration // between saves; 0 saves at the end alone
	Record string        // Identity.String of the picture; a film of another is refused
	Final  bool          // saves a finished film too, to take more samples later
}

func (k *Keep) due(last time.Time) bool { return k.Every > 0 && time.Since(last) >= k.Every }

func (k *Keep) save(f *film.Film) error { return imageio.WriteAtomic(k.Path, f.Save) }

// load returns the film that is saved, or nil where there is none.
func (k *Keep) load(w, h int) (*film.Film, error) {
	f, err := ReadFilm(k.Path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if err := sameIdentity(k.Path, f.Record(), k.Record); err != nil {
		return nil, err
	}
	if fw, fh := f.Size(); fw != w || fh != h {
		return nil, fmt.Errorf("%s: holds %d x %d pixels, this picture has %d x %d", k.Path, fw, fh, w, h)
	}
	return f, nil
}

// ReadFilm reads a saved film.
func ReadFilm(path string) (*film.Film, error) {
	r, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	info, err := r.Stat()
	if err != nil {
		return nil, err
	}
	f, err := film.Load(r, info.Size(), 0)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return f, nil
}

// Shard is a part of a picture's samples: whole replicates, so that the sum of all parts has the bits of one run. The
// zero value is all of them.
type Shard struct{ Index, Count int } // Index in [1, Count]

// has reports whether the part holds a replicate.
func (s Shard) has(replicate int) bool { return s.Count <= 1 || replicate%s.Count == s.Index-1 }

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

// IdentityOf returns the identity of a description's picture in this program.
func IdentityOf(d *scene.Description) (Identity, error) {
	c := *d
	c.Picture.Samples, c.Picture.Error = 1, 0
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

// sameIdentity says in words what differs between two records.
func sameIdentity(path, got, want string) error {
	var g, w Identity
	if got == want {
		return nil
	}
	if json.Unmarshal([]byte(got), &g) != nil || json.Unmarshal([]byte(want), &w) != nil {
		return fmt.Errorf("%s: recorded as %q, wanted %q", path, got, want)
	}
	return fmt.Errorf("%s: %w", path, w.Differs(g))
}

// Differs returns nil for the same identity, else an error that names the first thing that differs.
func (i Identity) Differs(other Identity) error {
	for _, c := range []struct{ what, a, b string }{
		{"scene", i.Scene, other.Scene}, {"build of the program", i.Build, other.Build},
		{"processor", i.Arch, other.Arch}, {"ray kernel", i.Kernel, other.Kernel},
	} {
		if c.a != c.b {
			return fmt.Errorf("it is of another %s (%.16s, wanted %.16s)", c.what, c.b, c.a)
		}
	}
	return nil
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
	sum, err := scene.HashFile(path)
	return sum[:min(32, len(sum))], err
})
