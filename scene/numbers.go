package scene

import (
	"fmt"
	"math"
	"strconv"
)

// MaxText is the most bytes that a scene file, or another file of keys, may have.
const MaxText = maxFileBytes

// KeyNumber is a key of a file of numbers.
type KeyNumber struct {
	Key string // its whole path, with dots
	V   float64
	at  place
}

// Problem says that something is wrong with the number, and where it is written.
func (n *KeyNumber) Problem(format string, a ...any) Problem {
	return Problem{File: n.at.file, Line: n.at.line, Column: n.at.column, Key: n.Key, Message: fmt.Sprintf(format, a...)}
}

// Numbers reads a file of keys in blocks, each of whose values is a finite number, in the order of the file. What is none, or
// given twice, is among the problems.
func Numbers(name string, data []byte) (list []KeyNumber, problems Problems) {
	tree, problems := parseTree(data, place{file: name}, false)
	if tree == nil {
		return nil, problems
	}
	seen := map[string]bool{}
	var walk func(path string, n *node)
	walk = func(path string, n *node) {
		bad := func(format string, a ...any) {
			problems = append(problems, Problem{File: name, Line: n.at.line, Column: n.at.column, Key: path, Message: fmt.Sprintf(format, a...)})
		}
		switch n.kind {
		case blockNode:
			for _, e := range n.entries {
				walk(join(path, e.key), e.value)
			}
		case scalarNode:
			v, err := strconv.ParseFloat(n.text, 64)
			switch {
			case n.quoted || err != nil || math.IsNaN(v) || math.IsInf(v, 0):
				bad("%s is no number", shorten(n.text))
			case seen[path]:
				bad("given twice")
			case path == "":
				bad("wants KEY: NUMBER")
			default:
				seen[path] = true
				list = append(list, KeyNumber{Key: path, V: v, at: n.at})
			}
		default:
			bad("wants a number")
		}
	}
	walk("", tree)
	return list, problems
}
