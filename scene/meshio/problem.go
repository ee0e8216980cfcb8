package meshio

import (
	"fmt"
	"strings"
)

// Problem is one thing that is wrong with a file.
type Problem struct {
	File    string
	Where   string // a line number, or "byte N"; "" for the whole file
	Message string
}

func (p Problem) Error() string {
	if p.Where == "" {
		return p.File + ": " + p.Message
	}
	return p.File + ":" + p.Where + ": " + p.Message
}

// Problems is all that is wrong with a file, at most MaxProblems and a count of the rest.
type Problems []Problem

func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i := range p {
		lines[i] = p[i].Error()
	}
	return strings.Join(lines, "\n")
}

func (r *reader) bad(where, format string, args ...any) {
	if len(r.problems) == MaxProblems {
		r.more++
		return
	}
	r.problems = append(r.problems, Problem{r.path, where, fmt.Sprintf(format, args...)})
}

// full reports whether there is no use in looking on.
func (r *reader) full() bool { return r.more >= 1000 }

// note adds a warning, once, and no more than a person would read.
func (r *reader) note(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	if !r.said[s] && len(r.said) < 100 {
		r.said[s] = true
		r.asset.Notes = append(r.asset.Notes, s)
	}
}
