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

// Verdict is what is said of an eye's scale.
type Verdict struct {
	Word   string   `json:"word"`   // right, wrong unit, or undecided
	Factor float64  `json:"factor"` // that mends the eye's lengths; 0 where that is undecided
	Size   string   `json:"size"`   // what the eye's own measures say
	Tissue string   `json:"tissue"` // what its tissue says
	Times  float64  `json:"tissue_times_published"`
	Do     []string `json:"do"` // what to type, or to look at
}

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
	v := Verdict{Word: size.Verdict, Factor: size.Factor, Size: size.Why}
	known := Published()
	v.Times = 1
	for c := range known {
		v.Times *= math.Cbrt(white.Half[c].V / known[c])
	}
	q := v.Times
	like := func(x float64) bool { return x > 1/Known && x < Known }
	v.Tissue = fmt.Sprintf("half of what goes into the white comes back out within %.3f, %.3f, %.3f mm (red, green, blue); by published coefficients of sclera within %.2f, %.2f, %.2f, known to a factor of two",
		white.Half[0].V, white.Half[1].V, white.Half[2].V, known[0], known[1], known[2])
	if defaults(b) {
		v.Tissue += "; its radii are the program's defaults in mm, so they say nothing about the unit of the file"
	}
	mend := ""
	if v.Word == measure.Mistaken {
		if mend = fmt.Sprintf("objects.%s.transform.scale=%.6g", b.Name, b.Transform.Scale*v.Factor); b.Eye.Asset != nil {
			mend = fmt.Sprintf("objects.%s.asset.factor=%.6g", b.Name, b.Eye.Asset.Factor*v.Factor)
		}
		v.Do = append(v.Do, "--set "+mend)
	}
	switch {
	case v.Word == measure.Mistaken && !like(q) && like(q*v.Factor):
		v.Tissue += "; both are off alike: the whole scene is in another unit, the picture looks right and its millimetres are not"
		v.Do = append(v.Do, typed(b, v.Factor)...)
	case like(q):
	case q > 1/(Known*Known) && q < Known*Known:
		v.Tissue += fmt.Sprintf("; light spreads %s published: more than is uncertain, less than a mistake of units, so perhaps meant", softer(q))
	default:
		v.Tissue += fmt.Sprintf("; light spreads %s published: stylised, or the radii are in another unit", softer(q))
		if v.Word == measure.Right {
			v.Word = measure.Undecided
		}
		for _, f := range []float64{10, 0.1, 100, 0.01, 25.4, 1 / 25.4, 1000, 1e-3} {
			if like(q * f) {
				v.Do = append(v.Do, typed(b, f)...)
			}
		}
	}
	if size.Stylised != "" {
		v.Size += "; stylised: " + size.Stylised
	}
	return v
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
