package truescale

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/material/tissue"
	"catchlight/render/spread"
	"catchlight/scene"
	"catchlight/scene/measure"
)

// Reduced coefficients of sclera at 620, 550 and 450 nm, 1/mm: the geometric mean of the fibrous tissue of Jacques, Phys. Med.
// Biol. 58 (2013), R37, and of Vogel et al., Lasers Surg. Med. 11 (1991), 331; both from memory, known to a factor of two.
var scleraS, scleraA = [3]float64{4.0, 4.85, 6.7}, [3]float64{0.031, 0.052, 0.12}

// Known is the factor to which published coefficients of sclera are known, either way.
const Known = 2.0

// Published returns the radii, in mm, that hold half of what comes back out of deep sclera, by channel.
func Published() (r [3]float64) {
	for c := range r {
		t := scleraS[c] + scleraA[c]
		r[c] = tissue.ExitRadius50(scleraS[c]/t) / t
	}
	return r
}

// Verdict is what is said of an eye's unit.
type Verdict struct {
	Word   string  `json:"word"`              // unit right, wrong unit, unit undecided, or parts do not fit
	Factor float64 `json:"factor"`            // that mends the eye's lengths; 0 where that is undecided
	Size   string  `json:"size"`              // what the eye's own measures say
	Human  string  `json:"human"`             // its width beside a grown human's; "" where it can't be measured
	Times  float64 `json:"times_grown_human"` // that width; 0 where it can't be measured
	Iris   float64 `json:"iris_share"`        // the visible iris' width over the globe's; 0 where one can't be measured
	Tissue string  `json:"tissue"`            // what its tissue says
	Spread float64 `json:"tissue_times_published"`
	Do     []Mend  `json:"do"`
}

// Mend is what to do about a verdict.
type Mend struct {
	When string `json:"when"` // it is right to do so; "" for always
	Set  string `json:"set"`  // what to type
}

// Head begins its line on a page or a terminal.
func (m Mend) Head() string {
	if m.When == "" {
		return "To mend it"
	}
	return sentence(m.When)
}

// Line says it for a page or a terminal.
func (m Mend) Line() string { return m.Head() + ": " + m.Set }

// softer says how far light spreads beside what is published.
func softer(q float64) string {
	if q > 1 {
		return fmt.Sprintf("%.3g times as far as", q)
	}
	return fmt.Sprintf("1/%.3g as far as", 1/q)
}

// Judge weighs what an eye's length and proportions say, and the radii measured on its white. Length and tissue are two
// questions: a unit is called wrong for the length's sake alone, and tissue that spreads light otherwise than published may be
// meant so.
func Judge(size measure.Size, white *spread.Radii, b *scene.Object) Verdict {
	v := Verdict{Word: size.Verdict, Factor: size.Factor, Size: size.Why, Human: size.Human(), Times: size.Across / measure.GrownAcross, Iris: size.Iris, Do: append([]Mend{}, mends(&size, b)...)}
	known := Published()
	v.Spread = 1
	for c := range known {
		v.Spread *= math.Cbrt(white.Half[c].V / known[c])
	}
	q := v.Spread
	like := func(x float64) bool { return x > 1/Known && x < Known }
	v.Tissue = fmt.Sprintf("half of the light that comes back out of the white does so within %.3f, %.3f, %.3f mm (red, green, blue); by published coefficients of sclera within %.2f, %.2f, %.2f, known to a factor of two",
		white.Half[0].V, white.Half[1].V, white.Half[2].V, known[0], known[1], known[2])
	if defaults(b) {
		v.Tissue += "; these are the program's own radii in mm, which no unit of a file changes: they neither support the verdict nor speak against it"
	}
	tissue := func(times float64, when string) {
		for _, s := range typed(b, times) {
			v.Do = append(v.Do, Mend{when, s})
		}
	}
	switch {
	case v.Word == measure.Mistaken && !like(q) && like(q*v.Factor):
		v.Tissue += "; both are off alike: the whole scene is in another unit, the picture looks right and its millimetres are not"
		tissue(v.Factor, "")
	case like(q):
	case q > 1/(Known*Known) && q < Known*Known:
		v.Tissue += fmt.Sprintf("; light spreads %s published: more than is uncertain, less than a mistake of units, so perhaps meant", softer(q))
	default:
		v.Tissue += fmt.Sprintf("; light spreads %s published: stylised, or the radii are in another unit", softer(q))
		if v.Word == measure.Right {
			v.Word, v.Factor = measure.Undecided, 0
			v.Size += "; the length is right, but the tissue is not, see there"
		}
		for _, f := range []float64{10, 0.1, 100, 0.01, 25.4, 1 / 25.4, 1000, 1e-3} {
			if like(q * f) {
				tissue(f, fmt.Sprintf("if the tissue's radii are %.3g times too %s", max(f, 1/f), map[bool]string{true: "small", false: "large"}[f > 1]))
			}
		}
	}
	if size.Stylised != "" && size.Verdict != measure.Misfit {
		v.Size += "; stylised: " + size.Stylised
	}
	return v
}

