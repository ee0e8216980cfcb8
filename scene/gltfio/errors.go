package gltfio

import "fmt"

// FormatError says what is wrong with a file that breaks the rules of the format.
type FormatError struct {
	File string
	Msg  string // where, what, and which values are allowed
}

func (e *FormatError) Error() string { return e.File + ": glTF: " + e.Msg }

// UnsupportedError names a feature of a sound file that this package does not read and cannot do without.
type UnsupportedError struct {
	File string
	Msg  string
}

func (e *UnsupportedError) Error() string { return e.File + ": glTF: " + e.Msg }

func (r *reader) bad(format string, args ...any) error {
	return &FormatError{r.path, fmt.Sprintf(format, args...)}
}

func (r *reader) unsupported(format string, args ...any) error {
	return &UnsupportedError{r.path, fmt.Sprintf(format, args...)}
}

// note adds a warning, once.
func (r *reader) note(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	if !r.said[s] {
		r.said[s] = true
		r.asset.Notes = append(r.asset.Notes, s)
	}
}
