package edit

import (
	"fmt"
	"slices"
	"strings"
)

// kind tells the sorts of node apart.
type kind uint8

const (
	scalar kind = iota
	list
	block
	null
)

// node is a value of the text with the place of its token.
type node struct {
	kind     kind
	flow     bool // of lists and blocks: in brackets
	from, to int  // bytes of the token; a comment at its end is not of it
	text     string
	why      string // why it can't be edited, "" where it can
	items    []item
	entries  []entry
}

// item is an entry of a list.
type item struct {
	dash int // where its dash stands, in block style
	*node
}

// entry is a key of a block with its value.
type entry struct {
	key   string
	at    int // where the key begins
	colon int // just after the colon
	*node
}

// Limits of a text; the loader has narrower ones.
const mostNesting = 100

// scanner finds the places of all values in a text.
type scanner struct {
	s     string
	at    int
	depth int
}

// mistake is a form that the scanner does not know; the loader says better what is wrong with the text.
type mistake struct {
	at   int
	text string
}

// scan reads a text.
func scan(text string) (root *node, err error) {
	c := &scanner{s: text}
	defer func() {
		if m, ok := recover().(mistake); ok {
			root, err = nil, fmt.Errorf("line %d: %s", 1+strings.Count(text[:min(m.at, len(text))], "\n"), m.text)
		}
	}()
	if strings.HasPrefix(text, "\ufeff") {
		c.at = len("\ufeff")
	}
	c.space()
	if c.marker("---") || c.has("%") {
		for c.has("%") {
			c.toLineEnd()
			c.space()
		}
		if c.marker("---") {
			c.at += 3
			c.space()
		}
	}
	if c.end() {
		return &node{kind: null, from: len(text), to: len(text)}, nil
	}
	root = c.node(-1, false)
	c.space()
	if !c.end() {
		c.fail("this is not understood here")
	}
	return root, nil
}

func (c *scanner) fail(format string, args ...any) {
	panic(mistake{c.at, fmt.Sprintf(format, args...)})
}

func (c *scanner) has(prefix string) bool { return strings.HasPrefix(c.s[c.at:], prefix) }

// end reports whether the document ends here.
func (c *scanner) end() bool { return c.at >= len(c.s) || c.marker("...") || c.marker("---") }

// marker reports whether a mark of documents stands here.
func (c *scanner) marker(m string) bool { return c.column() == 0 && c.has(m) && c.blankAt(c.at+3) }

// byteAt returns the byte at a place, and a line's end past the last.
func (c *scanner) byteAt(i int) byte {
	if i < 0 || i >= len(c.s) {
		return '\n'
	}
	return c.s[i]
}

func blank(b byte) bool { return b == ' ' || b == '\t' || b == '\n' || b == '\r' }

func (c *scanner) blankAt(i int) bool { return blank(c.byteAt(i)) }

// lineStart returns where the line of a place begins.
func (c *scanner) lineStart(i int) int { return strings.LastIndexByte(c.s[:i], '\n') + 1 }

// column counts the bytes between the line's begin and here; a byte order mark counts as none.
func (c *scanner) column() int {
	start := c.lineStart(c.at)
	if start == 0 && strings.HasPrefix(c.s, "\ufeff") {
		start = len("\ufeff")
	}
	return c.at - start
}

// space skips blanks, ends of lines and comments.
func (c *scanner) space() {
	for c.at < len(c.s) {
		switch b := c.s[c.at]; {
		case blank(b):
			c.at++
		case b == '#' && c.blankAt(c.at-1):
			c.toLineEnd()
		default:
			return
		}
	}
}

// gap skips blanks within the line.
func (c *scanner) gap() {
	for c.at < len(c.s) && (c.s[c.at] == ' ' || c.s[c.at] == '\t') {
		c.at++
	}
}

func (c *scanner) toLineEnd() {
	if i := strings.IndexByte(c.s[c.at:], '\n'); i >= 0 {
		c.at += i
	} else {
		c.at = len(c.s)
	}
}

// lineEnds reports whether nothing but a comment follows in the line.
func (c *scanner) lineEnds() bool {
	b := c.byteAt(c.at)
	return b == '\n' || b == '\r' || b == '#' && c.blankAt(c.at-1)
}

// node reads the value that begins here. Lines of a plain or literal text go on where they stand deeper than parent.
func (c *scanner) node(parent int, inFlow bool) *node {
	if c.depth++; c.depth > mostNesting {
		c.fail("more than %d values within each other", mostNesting)
	}
	defer func() { c.depth-- }()
	b := c.byteAt(c.at)
	switch {
	case b == '&' || b == '!' || b == '*':
		return c.marked(parent, inFlow)
	case b == '{' || b == '[':
		return c.brackets(b)
	case inFlow:
		return c.scalar(parent, true)
	case b == '-' && c.blankAt(c.at+1):
		return c.dashes(c.column())
	case b == '|' || b == '>':
		return c.literal(parent)
	case b == '?' && c.blankAt(c.at+1), b == '@', b == '`':
		c.fail("this form is not understood")
	}
	if c.key() {
		return c.lines(c.column())
	}
	return c.scalar(parent, false)
}

