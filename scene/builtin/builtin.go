// Package builtin holds the files that live in the program, so that they are there from any folder: light set-ups, and the
// environments that they and the shipped scenes are lit by. A scene names one as builtin:NAME. Some environments are no files: the
// program makes them when they are read (Place, package surroundings).
package builtin

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io"
	"os"
	"path"
	"slices"
	"strings"

	"catchlight/scene/surroundings"
)

//go:embed light_setups/*.yaml environments/*.hdr
var files embed.FS

// Prefix begins the name of a file that lives in the program.
const Prefix = "builtin:"

// Is reports whether a name means a file in the program.
func Is(name string) bool { return strings.HasPrefix(name, Prefix) }

// Place returns the name of the surroundings that the program makes, by its name with the prefix; ok is false where it makes none.
func Place(name string) (short string, ok bool) {
	short, ok = strings.CutPrefix(name, Prefix)
	return short, ok && surroundings.Has(short)
}

// Read returns the content of a file by its name with the prefix; ok is false where there is none.
func Read(name string) (data []byte, ok bool) {
	short, ok := strings.CutPrefix(name, Prefix)
	if !ok || strings.ContainsAny(short, `/\`) {
		return nil, false
	}
	for _, folder := range []string{"light_setups", "environments"} {
		if data, err := files.ReadFile(path.Join(folder, short)); err == nil {
			return data, true
		}
	}
	return nil, false
}

// Hash returns the SHA-256 of the bytes of a file, or of one that the program brings, in hexadecimal digits; of surroundings that it
// makes, that of their name and version.
func Hash(path string) (string, error) {
	if short, ok := Place(path); ok {
		sum := sha256.Sum256([]byte("surroundings " + surroundings.Version + " " + short))
		return hex.EncodeToString(sum[:]), nil
	}
	if data, ok := Read(path); ok {
		sum := sha256.Sum256(data)
		return hex.EncodeToString(sum[:]), nil
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// LightSetups returns the names of the light set-ups, without prefix and ending, in order.
func LightSetups() []string { return list("light_setups", ".yaml") }

// Environments returns the names of the environments, without prefix, in order: files, then what the program makes.
func Environments() []string { return append(list("environments", ""), surroundings.Names()...) }

func list(folder, ending string) (out []string) {
	entries, _ := files.ReadDir(folder) // embedded: it is there
	for _, e := range entries {
		out = append(out, strings.TrimSuffix(e.Name(), ending))
	}
	slices.Sort(out)
	return out
}
