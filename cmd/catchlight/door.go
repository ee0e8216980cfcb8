package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"syscall"
	"unicode"
	"unicode/utf8"
)

// door is what all text for people passes on its way out. Names from files may hold anything; what could steer a terminal
// leaves as its number, so that it is seen and does nothing.
type door struct {
	w    io.Writer
	gone func() // called when nobody reads any more

	mu   sync.Mutex
	rest []byte // the start of a character whose end comes with the next Write
	told map[string]bool
}

// first reports whether a note is told for the first time.
func (d *door) first(note string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.told == nil {
		d.told = map[string]bool{}
	}
	seen := d.told[note]
	d.told[note] = true
	return !seen
}

// Write implements io.Writer.
func (d *door) Write(p []byte) (int, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	text := append(d.rest, p...)
	cut := len(text)
	for i := 1; i < utf8.UTFMax && i <= len(text); i++ {
		if b := text[len(text)-i]; utf8.RuneStart(b) {
			if b >= utf8.RuneSelf && !utf8.FullRune(text[len(text)-i:]) {
				cut = len(text) - i
			}
			break
		}
	}
	d.rest = append([]byte(nil), text[cut:]...)
	if _, err := d.w.Write([]byte(visible(string(text[:cut])))); err != nil {
		if d.gone != nil && (errors.Is(err, syscall.EPIPE) || errors.Is(err, syscall.EIO)) {
			d.gone()
		}
		return 0, err
	}
	return len(p), nil
}

// flush writes what waits for the rest of a character.
func (d *door) flush() {
	d.mu.Lock()
	defer d.mu.Unlock()
	_, _ = d.w.Write([]byte(visible(string(d.rest))))
	d.rest = nil
}

// terminal returns the file behind a door, for what draws on it; nil where there is none.
func (d *door) terminal() *os.File {
	f, _ := d.w.(*os.File)
	return f
}

// visible writes control characters as their numbers, all but the ends of lines and tabs: those of ISO 646 and ISO 6429
// (C0, DEL, C1), the marks of Unicode that turn the direction of text or break lines, and bytes that are no UTF-8.
func visible(text string) string {
	plain := func(r rune) bool {
		switch {
		case r == '\n' || r == '\t':
			return true
		case unicode.IsControl(r), r == 0x061c, r == 0x200e, r == 0x200f, r == 0x2028, r == 0x2029,
			r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
			return false
		}
		return true
	}
	if utf8.ValidString(text) && strings.IndexFunc(text, func(r rune) bool { return !plain(r) }) < 0 {
		return text
	}
	var s strings.Builder
	for i, r := range text {
		_, n := utf8.DecodeRuneInString(text[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&s, `\x%02x`, text[i])
		case plain(r):
			s.WriteString(text[i : i+n])
		case r < 0x80:
			fmt.Fprintf(&s, `\x%02x`, r)
		default:
			fmt.Fprintf(&s, `\u%04x`, r)
		}
	}
	return s.String()
}

// oneLine is visible text without ends of lines, for names and notes that stand in one.
func oneLine(text string) string { return strings.ReplaceAll(visible(text), "\n", `\n`) }
