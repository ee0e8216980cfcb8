package inspect

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
)

// Group is what a finding is about.
type Group string

// The groups, in the order in which a report lists them.
const (
	Scale       Group = "scale"
	Layers      Group = "layers"
	Mesh        Group = "mesh"
	Coordinates Group = "coordinates"
	Maps        Group = "maps"
	Pairs       Group = "pairs"
	HighLow     Group = "highlow"
)

// Groups lists them all.
var Groups = []Group{Scale, Layers, Mesh, Coordinates, Maps, Pairs, HighLow}

// Severity says how bad a finding is.
type Severity int

// The severities.
const (
	Fine    Severity = iota // measured, and within its range
	Note                    // outside its range or odd, but hardly seen at this size
	Warning                 // seen by who looks for it
	Error                   // seen by anyone, or the eye can't be rendered as it is meant
)

var severityWords = [...]string{"fine", "note", "warning", "error"}

// String is the word for it.
func (s Severity) String() string { return severityWords[s] }

// MarshalText implements encoding.TextMarshaler.
func (s Severity) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText implements encoding.TextUnmarshaler.
func (s *Severity) UnmarshalText(text []byte) error {
	for i, w := range severityWords {
		if w == string(text) {
			*s = Severity(i)
			return nil
		}
	}
	return fmt.Errorf("severity %q must be fine, note, warning or error", text)
}

// Number is the number of a finding.
type Number struct {
	V    float64 `json:"value"` // 0 where it is not held
	SE   float64 `json:"error"` // standard error, same unit; 0: counted, or not known
	Unit string  `json:"unit"`  // mm, px, degrees, levels, %; "" for a plain number
	What string  `json:"what"`  // what it measures, by which definition
	Held bool    `json:"held"`  // the file determines it
	Why  string  `json:"why"`   // where it is not held: the reason
}

// Held is a number that was counted or measured without an error to speak of.
func Held(v float64, unit, what string) Number {
	return Number{V: v, Unit: unit, What: what, Held: true}
}

// String is the number with its error and unit.
func (n Number) String() string {
	if !n.Held {
		return "not held: " + n.Why
	}
	v := n.V
	if math.Abs(v) < 1e-9 {
		v = 0
	}
	s := plain(v, 4)
	if n.SE > 1e-9 {
		s += fmt.Sprintf(" +- %.2g", n.SE)
	}
	if n.Unit != "" {
		s += " " + n.Unit
	}
	return s
}

// Range is where a number normally lies; nil bounds are open.
type Range struct {
	Low    *float64 `json:"low"`
	High   *float64 `json:"high"`
	Source string   `json:"source"` // a publication, or "common practice, no published source", or "own choice"
}

// Between is a range with both bounds, infinite ones open.
func Between(low, high float64, source string) *Range {
	r := &Range{Source: source}
	if !math.IsInf(low, 0) {
		r.Low = &low
	}
	if !math.IsInf(high, 0) {
		r.High = &high
	}
	return r
}

// AtMost is a range that is open below.
func AtMost(high float64, source string) *Range { return Between(math.Inf(-1), high, source) }

// AtLeast is a range that is open above.
func AtLeast(low float64, source string) *Range { return Between(low, math.Inf(1), source) }

// Holds reports whether v lies in the range.
func (r *Range) Holds(v float64) bool {
	return (r.Low == nil || v >= *r.Low) && (r.High == nil || v <= *r.High)
}

// String is the range in words.
func (r *Range) String() string {
	switch {
	case r.Low != nil && r.High != nil && *r.Low == *r.High:
		return fmt.Sprintf("%.4g", *r.Low)
	case r.Low != nil && r.High != nil:
		return fmt.Sprintf("%.4g to %.4g", *r.Low, *r.High)
	case r.Low != nil:
		return fmt.Sprintf("at least %.4g", *r.Low)
	case r.High != nil:
		return fmt.Sprintf("at most %.4g", *r.High)
	}
	return "any"
}

// Place is where a finding shows. What is nil is not known.
type Place struct {
	Part string      `json:"part"` // name of a mesh, or a file
	MM   *[3]float64 `json:"mm"`   // in the axes of the file, at the size that the eye is meant to have
	UV   *[2]float64 `json:"uv"`   // v down
	Size float64     `json:"size"` // about how far it reaches, mm; 0: a point
	Text string      `json:"text"` // in words: "front, 3.2 mm from the axis toward 11 o'clock"
}

// At is a place on a mesh.
func At(part string, p geom.Vec) Place { return Place{Part: part, MM: &[3]float64{p.X, p.Y, p.Z}} }

// AtUV is a place on a map.
func AtUV(part string, u geom.UV) Place { return Place{Part: part, UV: &[2]float64{u.U, u.V}} }

// Shows is what a finding does to the picture at the shot's size, at its worst.
type Shows struct {
	Px     float64 `json:"px"`     // how far something is off, or how wide a wrong place is
	Levels float64 `json:"levels"` // how far colours are off, of 255
	Text   string  `json:"text"`   // what one sees
}

// Remedy is what to do. One of Key, Factor and Step is there at least.
type Remedy struct {
	Key    string  `json:"key"`    // what to type or write into the scene: "objects.eye.asset.factor=0.001"
	Factor float64 `json:"factor"` // multiply by it; 0: none
	Step   string  `json:"step"`   // in words, as a step of work
	Mends  bool    `json:"mends"`  // --mend does it
}

// Finding is one thing that was found.
type Finding struct {
	Code     string   `json:"code"`
	Group    Group    `json:"group"`
	Severity Severity `json:"severity"`
	Title    string   `json:"title"` // in a few words, of this very finding
	Part     string   `json:"part"`  // which mesh or map; "" for the eye as a whole
	Number   Number   `json:"number"`
	Range    *Range   `json:"range"`
	Where    []Place  `json:"where"` // the worst first, at most MaxPlaces
	Count    int      `json:"count"` // how many places there are in all
	Shows    Shows    `json:"shows"`
	Remedy   Remedy   `json:"remedy"`

	Bound string `json:"bound"` // where the severity is not what shows would make it: why; "" elsewhere

	// Least and Most bound the severity whatever shows, and Because says why; see Run.Add. Zero: no bound.
	Least, Most Severity    `json:"-"`
	Because     string      `json:"-"`
	Cause       bool        `json:"-"` // others follow from it: it is listed before them
	Good        bool        `json:"-"` // measured, and within its range
	turn        geom.Affine // of a finding about the axis: what mends it
	Fields      []Field     `json:"-"` // maps over a surface or a picture, for the page
	Pictures    []Picture   `json:"-"` // for the page
}

// MaxPlaces is the most places that a finding lists.
const MaxPlaces = 8

// Field is a quantity over a mesh, one value a vertex of Part, for a picture on the page.
type Field struct {
	Part      string
	Title     string
	Unit      string
	Value     []float64 // NaN where there is none
	Low, High float64   // of the tones
}