// marked reads a value with an anchor or a tag before it, or an alias.
func (c *scanner) marked(parent int, inFlow bool) *node {
	from, mark := c.at, c.byteAt(c.at)
	for !c.blankAt(c.at) && !(inFlow && strings.IndexByte(",]}", c.byteAt(c.at)) >= 0) {
		c.at++
	}
	name := c.s[from:c.at]
	if mark == '*' {
		return &node{kind: scalar, from: from, to: c.at, text: name, why: "it is what the anchor &" + name[1:] + " holds"}
	}
	c.gap()
	ends := c.lineEnds()
	if inFlow || ends {
		c.space()
	}
	n := &node{kind: null, from: c.at, to: c.at}
	if inFlow || !ends || !c.end() && c.column() > parent {
		if b := c.byteAt(c.at); !ends && !inFlow && b != '{' && b != '[' && c.key() { // an anchor of a key
			c.at = from
			c.fail("the anchor or tag %s before a key is not understood", name)
		}
		n = c.node(parent, inFlow)
	}
	n.from = from
	n.why = "other places may stand for it by its anchor " + name
	if mark == '!' {
		n.why = "it has the tag " + name
	}
	return n
}

// key reports whether a key and its colon stand here, in one line.
func (c *scanner) key() bool {
	at := c.at
	defer func() { c.at = at }()
	if b := c.byteAt(c.at); b == '"' || b == '\'' {
		c.quoted(b)
		c.gap()
		return c.byteAt(c.at) == ':' && c.blankAt(c.at+1)
	}
	for ; !c.lineEnds(); c.at++ {
		if c.byteAt(c.at) == ':' && c.blankAt(c.at+1) {
			return true
		}
	}
	return false
}

// word reads a key up to its colon.
func (c *scanner) word(inFlow bool) string {
	b := c.byteAt(c.at)
	if b == '"' || b == '\'' {
		text := c.quoted(b)
		c.gap()
		return text
	}
	from := c.at
	for c.at < len(c.s) && !(c.s[c.at] == ':' && (c.blankAt(c.at+1) || inFlow && strings.IndexByte(",]}", c.byteAt(c.at+1)) >= 0)) {
		if inFlow && strings.IndexByte(",]}", c.s[c.at]) >= 0 || c.s[c.at] == '\n' {
			break
		}
		c.at++
	}
	return strings.TrimRight(c.s[from:c.at], " \t")
}

// quoted skips a text in quotes and returns what it says.
func (c *scanner) quoted(q byte) string {
	var s strings.Builder
	from := c.at
	for c.at++; ; c.at++ {
		if c.at >= len(c.s) {
			c.at = from
			c.fail("a quote that is not closed")
		}
		switch b := c.s[c.at]; {
		case b == q && q == '\'' && c.byteAt(c.at+1) == '\'':
			c.at++
			s.WriteByte(b)
		case b == q:
			c.at++
			return s.String()
		case b == '\\' && q == '"':
			s.WriteByte(b)
			c.at++
			s.WriteByte(c.byteAt(c.at))
		default:
			s.WriteByte(b)
		}
	}
}

// scalar reads a text, plain or in quotes.
func (c *scanner) scalar(parent int, inFlow bool) *node {
	n := &node{kind: scalar, from: c.at}
	if b := c.byteAt(c.at); b == '"' || b == '\'' {
		n.text = c.quoted(b)
		n.to = c.at
		return n
	}
	for {
		for !c.lineEnds() && !(inFlow && strings.IndexByte(",]}", c.byteAt(c.at)) >= 0) &&
			!(c.byteAt(c.at) == ':' && (c.blankAt(c.at+1) || inFlow && strings.IndexByte(",]}", c.byteAt(c.at+1)) >= 0)) {
			c.at++
		}
		n.to = n.from + len(strings.TrimRight(c.s[n.from:c.at], " \t"))
		if c.byteAt(c.at) != '\n' && c.byteAt(c.at) != '\r' || c.at >= len(c.s) {
			break
		}
		// A plain text goes on in deeper lines.
		next := c.at
		for next < len(c.s) && blank(c.s[next]) {
			next++
		}
		if next >= len(c.s) || c.s[next] == '#' || !inFlow && next-c.lineStart(next) <= parent || inFlow && strings.IndexByte(",]}", c.s[next]) >= 0 {
			break
		}
		c.at = next
		if !inFlow && c.key() {
			c.fail("a key within a text")
		}
	}
	n.text = c.s[n.from:n.to]
	if n.from == n.to || n.text == "~" || n.text == "null" || n.text == "Null" || n.text == "NULL" {
		n.kind = null
	}
	c.at = n.to
	return n
}

