package scene

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
)

// valueKind is what a key's value looks like in the file.
type valueKind uint8

const (
	boolean    valueKind = iota
	whole                // int
	number               // float64
	text                 // string
	fileName             // Path
	vector               // geom.Vec: a list of 3 numbers
	pair                 // [2]float64
	wholePair            // [2]int
	channels             // colour.RGB: a number or a list of 3
	surfaceMap           // MapSpec: a number, a list of 3 or a block
	group                // a struct: a block of keys
	blocks               // a slice of structs: a list of blocks
)

// wants names the kinds in messages and in the reference.
var wants = [...]string{
	boolean: "true or false", whole: "a whole number", number: "a number", text: "text", fileName: "a file name",
	vector: "a list of 3 numbers", pair: "a list of 2 numbers", wholePair: "a list of 2 whole numbers",
	channels: "a number or a list of 3 numbers", surfaceMap: "a number, a list of 3 numbers or a block of keys",
	group: "a block of keys", blocks: "a list of blocks",
}

// field is one key of a block, as the tags in description.go say.
type field struct {
	index    int // of the struct's field
	within   int // 1 + the index of the inline struct in the block's that holds the field; 0: the block's own
	key      string
	kind     valueKind
	pointer  bool // the field is a pointer: nil where the key is absent
	unit     string
	doc      string
	source   string // where the default comes from
	def      string // the default as written in the tag, "" for none
	preset   *node  // the default, parsed
	required bool
	limits   interval
	built    interval             // for built eyes, where it is narrower
	dragged  interval             // the range of a slider, where it can't be told from the limits and the default
	words    []string             // oneof
	only     []string             // values of the block's selector
	acts     []string             // eyes on which it acts: built, borrowed; nil is all
	ends     []string             // endings of file names
	block    *block               // of group, blocks   and surfaceMap
	fresh    func() reflect.Value // of blocks: the list that an absent key gives, where it is not empty
}

// in returns the field's value in a block's struct; an inline struct that is not there yet is made.
func (f *field) in(v reflect.Value) reflect.Value {
	if f.within > 0 {
		p := v.Field(f.within - 1)
		if p.IsNil() {
			p.Set(reflect.New(p.Type().Elem()))
		}
		v = p.Elem()
	}
	return v.Field(f.index)
}

// block is a struct of the description.
type block struct {
	typ      reflect.Type
	fields   []*field
	selector *field // the key `kind` or `shape`, which `only` tags refer to
}

// field returns the field with the given key, or nil.
func (b *block) field(key string) *field {
	for _, f := range b.fields {
		if f.key == key {
			return f
		}
	}
	return nil
}

// keys returns all keys in order.
func (b *block) keys() []string {
	keys := make([]string, len(b.fields))
	for i, f := range b.fields {
		keys[i] = f.key
	}
	return keys
}

// interval is an allowed range; the zero value allows every finite number.
type interval struct {
	set            bool
	low, high      float64
	lowIn, highIn  bool
	lowText, upper string // as written in the tag
}

// has reports whether x lies in the interval. NaN and infinities never do.
func (r interval) has(x float64) bool {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return false
	}
	return !r.set || (x > r.low || r.lowIn && x == r.low) && (x < r.high || r.highIn && x == r.high)
}

// String returns the interval for messages: "[0, 1)".
func (r interval) String() string {
	if !r.set {
		return ""
	}
	s := "(" + r.lowText + ", " + r.upper
	if r.lowIn {
		s = "[" + s[1:]
	}
	if r.highIn {
		return s + "]"
	}
	return s + ")"
}

// parseInterval reads a range tag; "" is every finite number.
func parseInterval(tag string) (interval, error) {
	r := interval{set: true}
	if tag == "" {
		return interval{}, nil
	}
	low, high, ok := strings.Cut(tag, ",")
	if !ok || len(low) < 2 || len(high) < 2 || !strings.ContainsRune("[(", rune(low[0])) || !strings.ContainsRune("])", rune(high[len(high)-1])) {
		return r, fmt.Errorf("range %q is not an interval", tag)
	}
	r.lowIn, r.highIn = low[0] == '[', high[len(high)-1] == ']'
	r.lowText, r.upper = strings.TrimSpace(low[1:]), strings.TrimSpace(high[:len(high)-1])
	var err1, err2 error
	r.low, err1 = strconv.ParseFloat(r.lowText, 64)
	r.high, err2 = strconv.ParseFloat(r.upper, 64)
	if err1 != nil || err2 != nil || !(r.low <= r.high) {
		return r, fmt.Errorf("range %q is not an interval", tag)
	}
	return r, nil
}

