package scene

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// Use is a place in a scene's own files where another file is named.
type Use struct {
	In           string // the scene file, or that of its light set-up
	Line, Column int    // counted from 1
	Text         string // as written, without quotes
	File         string // where it lies; a set of tiles has TileToken in its name
}

// Uses lists where the description's files are named, each place once. Files that overrides name are not among them.
func (d *Description) Uses() []Use {
	if d.source == nil {
		return nil
	}
	return slices.Clone(d.source.uses)
}

// use notes a place that names a file.
func (d *decoder) use(n *node, file string) {
	if n.at.order != 0 || n.at.line == 0 {
		return
	}
	u := Use{n.at.file, n.at.line, n.at.column, n.text, file}
	if !slices.Contains(d.uses, u) { // an alias stands for its anchor's place
		d.uses = append(d.uses, u)
	}
}

// Rewrite returns the text of one of a scene's files with other names in the places of some uses; all else stays as it is,
// comments too. name gives the new name, with slashes, or "" to leave the place alone.
func Rewrite(text []byte, uses []Use, name func(Use) string) ([]byte, error) {
	lines := strings.SplitAfter(string(text), "\n")
	order := slices.Clone(uses)
	// From the end of a line on, so that columns hold.
	slices.SortFunc(order, func(a, b Use) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return b.Column - a.Column
	})
	for _, u := range order {
		to := name(u)
		if to == "" {
			continue
		}
		fail := fmt.Errorf("%s:%d:%d: the file name %s is written in a way that can't be changed; write it on one line, in double quotes", u.In, u.Line, u.Column, shorten(u.Text))
		if u.Line > len(lines) {
			return nil, fail
		}
		line := lines[u.Line-1]
		from, end := find(line, u.Column, u.Text)
		if from < 0 {
			return nil, fail
		}
		quoted, err := json.Marshal(to) // JSON's strings are YAML's
		if err != nil {
			return nil, fail
		}
		lines[u.Line-1] = line[:from] + string(quoted) + line[end:]
	}
	return []byte(strings.Join(lines, "")), nil
}

// find returns where in a line a text is written, about at a column: as it is, or in quotes; -1 where it is not.
func find(line string, column int, text string) (from, end int) {
	single := "'" + strings.ReplaceAll(text, "'", "''") + "'"
	double, _ := json.Marshal(text) // strings always have a form
	plain := "\"" + text + "\""
	best := -1
	for _, form := range []string{string(double), plain, single, text} {
		for at := 0; ; {
			i := strings.Index(line[at:], form)
			if i < 0 {
				break
			}
			i += at
			// Columns count characters.
			if off := len([]rune(line[:i])) + 1 - column; best < 0 && off >= -1 && off <= 1 {
				best, end = i, i+len(form)
			}
			at = i + 1
		}
		if best >= 0 {
			return best, end
		}
	}
	return -1, 0
}
