package adopt

import (
	"cmp"
	"slices"
)

// Grade says how far a finding can be relied on.
type Grade int

// The grades.
const (
	Sure     Grade = iota
	Unsure         // a guess to check; marked in the scene file
	Borrowed       // missing in the file; the built-in eye's stands in
	Question       // two answers, none taken
)

// LeftOut is the choice of a finding that speaks of a picture which no key takes.
const LeftOut = "left out"

func (g Grade) String() string { return [...]string{"sure", "unsure", "borrowed", "question"}[g] }

// Finding is one thing that was found, with its reason.
type Finding struct {
	Topic  string `json:"topic"`
	Choice string `json:"choice"`
	Reason string `json:"reason"`
	Grade  Grade  `json:"-"`
	Word   string `json:"grade"`           // of Grade
	File   string `json:"file,omitempty"`  // a picture that it speaks of
	Value  string `json:"value,omitempty"` // in the scene file
}

func median[T cmp.Ordered](v []T) T {
	w := slices.Clone(v)
	slices.Sort(w)
	return w[len(w)/2]
}
