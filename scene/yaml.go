package scene

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Only this file uses the YAML package: text goes in, a plain tree with positions comes out.

// Limits of a scene file, so that no file can take more memory or time than its author could have meant.
const (
	maxFileBytes = 4 << 20 // bytes
	maxNesting   = 64      // blocks and lists within each other
	maxTokens    = 100_000 // words and marks; the parser's time can grow with the square of their number
	maxKeys      = 20_000  // keys, for the same reason (half a second when all are in one block, as measured)
	maxDocuments = 16      // document marks; a second document is refused, but the parser reads all before we know
	maxExpanded  = 100_000 // values that aliases may add
)

// place is where something was written.
type place struct {
	file         string
	line, column int
	order        int // as in Problem
}

// nodeKind tells the sorts of node apart.
type nodeKind uint8

const (
	scalarNode nodeKind = iota
	listNode
	blockNode
	nullNode
)

// node is a value of the scene file. Nodes don't change once made: an override copies what it touches.
type node struct {
	kind    nodeKind
	text    string  // scalarNode: the text, without quotes
	quoted  bool    // scalarNode: it was written in quotes or as a block of text
	items   []*node // listNode
	entries []entry // blockNode, in file order; a key given twice is there twice
	at      place
}

// entry is a key of a block with its value.
type entry struct {
	key   string
	at    place // of the key
	value *node
}

// get returns the value of a key, or nil; of a key given twice the first.
func (n *node) get(key string) *node {
	if n == nil {
		return nil
	}
	for i := range n.entries {
		if n.entries[i].key == key {
			return n.entries[i].value
		}
	}
	return nil
}

// keyPlace returns where a key is written, or where the block begins when the key is absent.
func (n *node) keyPlace(key string) place {
	for i := range n.entries {
		if n.entries[i].key == key {
			return n.entries[i].at
		}
	}
	return n.at
}

// parseTree reads one YAML document. at gives the file and order of all positions; with fixed, the text is an
// override's value and positions in it are not counted. An empty document gives an empty block.
func parseTree(data []byte, at place, fixed bool) (*node, Problems) {
	c := &converter{at: at, fixed: fixed, anchors: map[string]ast.Node{}}
	file := c.parse(data)
	if file == nil {
		return nil, c.problems
	}
	empty := &node{kind: blockNode, at: c.place(nil)}
	var body ast.Node
	for _, doc := range file.Docs {
		switch {
		case doc.Body == nil || doc.Body.Type() == ast.CommentType || doc.Body.Type() == ast.DirectiveType:
		case body != nil:
			c.add(doc.Body.GetToken(), "a second document begins here; a scene file holds one")
		default:
			body = doc.Body
		}
	}
	if body == nil {
		return empty, c.problems
	}
	n := c.node(body, 0)
	return n, c.problems
}

// converter turns the package's syntax tree into ours.
type converter struct {
	at       place
	fixed    bool
	problems Problems
	anchors  map[string]ast.Node // by name; nil while the anchor's own value is being read
	inAlias  int                 // depth of aliases being expanded
	expanded int                 // nodes made by aliases so far
	stopped  bool                // the cap was met, or the nesting: say so once
}

// parse runs the YAML package's lexer and parser over data within our limits.
func (c *converter) parse(data []byte) (file *ast.File) {
	if len(data) > maxFileBytes {
		c.add(nil, "is larger than %d MiB, the most that a scene file may have", maxFileBytes>>20)
		return nil
	}
	if !utf8.Valid(data) {
		line, column := 1, 1
		for rest := data; len(rest) > 0; {
			r, size := utf8.DecodeRune(rest)
			if r == utf8.RuneError && size == 1 {
				break
			}
			column++
			if r == '\n' {
				line, column = line+1, 1
			}
			rest = rest[size:]
		}
		at := c.at
		if !c.fixed {
			at.line, at.column = line, column
		}
		c.problems = append(c.problems, Problem{File: at.file, Line: at.line, Column: at.column, order: at.order,
			Message: "is not UTF-8 text from here on"})
		return nil
	}
	// The package has been seen to panic on broken input; that is an unreadable file, not a reason to end.
	defer func() {
		if recover() != nil {
			c.add(nil, "cannot be read as YAML")
			file = nil
		}
	}()
	text := strings.ReplaceAll(strings.TrimPrefix(string(data), "\ufeff"), "\r\n", "\n")
	tokens := lexer.Tokenize(text)
	if tk, why := tooMuch(tokens); tk != nil {
		c.add(tk, "%s", why)
		return nil
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		var at yaml.Error
		if errors.As(err, &at) {
			c.add(at.GetToken(), "not valid YAML: %s", shorten(strings.ReplaceAll(at.GetMessage(), "\t", `\t`)))
		} else {
			c.add(nil, "not valid YAML: %s", shorten(err.Error()))
		}
		return nil
	}
	return file
}

