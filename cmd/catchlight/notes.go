package main

import (
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// tell writes a picture's notes, each on a line of its own and once: what a door has told it does not tell again.
func tell(w io.Writer, notes []string) {
	d, _ := w.(*door)
	for _, n := range folded(notes) {
		if d == nil || d.first(n) {
			fmt.Fprintln(w, "note:", oneLine(n))
		}
	}
}

// headed is a note that begins with one key, map or look that it is about.
var headed = regexp.MustCompile(`(?s)^([A-Za-z0-9_.-]+): (.*)$`)

// folded puts notes that say the same of several keys, maps or looks together, and counts those that are the same altogether.
func folded(notes []string) []string {
	type group struct {
		heads []string
		text  string
		count int
	}
	var groups []*group
	for _, n := range notes {
		head, text := "", n
		if m := headed.FindStringSubmatch(n); m != nil {
			head, text = m[1], m[2]
		}
		i := slices.IndexFunc(groups, func(g *group) bool { return g.text == text && (g.heads[0] == "") == (head == "") })
		if i < 0 {
			groups = append(groups, &group{[]string{head}, text, 1})
			continue
		}
		g := groups[i]
		if g.count++; !slices.Contains(g.heads, head) {
			g.heads = append(g.heads, head)
		}
	}
	var out []string
	for _, g := range groups {
		const most = 4
		s := strings.Join(g.heads[:min(most, len(g.heads))], ", ")
		if n := len(g.heads) - most; n > 0 {
			s += fmt.Sprintf(" and %d more", n)
		}
		if s != "" {
			s += ": "
		}
		if s += g.text; g.count > len(g.heads) {
			s += fmt.Sprintf(" (%d times)", g.count)
		}
		out = append(out, s)
	}
	return out
}
