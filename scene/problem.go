package scene

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Problem is one thing wrong with a scene file or with an override, said so that its author can mend it from the
// message alone.
type Problem struct {
	File         string // the scene file, or "--set KEY=VALUE" for an override
	Line, Column int    // counted from 1; 0 where there is no position, as in an override
	Key          string // the whole path of the key, written as an override would write it; empty for the file as such
	Value        string // the value as written, shortened; empty where there is none
	Message      string // what is wrong, with the value and the allowed range

	order int // 0 for the scene file, 1 and up for overrides in the order given
}

// Error returns the problem on one line: file, line, column, key and message, for instance
// "scenes/heron.yaml:12:20: objects.left.cornea.index: 13.76 is outside [1, 2.5]".
func (p Problem) Error() string {
	var s strings.Builder
	s.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&s, ":%d:%d", p.Line, p.Column)
	}
	s.WriteString(": ")
	if p.Key != "" {
		s.WriteString(p.Key)
		s.WriteString(": ")
	}
	s.WriteString(p.Message)
	return s.String()
}

// Problems is everything wrong with one scene, first the file's in file order, then the overrides'.
type Problems []Problem

// shownProblems is how many problems the text of an error holds; all of them are in the slice.
const shownProblems = 100

// Error returns one line a problem, without a newline at the end.
func (p Problems) Error() string {
	lines := make([]string, 0, min(len(p), shownProblems)+1)
	for i, q := range p {
		if i == shownProblems {
			lines = append(lines, fmt.Sprintf("... and %d more", len(p)-i))
			break
		}
		lines = append(lines, q.Error())
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns the problems one by one, for errors.As and errors.Is.
func (p Problems) Unwrap() []error {
	errs := make([]error, len(p))
	for i := range p {
		errs[i] = p[i]
	}
	return errs
}

// sorted puts the problems in the order of their positions and returns nil for none.
func (p Problems) sorted() error {
	if len(p) == 0 {
		return nil
	}
	slices.SortStableFunc(p, func(a, b Problem) int {
		if a.order != b.order {
			return a.order - b.order
		}
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return p
}

// shorten makes text of any kind fit into a message: at most 60 characters, in quotes when it is not plain.
func shorten(s string) string {
	const most = 60
	if r := []rune(s[:min(len(s), 4*most)]); len(r) > most {
		s = string(r[:most]) + "..."
	}
	if s == "" || strings.TrimSpace(s) != s || strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return strconv.Quote(s)
	}
	return s
}

// nearest returns the word that is fewest edits away from s, or "" when all are farther than a third of its length
// (but two edits always count as near enough for words of four letters and more).
func nearest(s string, words []string) string {
	if len(s) > 64 {
		return ""
	}
	best, least := "", max(len(s)/3, 1)
	if len(s) >= 4 {
		least = max(least, 2)
	}
	for _, w := range words {
		if d := edits(strings.ToLower(s), w); d <= least && (best == "" || d < least) {
			best, least = w, d
		}
	}
	return best
}

// edits returns how many insertions, deletions, replacements and swaps of neighbours turn a into b (the restricted
// form of the distance in Damerau, Commun. ACM 7 (1964), 171-176).
func edits(a, b string) int {
	r, s := []rune(a), []rune(b)
	before, prev, row := make([]int, len(s)+1), make([]int, len(s)+1), make([]int, len(s)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := range r {
		row[0] = i + 1
		for j := range s {
			cost := 1
			if r[i] == s[j] {
				cost = 0
			}
			row[j+1] = min(prev[j]+cost, prev[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && r[i] == s[j-1] && r[i-1] == s[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, prev, row = prev, row, before
	}
	return prev[len(s)]
}

// listing joins words for a message: "a, b or c" with "or" as the last word's link.
func listing(words []string, link string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " " + link + " " + words[len(words)-1]
}
