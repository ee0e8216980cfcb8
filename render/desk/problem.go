package desk

import (
	"errors"
	"fmt"
	"strings"

	"catchlight/scene"
)

// Problem says why something was not done, for people.
type Problem struct {
	Problem string `json:"problem"`
	Key     string `json:"key,omitempty"`
	Range   string `json:"range,omitempty"`
	Stale   bool   `json:"stale,omitempty"` // the file changed on disk meanwhile
	Ask     bool   `json:"ask,omitempty"`   // it can be done nevertheless
}

// Error implements error.
func (p *Problem) Error() string {
	if p.Key != "" {
		return p.Key + ": " + p.Problem
	}
	return p.Problem
}

func refuse(key, format string, args ...any) error {
	return &Problem{Key: key, Problem: fmt.Sprintf(format, args...)}
}

// AsProblem returns an error as a Problem: of the loader's ones the first, with the range of its key.
func AsProblem(err error) *Problem {
	var own *Problem
	if errors.As(err, &own) {
		return own
	}
	var list scene.Problems
	if errors.As(err, &list) && len(list) > 0 {
		p := &Problem{Problem: list[0].Message, Key: list[0].Key}
		if k := scene.KeyAt(p.Key); k != nil && k.Limits != nil && strings.Contains(p.Problem, k.Limits.Text) {
			p.Range = k.Limits.Text
			if k.Unit != "" {
				p.Range += " " + k.Unit
			}
		}
		return p
	}
	return &Problem{Problem: err.Error()}
}

// fileProblem says what is wrong with the text of a file: the first problem, with its line.
func fileProblem(err error) string {
	var list scene.Problems
	if errors.As(err, &list) && len(list) > 0 {
		return list[0].Error()
	}
	return err.Error()
}
