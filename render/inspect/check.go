package inspect

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// Code is a kind of finding.
type Code struct {
	ID    string // group and name: "mesh.open"
	Title string // what it is, in a few words
	Means string // what it means to an artist, in a sentence
}

// Check is one look at a subject.
type Check struct {
	Group Group
	Name  string // what it does, for the progress: "measuring the gap between the shells"
	Codes []Code // what it may find
	// Run adds its findings to r. An error ends the whole inspection; what a file lacks is a finding, or nothing.
	Run func(r *Run) error
}

// Checks is the registry, in the order in which they run.
var Checks = slices.Concat(scaleChecks, layerChecks, meshChecks, coordinateChecks, mapChecks, pairChecks, highLowChecks)

// CodeOf returns what a code means.
func CodeOf(id string) (c Code, ok bool) {
	for i := range Checks {
		for _, c := range Checks[i].Codes {
			if c.ID == id {
				return c, true
			}
		}
	}
	return
}

// Progress hears how work goes on.
type Progress interface {
	Phase(name string)
	Advance(done, total int64)
}

// Shot says how large the eye is shown.
type Shot struct {
	Across float64   // px that the globe is wide
	Others []float64 // further sizes that outlines are judged at
}

// Run is what a check works with.
type Run struct {
	Ctx      context.Context
	Subject  *Subject
	Limits   *Limits
	Shot     Shot
	Workers  int
	Progress Progress // nil: nobody listens

	PerMM float64 // px of a mm at the shot's size
	Cage  float64 // of a bake, as told; mm, 0: none

	check    *Check
	findings []Finding
	stands   map[*Part][]standing // what stands off its neighbours: spikes
	shifted  bool                 // the inner shell lies aside as a whole: layers.shift says so, and others point to it
}

// Px turns mm into px at the shot's size.
func (r *Run) Px(mm float64) float64 { return mm * r.PerMM }

// Limit returns a threshold.
func (r *Run) Limit(key string) float64 { return r.Limits.Get(key) }

// Advance tells how far the check is.
func (r *Run) Advance(done, total int) {
	if r.Progress != nil {
		r.Progress.Advance(int64(done), int64(total))
	}
}

// Add takes a finding and rates it: Good is Fine; all else goes by what shows, within the finding's own bounds. A code that
// the check did not register is a programmer's mistake and panics.
func (r *Run) Add(f Finding) {
	if !slices.ContainsFunc(r.check.Codes, func(c Code) bool { return c.ID == f.Code }) {
		panic("inspect: " + r.check.Name + " has no code " + f.Code)
	}
	f.Group = r.check.Group
	if f.Title == "" {
		f.Title = r.title(f.Code)
	}
	f.Severity, f.Bound = r.rate(&f)
	n := &f.Number
	if !finite(n.V) || !finite(n.SE) {
		if n.Held {
			n.Held, n.Why = false, "its number is not finite"
		}
		n.V, n.SE = 0, 0
	}
	if !finite(f.Shows.Px) || !finite(f.Shows.Levels) {
		f.Shows.Px, f.Shows.Levels = 0, 0
	}
	f.Count = max(f.Count, len(f.Where))
	f.Where = f.Where[:min(len(f.Where), MaxPlaces)]
	if f.Where == nil {
		f.Where = []Place{}
	}
	r.findings = append(r.findings, f)
}

// title is what a code of the check is called.
func (r *Run) title(code string) string {
	for _, c := range r.check.Codes {
		if c.ID == code {
			return c.Title
		}
	}
	return code
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// rate gives the severity by what shows, and says where a bound of the finding's own makes it another.
func (r *Run) rate(f *Finding) (s Severity, bound string) {
	if f.Good {
		return Fine, ""
	}
	by := Note
	switch {
	case f.Shows.Px >= r.Limit("shows.error_px") || f.Shows.Levels >= r.Limit("shows.error_levels"):
		by = Error
	case f.Shows.Px >= r.Limit("shows.warning_px") || f.Shows.Levels >= r.Limit("shows.warning_levels"):
		by = Warning
	}
	s = by
	if f.Most > 0 {
		s = min(s, f.Most)
	}
	s = max(s, f.Least)
	why := f.Because
	if why == "" {
		why = because[f.Code]
	}
	if why != "" {
		why = ": " + why
	}
	switch {
	case s < by:
		bound = fmt.Sprintf("%s at most, where px and levels would make it %s%s", s, a(by), why)
	case s > by:
		bound = fmt.Sprintf("%s at least, whatever shows%s", s, why)
	}
	return s, bound
}

// a is a severity with its article.
func a(s Severity) string {
	if s == Error {
		return "an error"
	}
	return "a " + s.String()
}

// has reports whether a subject has what a check looks at: its name is told as progress then.
func (c *Check) has(s *Subject) bool {
	switch c.Group {
	case Maps:
		return len(s.Maps) > 0
	case Pairs:
		return s.Mate != nil
	}
	return true
}

// Options say how to look.
type Options struct {
	Limits   *Limits // nil: the built-in ones
	Shot     Shot    // Across 0: 1024 px
	Workers  int
	Progress Progress
	Groups   []Group // to look at; nil: all
	Cage     float64 // mm, of a bake of a high mesh onto a low one; 0: the one that is found alone
}

// Look runs all checks over a subject.
func Look(ctx context.Context, s *Subject, o Options) (*Report, error) {
	if o.Limits == nil {
		o.Limits = Builtin()
	}
	if o.Shot.Others == nil {
		o.Shot.Others = []float64{256, 512, 1024, 2048}
	}
	if o.Shot.Across <= 0 {
		o.Shot.Across = 1024
	}
	r := &Run{Ctx: ctx, Subject: s, Limits: o.Limits, Shot: o.Shot, Workers: max(1, o.Workers), Progress: o.Progress, Cage: o.Cage}
	r.PerMM = o.Shot.Across / (2 * s.Radius())
	for i := range Checks {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		r.check = &Checks[i]
		if r.check.Group == HighLow && s.Part(High) == nil {
			continue
		}
		if o.Groups != nil && !slices.Contains(o.Groups, r.check.Group) {
			continue
		}
		if o.Progress != nil && r.check.has(s) {
			o.Progress.Phase(r.check.Name)
		}
		if err := r.check.Run(r); err != nil {
			return nil, fmt.Errorf("%s: %w", r.check.Name, err)
		}
	}
	return newReport(s, r), ctx.Err()
}
