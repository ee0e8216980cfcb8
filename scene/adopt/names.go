package adopt

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

//go:embed names.txt
var builtNames string

// Names says what the pieces of names mean: words by group (map, part, side, shell) and meaning.
type Names map[string]map[string][]string

// meanings that each group may define.
var meanings = map[string][]string{
	"map":   {"colour", "normal", "height", "roughness", "zone", "veins", "occlusion", "specular", "opacity", "scatter", "metal", "glow", "packed"},
	"part":  {"iris", "sclera", "cornea", "inner"},
	"side":  {"left", "right"},
	"shell": {"outer", "inner", "extra"},
}

// BuiltNames returns the built-in table as its text.
func BuiltNames() string { return builtNames }

// maxNames is the largest table that is read, in bytes.
const maxNames = 1 << 20

// LoadNames returns the built-in table with the words of the file path added; path "" adds none. Every line that is
// not understood is reported with its number, as is a word that would mean two things in one group.
func LoadNames(path string) (Names, error) {
	n := Names{}
	if err := n.add("built-in names", builtNames); err != nil || path == "" {
		return n, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() || info.Size() > maxNames {
		return nil, fmt.Errorf("%s: a table of names is a regular file of at most %d bytes", path, maxNames)
	}
	data, err := io.ReadAll(io.LimitReader(f, maxNames))
	if err != nil {
		return nil, err
	}
	return n, n.add(path, string(data))
}

// add reads lines of the form "group meaning: words".
func (n Names) add(file, text string) error {
	var errs []error
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		bad := func(format string, a ...any) {
			errs = append(errs, fmt.Errorf("%s:%d: %s", file, i+1, fmt.Sprintf(format, a...)))
		}
		head, words, ok := strings.Cut(line, ":")
		key := strings.Fields(head)
		if !ok || len(key) != 2 {
			bad("%q is not of the form \"group meaning: words\"", line)
			continue
		}
		group, kind := key[0], key[1]
		known, ok := meanings[group]
		if !ok {
			bad("there is no group %q; it must be one of %s", group, strings.Join(sortedKeys(meanings), ", "))
			continue
		}
		if !slices.Contains(known, kind) {
			bad("%s has no meaning %q; it must be one of %s", group, kind, strings.Join(known, ", "))
			continue
		}
		if n[group] == nil {
			n[group] = map[string][]string{}
		}
		for _, w := range strings.Fields(strings.ToLower(strings.ReplaceAll(words, ",", " "))) {
			for _, k := range known {
				if k != kind && slices.Contains(n[group][k], w) {
					bad("%s: %q would mean both %s and %s", group, w, k, kind)
				}
			}
			n[group][kind] = append(n[group][kind], w)
		}
	}
	return errors.Join(errs...)
}

func sortedKeys[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// pieces splits a name: at everything that is no letter or digit, between letters and digits, and where a small letter
// meets a capital. All are in small letters.
func pieces(name string) []string {
	var out []string
	var cur []rune
	flush := func() {
		if len(cur) > 0 {
			out = append(out, strings.ToLower(string(cur)))
			cur = cur[:0]
		}
	}
	rs := []rune(name)
	for i, r := range rs {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			flush()
			continue
		}
		if len(cur) > 0 {
			last := rs[i-1]
			next := i+1 < len(rs) && unicode.IsLower(rs[i+1])
			if unicode.IsDigit(last) != unicode.IsDigit(r) || unicode.IsLower(last) && unicode.IsUpper(r) ||
				unicode.IsUpper(last) && unicode.IsUpper(r) && next {
				flush()
			}
		}
		cur = append(cur, r)
	}
	flush()
	return out
}

// meaning returns the meanings of a name in one group, each once, in the order in which they occur.
func meaning(group map[string][]string, ps []string) []string {
	var out []string
	add := func(w string) bool {
		for _, k := range sortedKeys(group) {
			if slices.Contains(group[k], w) {
				if !slices.Contains(out, k) {
					out = append(out, k)
				}
				return true
			}
		}
		return false
	}
	for i := 0; i < len(ps); i++ {
		if i+1 < len(ps) && add(ps[i]+ps[i+1]) {
			i++
			continue
		}
		add(ps[i])
	}
	return out
}

// label is what a file name says.
type label struct {
	kinds, parts, sides []string
	tile                int // 1001 and up, 0: none
}

// read tells what the name of a picture says.
func (n Names) read(file string) label {
	base := filepath.Base(file)
	ps := pieces(strings.TrimSuffix(base, filepath.Ext(base)))
	l := label{kinds: meaning(n["map"], ps), parts: meaning(n["part"], ps), sides: meaning(n["side"], ps)}
	for _, p := range ps {
		if v, err := strconv.Atoi(p); err == nil && len(p) == 4 && v >= 1001 && v <= 1999 {
			l.tile = v
		}
	}
	// "white" in a name that also says iris is no part; a specific part beats the whole eye.
	if len(l.parts) > 1 {
		l.parts = slices.DeleteFunc(l.parts, func(s string) bool { return s == "inner" })
	}
	return l
}
