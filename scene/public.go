package scene

import (
	"encoding/json"
	"math"
	"strings"
)

// Key is one key of a scene file, as the tags of the description say. It is for reading.
type Key struct {
	Key      string   `json:"key"`                // its own name, not the path
	Kind     string   `json:"kind"`               // number, whole, choice, switch, colour, vector, pair, file, text, map, block or list
	Unit     string   `json:"unit,omitempty"`     // of numbers
	Doc      string   `json:"doc"`                // what it is
	Source   string   `json:"source,omitempty"`   // where the default comes from
	Default  any      `json:"default"`            // as JSON; nil where there is none
	Required bool     `json:"required,omitempty"` // a file must give it
	Optional bool     `json:"optional,omitempty"` // may be absent, which is not the same as any value
	Limits   *Limits  `json:"limits,omitempty"`   // of numbers, and of each number of a colour or vector
	Built    *Limits  `json:"built,omitempty"`    // the same for eyes that are built here
	Drag     *Span    `json:"drag,omitempty"`     // the range of a slider
	Words    []string `json:"words,omitempty"`    // of a choice
	Ends     []string `json:"ends,omitempty"`     // endings of file names
	Only     []string `json:"only,omitempty"`     // values of the block's selector with which it may be given
	Acts     []string `json:"acts,omitempty"`     // eyes on which it acts: built, borrowed; all where there are none
	Selector string   `json:"selector,omitempty"` // of a block or list: the key within that `only` refers to
	Keys     []*Key   `json:"keys,omitempty"`     // of a block, a map, or the entries of a list
}

// Limits is an interval as a scene file allows it. An end that is not there is nil.
type Limits struct {
	Low     *float64 `json:"low"`
	High    *float64 `json:"high"`
	LowOpen bool     `json:"low_open,omitempty"` // the end itself is not allowed
	HiOpen  bool     `json:"high_open,omitempty"`
	Text    string   `json:"text"` // as messages have it
}

// Span is a range to drag through. Log says that equal steps multiply.
type Span struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	Log  bool    `json:"log,omitempty"`
}

var kindNames = [...]string{
	boolean: "switch", whole: "whole", number: "number", text: "text", fileName: "file", vector: "vector", pair: "pair", wholePair: "pair",
	channels: "colour", surfaceMap: "map", group: "block", blocks: "list",
}

// Schema returns all keys of a scene file as a tree. Each call makes it anew.
func Schema() *Key {
	root := &Key{Kind: kindNames[group], Doc: "a scene"}
	root.fill(schema())
	return root
}

func (k *Key) fill(b *block) {
	if b.selector != nil {
		k.Selector = b.selector.key
	}
	for _, f := range b.fields {
		k.Keys = append(k.Keys, f.public())
	}
}

// public returns a field as a Key.
func (f *field) public() *Key {
	k := &Key{Key: f.key, Kind: kindNames[f.kind], Unit: f.unit, Doc: f.doc, Source: f.source, Required: f.required, Optional: f.pointer,
		Limits: f.limits.public(), Built: f.built.public(), Words: f.words, Ends: f.ends, Only: f.only, Acts: f.acts}
	if len(f.words) > 0 {
		k.Kind = "choice"
	}
	if f.preset != nil {
		k.Default = f.preset.plain(f.kind)
	}
	switch f.kind {
	case number, whole, channels, pair, wholePair, surfaceMap:
		k.Drag = f.drag()
	}
	if f.block != nil {
		k.fill(f.block)
	}
	return k
}

// plain returns a node as a JSON value.
func (n *node) plain(kind valueKind) any {
	switch n.kind {
	case listNode:
		list := make([]any, len(n.items))
		for i, item := range n.items {
			list[i] = item.plain(kind)
		}
		return list
	case scalarNode:
		if kind == boolean {
			return n.text == "true" || n.text == "on"
		}
		if kind != text && kind != fileName && decimal.MatchString(n.text) {
			var x float64
			if json.Unmarshal([]byte(strings.TrimPrefix(n.text, "+")), &x) == nil {
				return x
			}
		}
		return n.text
	case blockNode:
		out := map[string]any{}
		for _, e := range n.entries {
			out[e.key] = e.value.plain(kind)
		}
		return out
	}
	return nil
}

func (r interval) public() *Limits {
	if !r.set {
		return nil
	}
	l := &Limits{Text: r.String(), LowOpen: !r.lowIn, HiOpen: !r.highIn}
	if !math.IsInf(r.low, 0) {
		l.Low = &r.low
	}
	if !math.IsInf(r.high, 0) {
		l.High = &r.high
	}
	return l
}

// wide is how far apart limits may be, as a ratio to the default, for a slider to go through all of them.
const wide = 40

// drag returns the range of a slider: the limits where they are near enough to drag through, else a fourfold of the default either
// way in equal ratios, else what is usual about 0.
func (f *field) drag() *Span {
	def := math.NaN()
	if f.preset != nil {
		switch v := f.preset.plain(f.kind).(type) {
		case float64:
			def = v
		case []any:
			if x, ok := v[0].(float64); ok {
				def = x
			}
		}
	}
	if f.dragged.set {
		return &Span{Low: f.dragged.low, High: f.dragged.high}
	}
	r := f.limits
	if f.built.set {
		r = f.built
	}
	if r.set && r.low == r.high {
		return nil
	}
	finite := r.set && !math.IsInf(r.low, 0) && !math.IsInf(r.high, 0)
	if finite && (r.high-r.low <= 4 || math.Abs(def) > 0 && (r.high-r.low) <= wide*math.Abs(def) || f.unit == "degrees" && r.high-r.low <= 720) {
		return &Span{Low: r.low, High: r.high}
	}
	low, high, log := -1.0, 1.0, false
	switch {
	case f.unit == "EV":
		low, high = -6, 6
	case f.unit == "degrees":
		low, high = -180, 180
	case def > 0:
		low, high, log = def/4, def*4, true
	case def < 0:
		low, high = def*4, -def*4
	}
	if r.set {
		low, high = max(low, r.low), min(high, r.high)
	}
	if !(low < high) {
		low, high = r.low, r.low+1
	}
	return &Span{Low: low, High: high, Log: log && low > 0}
}
