package inspect

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/measure"
)

// Report is all that was found.
type Report struct {
	Name     string         `json:"name"`
	Worst    Severity       `json:"worst"`
	Counts   map[string]int `json:"counts"` // by severity
	Across   float64        `json:"shot_px"`
	PerMM    float64        `json:"px_per_mm"`
	MM       float64        `json:"mm_of_a_number"` // of the file, as the eye is meant
	Limits   string         `json:"limits"`         // file of thresholds; "" for the built-in ones
	Findings []Finding      `json:"findings"`
	Notes    []string       `json:"notes"` // of the readers

	Subject *Subject `json:"-"`
}

func newReport(s *Subject, r *Run) *Report {
	p := &Report{Name: s.Name, Across: r.Shot.Across, PerMM: r.PerMM, MM: s.perNumber(), Limits: r.Limits.File, Findings: r.findings, Notes: s.Notes, Subject: s,
		Counts: map[string]int{}}
	for _, w := range severityWords {
		p.Counts[w] = 0
	}
	for i := range p.Findings {
		f := &p.Findings[i]
		p.Counts[f.Severity.String()]++
		p.Worst = max(p.Worst, f.Severity)
	}
	slices.SortStableFunc(p.Findings, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(b.Severity, a.Severity), first(&a)-first(&b), -cmp.Compare(weight(&a), weight(&b)), cmp.Compare(slices.Index(Groups, a.Group), slices.Index(Groups, b.Group)))
	})
	if s.Size.Verdict == measure.Mistaken { // the finding answers what the reader asks
		p.Notes = slices.DeleteFunc(slices.Clone(p.Notes), func(n string) bool { return strings.HasSuffix(n, "stored as metres?") })
	}
	if p.Findings == nil {
		p.Findings = []Finding{}
	}
	if p.Notes == nil {
		p.Notes = []string{}
	}
	return p
}

// first is 0 of causes, which are listed before what follows from them, and 1 of others.
func first(f *Finding) int {
	if f.Cause && f.Severity > Fine {
		return 0
	}
	return 1
}

// weight orders findings of one severity.
func weight(f *Finding) float64 {
	if f.Severity == Fine {
		return 0
	}
	return max(f.Shows.Px, f.Shows.Levels/4)
}

// Of returns the findings of a code.
func (p *Report) Of(code string) (list []Finding) {
	for _, f := range p.Findings {
		if f.Code == code {
			list = append(list, f)
		}
	}
	return list
}

// Verdict is the report in a line.
func (p *Report) Verdict() string {
	count := func(n int, what string) string {
		if n != 1 {
			what += "s"
		}
		return fmt.Sprintf("%d %s", n, what)
	}
	return fmt.Sprintf("%s, %s, %s; %d measured and fine", count(p.Counts["error"], "error"), count(p.Counts["warning"], "warning"), count(p.Counts["note"], "note"), p.Counts["fine"])
}

// WriteText writes the report for a terminal: a block a finding, the worst first; with all, what is fine too, a line each.
func (p *Report) WriteText(w io.Writer, all bool) error {
	var s strings.Builder
	fmt.Fprintf(&s, "%s: %s (globe %.4g px across)\n%s\n", p.Name, p.Verdict(), p.Across, p.Lengths())
	line := func(head, text string) {
		if text != "" {
			fmt.Fprintf(&s, "         %-6s %s\n", head, text)
		}
	}
	for i := range p.Findings {
		f := &p.Findings[i]
		if f.Severity == Fine {
			continue
		}
		fmt.Fprintf(&s, "%-8s %s: %s%s\n", f.Severity, f.Code, f.Title, on(f.Part))
		line("number", f.numberText())
		line("where", f.WhereText())
		line("shows", f.ShowsText())
		line("rated", f.Bound)
		line("mend", f.Remedy.Text())
	}
	if all {
		for i := range p.Findings {
			if f := &p.Findings[i]; f.Severity == Fine {
				fmt.Fprintf(&s, "%-8s %s%s: %s\n", f.Severity, f.Code, on(f.Part), f.numberText())
			}
		}
	}
	_, err := io.WriteString(w, s.String())
	return err
}

// Lengths says what lengths and places are in.
func (p *Report) Lengths() string {
	return fmt.Sprintf("Lengths and places are in mm of the eye as it is meant, %s mm to 1 of the file's numbers, in the file's axes", plain(p.MM, 6))
}

func on(part string) string {
	if part == "" {
		return ""
	}
	return " (" + part + ")"
}

// numberText is the number with its range and the range's source.
func (f *Finding) numberText() string {
	s := f.Number.String()
	if f.Number.What != "" {
		s += ", " + f.Number.What
	}
	if f.Range != nil {
		s += fmt.Sprintf("; normally %s (%s)", f.Range, f.Range.Source)
	}
	return s
}

// NumberText is the number with its range and the range's source, for a page.
func (f *Finding) NumberText() string { return f.numberText() }

// WhereText is the worst places in a line.
func (f *Finding) WhereText() string {
	var list []string
	for i := range f.Where {
		if i == 3 {
			break
		}
		list = append(list, f.Where[i].String())
	}
	s := strings.Join(list, "; ")
	if more := f.Count - len(list); more > 0 && len(list) > 0 {
		s += fmt.Sprintf("; and %d more", more)
	}
	return s
}

// Vec is the place in mm; the origin where it is not known.
func (p Place) Vec() geom.Vec {
	if p.MM == nil {
		return geom.Vec{}
	}
	return vecOf(p.MM)
}

// String is the place in words.
func (p Place) String() string {
	var list []string
	if p.Text != "" {
		list = append(list, p.Text)
	}
	if p.MM != nil {
		list = append(list, fmt.Sprintf("at (%.2f, %.2f, %.2f) mm", p.MM[0], p.MM[1], p.MM[2]))
	}
	if p.UV != nil {
		list = append(list, fmt.Sprintf("UV (%.3f, %.3f)", p.UV[0], p.UV[1]))
	}
	if len(list) == 0 {
		return p.Part
	}
	return strings.Join(list, ", ")
}

// plain is a number without an exponent where that would be short, to at least so many digits.
func plain(x float64, digits int) string {
	switch a := math.Abs(x); {
	case a >= 1e15:
		return fmt.Sprintf("%.3g", x)
	case a >= 1000:
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.*g", max(3, digits), x)
}

// ShowsText is what shows, with its numbers.
func (f *Finding) ShowsText() string {
	var list []string
	if f.Shows.Px > 0 {
		list = append(list, plain(f.Shows.Px, 2)+" px")
	}
	if f.Shows.Levels > 0 {
		list = append(list, fmt.Sprintf("%.3g of 255 levels", f.Shows.Levels))
	}
	s := strings.Join(list, ", ")
	switch {
	case s == "":
		return f.Shows.Text
	case f.Shows.Text == "":
		return s
	}
	return s + ": " + f.Shows.Text
}

// Text is the remedy in a line.
func (r Remedy) Text() string {
	var list []string
	if r.Step != "" {
		list = append(list, r.Step)
	}
	if r.Factor != 0 {
		list = append(list, fmt.Sprintf("factor %.6g", r.Factor))
	}
	if r.Key != "" {
		list = append(list, "set "+r.Key)
	}
	if r.Mends {
		list = append(list, "--mend does it")
	}
	return strings.Join(list, "; ")
}
