package imageio

import "fmt"

// FormatError says what is wrong with a file that breaks the rules of its format.
type FormatError struct {
	File string // as given to Read
	Kind string // name of the format, empty where it was not recognised
	Msg  string
}

func (e *FormatError) Error() string { return message(e.File, e.Kind, e.Msg) }

// UnsupportedError names a feature of a sound file that this package does not read.
type UnsupportedError struct {
	File string
	Kind string
	Msg  string
}

func (e *UnsupportedError) Error() string { return message(e.File, e.Kind, e.Msg) }

func message(file, kind, msg string) string {
	if kind != "" {
		msg = kind + ": " + msg
	}
	if file != "" {
		msg = file + ": " + msg
	}
	return msg
}

func bad(kind, format string, args ...any) error {
	return &FormatError{Kind: kind, Msg: fmt.Sprintf(format, args...)}
}

func unsupported(kind, format string, args ...any) error {
	return &UnsupportedError{Kind: kind, Msg: fmt.Sprintf(format, args...)}
}

// checkSize returns an error where w x h is no size this package reads, or where a picture of bits bits a texel
// cannot come out of size bytes that were shrunk at most ratio times.
func checkSize(kind string, w, h int64, bits float64, size int, ratio float64) error {
	if w < 1 || h < 1 || w > MaxSide || h > MaxSide {
		return bad(kind, "size %d x %d texels, each side must be 1 to %d", w, h, MaxSide)
	}
	if w*h > MaxTexels {
		return bad(kind, "size %d x %d is %d texels, at most %d are read", w, h, w*h, MaxTexels)
	}
	if claim := float64(w) * float64(h) * bits / 8; claim > ratio*float64(size) {
		return bad(kind, "the header claims %d x %d texels (%.3g bytes), more than the file's %d bytes can hold", w, h, claim, size)
	}
	return nil
}
