package edit

import (
	"errors"
	"slices"
	"strings"
)

// Between lists the changes of values by which one text becomes another. Entries that only one of both lists has are not among them as
// such: whoever applies the changes compares what comes of it.
func Between(base, mine string) []Change {
	var out []Change
	for _, key := range Keys(mine) {
		now, ok := Get(mine, key)
		if old, had := Get(base, key); ok && (!had || old != now) {
			out = append(out, Change{key, Raw(now)})
		}
	}
	for _, key := range Keys(base) {
		if !Has(mine, key) {
			out = append(out, Change{key, nil})
		}
	}
	return out
}

// ErrOverlap says that two changes are of the same part of a text.
var ErrOverlap = errors.New("both changed the same part of the text")

// Merge makes the changes from base to mine in theirs, a text that comes from base too: words and lines of the text, whatever they mean.
func Merge(base, mine, theirs string) (string, error) {
	b := tokens(base)
	a, c := hunks(b, tokens(mine)), hunks(b, tokens(theirs))
	var out strings.Builder
	at := 0
	for len(a) > 0 || len(c) > 0 {
		var h hunk
		switch {
		case len(a) == 0 || len(c) > 0 && (c[0].from < a[0].from || c[0].from == a[0].from && c[0].to < a[0].to):
			h, c = c[0], c[1:]
		case len(c) > 0 && a[0].from == c[0].from && a[0].to == c[0].to && a[0].with == c[0].with:
			h, a, c = a[0], a[1:], c[1:]
		default:
			h, a = a[0], a[1:]
		}
		if h.from < at {
			return "", ErrOverlap
		}
		out.WriteString(strings.Join(b[at:h.from], ""))
		out.WriteString(h.with)
		at = h.to
	}
	out.WriteString(strings.Join(b[at:], ""))
	return out.String(), nil
}

// tokens are the words, blanks and signs of a text; together they are the text.
func tokens(text string) []string {
	kind := func(c byte) int {
		switch {
		case c == '\n':
			return 0
		case c == ' ' || c == '\r' || c == '\t':
			return 1
		case c == '_' || c == '.' || c == '-' || c >= 0x80 || '0' <= c && c <= '9' || 'a' <= c|0x20 && c|0x20 <= 'z':
			return 2
		}
		return 3
	}
	var out []string
	for from := 0; from < len(text); {
		to := from + 1
		for k := kind(text[from]); to < len(text) && (k == 1 || k == 2) && kind(text[to]) == k; {
			to++
		}
		out = append(out, text[from:to])
		from = to
	}
	return out
}

// hunk is a part of a list of tokens, with the text that stands in place of it.
type hunk struct {
	from, to int
	with     string
}

// mostCompared bounds the table of a comparison; beyond it what lies between the first and the last difference is one hunk.
const mostCompared = 4 << 20

// hunks are the differences of two lists of tokens, by the longest list that both contain.
func hunks(a, b []string) []hunk {
	head := 0
	for head < min(len(a), len(b)) && a[head] == b[head] {
		head++
	}
	tail := 0
	for tail < min(len(a), len(b))-head && a[len(a)-1-tail] == b[len(b)-1-tail] {
		tail++
	}
	x, y := a[head:len(a)-tail], b[head:len(b)-tail]
	if len(x) == 0 && len(y) == 0 {
		return nil
	}
	w := len(y) + 1
	if (len(x)+1)*w > mostCompared {
		return []hunk{{head, head + len(x), strings.Join(y, "")}}
	}
	common := make([]int32, (len(x)+1)*w) // of what follows
	for i, p := range slices.Backward(x) {
		for j, q := range slices.Backward(y) {
			if p == q {
				common[i*w+j] = common[(i+1)*w+j+1] + 1
			} else {
				common[i*w+j] = max(common[(i+1)*w+j], common[i*w+j+1])
			}
		}
	}
	var out []hunk
	for i, j := 0, 0; i < len(x) || j < len(y); {
		if i < len(x) && j < len(y) && x[i] == y[j] {
			i, j = i+1, j+1
			continue
		}
		h, from := hunk{from: head + i}, j
		for (i < len(x) || j < len(y)) && !(i < len(x) && j < len(y) && x[i] == y[j]) {
			if j == len(y) || i < len(x) && common[(i+1)*w+j] >= common[i*w+j+1] {
				i++
			} else {
				j++
			}
		}
		h.to, h.with = head+i, strings.Join(y[from:j], "")
		out = append(out, h)
	}
	return out
}
