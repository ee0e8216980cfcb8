package meshio

import (
	"math"
	"strconv"
	"strings"
)

// lines walks over the lines of a text. A line that ends in a backslash goes on in the next.
type lines struct {
	text string
	at   int // byte where the next line starts
	n    int // number of the line that next returned, from 1: the first of joined ones
	read int // lines read
}

// skipMark drops a byte-order mark, and reports a text that is not in UTF-8.
func (l *lines) skipMark() (ok bool) {
	if strings.HasPrefix(l.text, "\xef\xbb\xbf") {
		l.at = 3
	}
	return !strings.HasPrefix(l.text, "\xff\xfe") && !strings.HasPrefix(l.text, "\xfe\xff")
}

// one returns the next line as it stands, without its end.
func (l *lines) one() (line string, ok bool) {
	if l.at >= len(l.text) {
		return "", false
	}
	l.read++
	rest := l.text[l.at:]
	i := strings.IndexByte(rest, '\n')
	if i < 0 {
		l.at = len(l.text)
		return strings.TrimSuffix(rest, "\r"), true
	}
	l.at += i + 1
	return strings.TrimSuffix(rest[:i], "\r"), true
}

// next returns the next line, joined with those that continue it.
func (l *lines) next() (line string, ok bool) {
	line, ok = l.one()
	l.n = l.read
	if !ok || !strings.HasSuffix(line, `\`) {
		return line, ok
	}
	var b strings.Builder
	for strings.HasSuffix(line, `\`) {
		b.WriteString(strings.TrimSuffix(line, `\`))
		b.WriteByte(' ')
		if line, ok = l.one(); !ok {
			break
		}
	}
	b.WriteString(line)
	return b.String(), true
}

func (l *lines) where() string { return strconv.Itoa(l.n) }

// field cuts the next word off a line; "" where there is none.
func field(line string) (word, rest string) {
	i := 0
	for i < len(line) && (line[i] == ' ' || line[i] == '\t' || line[i] == '\r' || line[i] == '\v' || line[i] == '\f') {
		i++
	}
	j := i
	for j < len(line) && !(line[j] == ' ' || line[j] == '\t' || line[j] == '\r' || line[j] == '\v' || line[j] == '\f') {
		j++
	}
	return line[i:j], line[j:]
}

// numbers reads up to len(x) finite numbers of a line, and returns how many there are; bad is a word that is none.
func numbers(line string, x []float64) (n int, bad string) {
	for {
		var w string
		if w, line = field(line); w == "" || n == len(x) {
			return n, ""
		}
		v, err := strconv.ParseFloat(w, 64)
		if err != nil || math.IsNaN(v) || math.Abs(v) > 1e30 {
			return n, w
		}
		x[n] = v
		n++
	}
}