// tooMuch returns the token at which a limit is passed and says which, or nil. The parser calls itself for each level
// of nesting, so that has to be bounded before: open brackets, and within a line or between commas the marks that open
// a level (dash, question mark, colon, tag, anchor). Deep indentation is bounded by the square root of the file size.
func tooMuch(tokens token.Tokens) (*token.Token, string) {
	depth, run, line, keys, documents := 0, 0, -1, 0, 0
	for i, tk := range tokens {
		if depth <= 0 && tk.Position.Line != line && tk.Type != token.TagType && tk.Type != token.AnchorType {
			run = 0
		}
		line = tk.Position.Line
		switch tk.Type {
		case token.SequenceStartType, token.MappingStartType:
			depth++
			run = 0
		case token.SequenceEndType, token.MappingEndType:
			depth--
			run = 0
		case token.CollectEntryType:
			run = 0
		case token.MappingValueType:
			keys++
			run++
		case token.SequenceEntryType, token.MappingKeyType, token.TagType, token.AnchorType, token.AliasType:
			run++
		case token.DocumentHeaderType, token.DocumentEndType:
			documents++
		}
		switch {
		case depth > maxNesting || run > maxNesting:
			return tk, fmt.Sprintf("more than %d values within each other", maxNesting)
		case keys > maxKeys:
			return tk, fmt.Sprintf("more than %d keys", maxKeys)
		case i >= maxTokens:
			return tk, fmt.Sprintf("more than %d words and marks", maxTokens)
		case documents > maxDocuments:
			return tk, "a scene file holds one document"
		}
	}
	return nil, ""
}

// place returns the position of a token, or the file's beginning for nil.
func (c *converter) place(tk *token.Token) place {
	at := c.at
	if c.fixed {
		return at
	}
	at.line, at.column = 1, 1
	if tk != nil && tk.Position != nil {
		at.line, at.column = max(tk.Position.Line, 1), max(tk.Position.Column, 1)
	}
	return at
}

func (c *converter) add(tk *token.Token, format string, args ...any) {
	at := c.place(tk)
	c.problems = append(c.problems, Problem{File: at.file, Line: at.line, Column: at.column, order: at.order,
		Message: fmt.Sprintf(format, args...)})
}

// node converts one value. It always returns a node; what can't be converted is noted and becomes null.
func (c *converter) node(a ast.Node, depth int) *node {
	n := &node{kind: nullNode}
	if a == nil {
		n.at = c.place(nil)
		return n
	}
	n.at = c.place(a.GetToken())
	if depth > maxNesting {
		if !c.stopped {
			c.stopped = true
			c.add(a.GetToken(), "more than %d values within each other", maxNesting)
		}
		return n
	}
	if c.inAlias > 0 {
		c.expanded++
		if c.expanded > maxExpanded {
			if !c.stopped {
				c.stopped = true
				c.add(a.GetToken(), "aliases add more than %d values", maxExpanded)
			}
			return n
		}
	}
	switch v := a.(type) {
	case *ast.NullNode:
	case *ast.StringNode:
		n.kind, n.text = scalarNode, v.Value
		n.quoted = v.Token.Type == token.SingleQuoteType || v.Token.Type == token.DoubleQuoteType
	case *ast.LiteralNode:
		n.kind, n.text, n.quoted = scalarNode, v.Value.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		n.kind, n.text = scalarNode, a.GetToken().Value
	case *ast.SequenceNode:
		n.kind = listNode
		for _, item := range v.Values {
			n.items = append(n.items, c.node(item, depth+1))
		}
	case *ast.MappingNode:
		n.kind = blockNode
		c.entries(n, v.Values, depth)
	case *ast.MappingValueNode:
		n.kind = blockNode
		c.entries(n, []*ast.MappingValueNode{v}, depth)
	case *ast.AnchorNode:
		name := v.Name.GetToken().Value
		c.anchors[name] = nil
		n = c.node(v.Value, depth)
		c.anchors[name] = v.Value
	case *ast.AliasNode:
		name := v.Value.GetToken().Value
		target, known := c.anchors[name]
		switch {
		case !known:
			c.add(v.GetToken(), "no anchor &%s before this alias", shorten(name))
		case target == nil:
			c.add(v.GetToken(), "the alias *%s stands within its own anchor", shorten(name))
		default:
			c.anchors[name] = nil
			c.inAlias++
			n = c.node(target, depth)
			c.inAlias--
			c.anchors[name] = target
		}
	case *ast.TagNode:
		c.add(v.GetToken(), "tags such as %s are not supported", shorten(v.GetToken().Value))
	default:
		c.add(a.GetToken(), "a %s is not supported here", strings.ToLower(a.Type().String()))
	}
	return n
}

// entries converts the keys of a block; merged keys (<<) come last and give way to those written out.
func (c *converter) entries(n *node, values []*ast.MappingValueNode, depth int) {
	var merged []*node
	for _, v := range values {
		var key string
		switch k := v.Key.(type) {
		case *ast.MergeKeyNode:
			m := c.node(v.Value, depth+1)
			list := []*node{m}
			if m.kind == listNode {
				list = m.items
			}
			for _, m := range list {
				if m.kind == blockNode {
					merged = append(merged, m)
				} else {
					c.add(v.Key.GetToken(), "<< wants a block of keys, or a list of blocks")
				}
			}
			continue
		case *ast.StringNode:
			key = k.Value
		case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.NullNode, *ast.InfinityNode, *ast.NanNode:
			key = v.Key.GetToken().Value
		default:
			c.add(v.Key.GetToken(), "a key must be a plain word")
			continue
		}
		n.entries = append(n.entries, entry{key, c.place(v.Key.GetToken()), c.node(v.Value, depth+1)})
	}
	own := map[string]bool{}
	for i := range n.entries {
		own[n.entries[i].key] = true
	}
	for _, m := range merged {
		for _, e := range m.entries {
			if !own[e.key] {
				own[e.key] = true
				n.entries = append(n.entries, e)
			}
		}
	}
	if len(n.entries) > 0 {
		n.at = n.entries[0].at
	}
}