// schema returns the block of the whole description. A mistake in the tags is a programmer's and panics; the tests
// build it.
var schema = sync.OnceValue(func() *block {
	b, err := newBlock(reflect.TypeFor[Description](), map[reflect.Type]*block{})
	if err != nil {
		panic("scene: " + err.Error())
	}
	return b
})

// newBlock reads the tags of a struct type and of all that it holds.
func newBlock(t reflect.Type, known map[reflect.Type]*block) (*block, error) {
	if b := known[t]; b != nil {
		return b, nil
	}
	b := &block{typ: t}
	known[t] = b
	for i := range t.NumField() {
		if _, inline := t.Field(i).Tag.Lookup("inline"); inline {
			inner, err := newBlock(t.Field(i).Type.Elem(), known)
			if err != nil {
				return nil, err
			}
			for _, f := range inner.fields {
				g := *f
				g.within, g.only = i+1, words(t.Field(i).Tag.Get("only"))
				b.fields = append(b.fields, &g)
			}
			continue
		}
		key, ok := t.Field(i).Tag.Lookup("key")
		if !ok {
			continue
		}
		f, err := newField(t.Field(i), known)
		if err != nil {
			return nil, fmt.Errorf("%s.%s: %w", t.Name(), t.Field(i).Name, err)
		}
		f.index = i
		b.fields = append(b.fields, f)
		if key == "kind" || key == "shape" {
			b.selector = f
		}
	}
	for _, f := range b.fields {
		for _, w := range f.only {
			if b.selector == nil || !slices.Contains(b.selector.words, w) {
				return nil, fmt.Errorf("%s: only:%q of %s is no kind or shape", t.Name(), w, f.key)
			}
		}
	}
	return b, nil
}

// newField reads one field's tags.
func newField(s reflect.StructField, known map[reflect.Type]*block) (*field, error) {
	tag := s.Tag.Get
	f := &field{key: tag("key"), unit: tag("unit"), doc: tag("doc"), def: tag("default"), source: tag("source")}
	f.words, f.only, f.ends, f.acts = words(tag("oneof")), words(tag("only")), words(tag("ends")), words(tag("acts"))
	var err error
	if f.limits, err = parseInterval(tag("range")); err != nil {
		return nil, err
	}
	if f.built, err = parseInterval(tag("built")); err != nil {
		return nil, err
	}
	if f.dragged, err = parseInterval(tag("drag")); err != nil {
		return nil, err
	}
	t := s.Type
	if t.Kind() == reflect.Pointer {
		f.pointer, t = true, t.Elem()
	}
	switch {
	case t == reflect.TypeFor[geom.Vec]():
		f.kind = vector
	case t == reflect.TypeFor[colour.RGB]():
		f.kind = channels
	case t == reflect.TypeFor[[2]float64]():
		f.kind = pair
	case t == reflect.TypeFor[[2]int]():
		f.kind = wholePair
	case t == reflect.TypeFor[Path]():
		f.kind = fileName
	case t == reflect.TypeFor[MapSpec]():
		f.kind = surfaceMap
		f.block, err = newBlock(t, known)
	case t.Kind() == reflect.Bool:
		f.kind = boolean
	case t.Kind() == reflect.Int:
		f.kind = whole
	case t.Kind() == reflect.Float64:
		f.kind = number
	case t.Kind() == reflect.String:
		f.kind = text
	case t.Kind() == reflect.Struct:
		f.kind = group
		f.block, err = newBlock(t, known)
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct:
		f.kind = blocks
		f.block, err = newBlock(t.Elem(), known)
		if t.Elem() == reflect.TypeFor[eye.Layer]() {
			f.fresh = func() reflect.Value { return reflect.ValueOf(eye.DefaultPaint()) }
		}
	default:
		return nil, fmt.Errorf("type %s has no form in a scene file", t)
	}
	if err != nil {
		return nil, err
	}
	if f.kind == fileName && len(f.ends) == 0 {
		return nil, fmt.Errorf("a file name without its endings")
	}
	switch {
	case f.def == "required":
		f.required, f.def = true, ""
	case f.def != "":
		n, problems := parseTree([]byte(f.def), place{file: "default of " + f.key}, true)
		if len(problems) > 0 {
			return nil, problems
		}
		f.preset = n
	}
	return f, nil
}

// words splits a tag at its bars.
func words(tag string) []string {
	if tag == "" {
		return nil
	}
	return strings.Split(tag, "|")
}