// literal reads a text in lines of its own.
func (c *scanner) literal(parent int) *node {
	n := &node{kind: scalar, from: c.at}
	c.toLineEnd()
	n.to = n.from + len(strings.TrimRight(c.s[n.from:c.at], " \t\r"))
	for c.at < len(c.s) {
		start := c.at + 1 // of the next line
		i := start
		for i < len(c.s) && c.s[i] == ' ' {
			i++
		}
		c.at = i
		if i < len(c.s) && c.s[i] != '\n' && c.s[i] != '\r' {
			if i-start <= parent {
				break
			}
			c.toLineEnd()
			n.to = len(strings.TrimRight(c.s[:c.at], " \t\r"))
			continue
		}
		c.toLineEnd()
	}
	c.at = n.to
	n.text = c.s[n.from:n.to]
	return n
}

// brackets reads a list or a block in flow style.
func (c *scanner) brackets(open byte) *node {
	n := &node{kind: list, flow: true, from: c.at}
	end := byte(']')
	if open == '{' {
		n.kind, end = block, '}'
	}
	c.at++
	for {
		c.space()
		if c.at >= len(c.s) {
			c.at = n.from
			c.fail("a bracket that is not closed")
		}
		if c.s[c.at] == end {
			c.at++
			n.to = c.at
			return n
		}
		if n.kind == block {
			n.add(c.pair())
		} else {
			v := c.node(-1, true)
			if c.space(); c.byteAt(c.at) == ':' {
				c.fail("a key within a list is not understood")
			}
			n.items = append(n.items, item{v.from, v})
		}
		c.space()
		switch c.byteAt(c.at) {
		case ',':
			c.at++
		case end:
		default:
			c.fail("a comma or a closing bracket is missing")
		}
	}
}

// pair reads a key and its value within brackets.
func (c *scanner) pair() entry {
	e := entry{at: c.at}
	e.key = c.word(true)
	c.space()
	if c.byteAt(c.at) != ':' {
		e.colon = c.at
		e.node = &node{kind: null, from: c.at, to: c.at, why: "it has no colon"}
		return e
	}
	c.at++
	e.colon = c.at
	c.space()
	if strings.IndexByte(",}", c.byteAt(c.at)) >= 0 {
		e.node = &node{kind: null, from: e.colon, to: e.colon}
		return e
	}
	e.node = c.node(-1, true)
	return e
}

// add appends an entry, and marks what the block can't be edited for.
func (n *node) add(e entry) {
	if e.key == "<<" && n.why == "" {
		n.why = "keys are merged into it (<<)"
	}
	if slices.ContainsFunc(n.entries, func(o entry) bool { return o.key == e.key }) {
		n.why = "it has the key " + e.key + " twice"
	}
	n.entries = append(n.entries, e)
}

// dashes reads a list whose dashes stand in a column.
func (c *scanner) dashes(column int) *node {
	n := &node{kind: list, from: c.at}
	for !c.end() && c.column() == column && c.byteAt(c.at) == '-' && c.blankAt(c.at+1) {
		it := item{dash: c.at}
		c.at++
		it.node = c.after(column, false)
		n.items = append(n.items, it)
		n.to = it.to
		c.at = it.to
		c.space()
	}
	if !c.end() && c.column() > column {
		c.fail("this stands too deep")
	}
	return n
}

// lines reads a block whose keys stand in a column.
func (c *scanner) lines(column int) *node {
	n := &node{kind: block, from: c.at}
	for !c.end() && c.column() == column {
		if c.byteAt(c.at) == '?' || !c.key() {
			c.fail("a key is missing")
		}
		e := entry{at: c.at}
		e.key = c.word(false)
		c.at++
		e.colon = c.at
		e.node = c.after(column, true)
		n.add(e)
		n.to = e.to
		c.at = e.to
		c.space()
	}
	if !c.end() && c.column() > column {
		c.fail("this stands too deep")
	}
	return n
}

// after reads the value after a dash or a colon, in its line or below; column is that of the dash or the key. A list below a key
// may stand in the key's own column.
func (c *scanner) after(column int, key bool) *node {
	place := c.at
	c.gap()
	if !c.lineEnds() {
		if b := c.byteAt(c.at); key && b == '-' && c.blankAt(c.at+1) {
			c.fail("a list begins in its key's line")
		} else if key && b != '"' && b != '\'' && b != '{' && b != '[' && b != '&' && b != '!' && c.key() {
			c.fail("a key within a key's line")
		}
		return c.node(column, false)
	}
	c.space()
	if c.end() || c.column() < column || c.column() == column && !(key && c.byteAt(c.at) == '-' && c.blankAt(c.at+1)) {
		c.at = place
		return &node{kind: null, from: place, to: place}
	}
	if c.column() == column {
		return c.dashes(column)
	}
	return c.node(column, false)
}
