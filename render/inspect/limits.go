package inspect

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"catchlight/scene"
)

// Limit is one threshold.
type Limit struct {
	Key         string // group and name: "mesh.outline_px"
	Default     float64
	Least, Most float64 // what a studio may set it to
	Unit        string
	Source      string // a publication, or "common practice, no published source", or "own choice"
	Doc         string
}

// showLimits turn what shows into a severity.
var showLimits = []Limit{
	{"shows.warning_px", 0.5, 0, 1000, "px", "common practice, no published source: half a pixel is the least step of an outline that filtering does not hide", "what is off by so much is a warning"},
	{"shows.error_px", 3, 0, 1000, "px", "own choice", "what is off by so much is an error"},
	{"shows.warning_levels", 2, 0, 255, "levels", "own choice: of 255, over an area", "what changes the picture by so much is a warning"},
	{"shows.error_levels", 12, 0, 255, "levels", "own choice: of 255, over an area", "what changes the picture by so much is an error"},
}

// Table lists all thresholds, in the order of the groups.
var Table = slices.Concat(showLimits, scaleLimits, layerLimits, meshLimits, coordinateLimits, mapLimits, pairLimits, highLowLimits)

// Limits are the thresholds in use.
type Limits struct {
	File  string // that they were read from; "" for the built-in ones
	value map[string]float64
}

// Builtin returns the built-in thresholds.
func Builtin() *Limits {
	l := &Limits{value: map[string]float64{}}
	for _, t := range Table {
		l.value[t.Key] = t.Default
	}
	return l
}

// Get returns a threshold. An unknown key is a programmer's mistake and panics.
func (l *Limits) Get(key string) float64 {
	v, ok := l.value[key]
	if !ok {
		panic("inspect: no threshold " + key)
	}
	return v
}

// LoadLimits returns the built-in thresholds with those of a file put over them. The file is YAML: blocks by group, or keys with
// dots. Every mistake is reported with its line, key and range.
func LoadLimits(path string) (*Limits, error) {
	l := Builtin()
	l.File = path
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // it was read only
	data, err := io.ReadAll(io.LimitReader(f, scene.MaxText+1))
	if err != nil {
		return nil, err
	}
	numbers, bad := scene.Numbers(path, data)
	for _, n := range numbers {
		i := slices.IndexFunc(Table, func(t Limit) bool { return t.Key == n.Key })
		if i < 0 {
			near := ""
			if k := nearest(n.Key); k != "" {
				near = "; did you mean " + k + "?"
			}
			bad = append(bad, n.Problem("unknown threshold%s", near))
			continue
		}
		if t := &Table[i]; !(n.V >= t.Least && n.V <= t.Most) {
			bad = append(bad, n.Problem("%g is outside [%g, %g] %s", n.V, t.Least, t.Most, t.Unit))
			continue
		}
		l.value[n.Key] = n.V
	}
	if l.value["shows.error_px"] < l.value["shows.warning_px"] || l.value["shows.error_levels"] < l.value["shows.warning_levels"] {
		bad = append(bad, scene.Problem{File: path, Key: "shows", Message: "an error must not show less than a warning"})
	}
	if len(bad) > 0 {
		return nil, bad
	}
	return l, nil
}

// nearest returns the known key with the most of a key's pieces, "" where none has any.
func nearest(key string) string {
	best, most := "", 0
	pieces := strings.FieldsFunc(key, func(r rune) bool { return r == '.' || r == '_' })
	for _, t := range Table {
		n := 0
		for _, p := range pieces {
			if slices.Contains(strings.FieldsFunc(t.Key, func(r rune) bool { return r == '.' || r == '_' }), p) {
				n++
			}
		}
		if n > most {
			best, most = t.Key, n
		}
	}
	return best
}

// WriteTable writes the thresholds as a file that LoadLimits reads, each with its unit, range, source and meaning.
func (l *Limits) WriteTable(w io.Writer) error {
	var s strings.Builder
	s.WriteString("# Thresholds of catchlight inspect. A file of your own needs only the lines that differ.\n")
	group := ""
	for _, t := range Table {
		g, name, _ := strings.Cut(t.Key, ".")
		if g != group {
			fmt.Fprintf(&s, "%s:\n", g)
			group = g
		}
		fmt.Fprintf(&s, "  %s: %g # %s; %s [%g, %g]; %s\n", name, l.Get(t.Key), t.Doc, t.Unit, t.Least, t.Most, t.Source)
	}
	_, err := io.WriteString(w, s.String())
	return err
}