// mends are what to do about the eye's size, the most usual reading first.
func mends(s *measure.Size, b *scene.Object) (out []Mend) {
	e := b.Eye
	larger := func(times float64) string {
		if e.Asset != nil {
			return fmt.Sprintf("--set objects.%s.asset.factor=%.6g", b.Name, e.Asset.Factor*times)
		}
		return fmt.Sprintf("--set objects.%s.transform.scale=%.6g", b.Name, b.Transform.Scale*times)
	}
	switch s.Verdict {
	case measure.Mistaken:
		return []Mend{{"", larger(s.Factor)}}
	case measure.Misfit:
		if e.Asset != nil {
			return nil // its parts are the file's
		}
		if r := e.Limbus.Radius / measure.IrisShare; r >= 5 && r <= 30 { // what a built globe may have
			out = append(out, Mend{"if the iris is right, a globe as wide as a grown human has for it", fmt.Sprintf("--set objects.%s.globe.radius=%.4g", b.Name, r)})
		}
		if r := e.Globe.Radius * measure.IrisShare; r >= 2.5 && r <= 14 { // what a built limbus may have
			out = append(out, Mend{"if the globe is right, an iris as wide as a grown human has for it", fmt.Sprintf("--set objects.%s.limbus.radius=%.4g", b.Name, r)})
		}
		return out
	}
	for _, r := range s.Readings {
		if r.Factor != 1 {
			out = append(out, Mend{"if it is " + r.What, larger(r.Factor)})
		}
	}
	if s.Verdict == measure.Right {
		out = nil
	}
	if !s.HumanSize() {
		out = append(out, Mend{"if a grown human's eye is meant", larger(measure.GrownAcross / s.Across)})
	}
	return out
}

// typed is what to type so that light spreads times as far in the white.
func typed(b *scene.Object, times float64) []string {
	sets, _ := scatterSets(b, times)
	sets = slices.DeleteFunc(sets, func(s string) bool { return !strings.Contains(s, ".sclera.") })
	for i := range sets {
		sets[i] = "--set " + shorter(sets[i])
	}
	slices.Sort(sets)
	return sets
}

// shorter writes an override's numbers with three digits and without blanks, so that a shell takes it as one word.
func shorter(set string) string {
	key, list, _ := strings.Cut(set, "=")
	var v [3]float64
	if _, err := fmt.Sscanf(list, "[%g, %g, %g]", &v[0], &v[1], &v[2]); err != nil {
		return set
	}
	return fmt.Sprintf("%s=[%.3g,%.3g,%.3g]", key, v[0], v[1], v[2])
}

// defaults reports whether the white's scatter radii are those that stand where a scene gives none.
func defaults(b *scene.Object) bool {
	d := scene.Default()
	for i := range d.Objects {
		if e := d.Objects[i].Eye; e != nil {
			return b.Eye.Sclera.SigmaS == nil && e.Sclera.ScatterRadius == b.Eye.Sclera.ScatterRadius
		}
	}
	return false
}
