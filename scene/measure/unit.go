package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Reading is one way to read an eye's size: what its numbers would be in, or what went wrong with them.
type Reading struct {
	What   string
	Factor float64 // makes mm of the numbers
	Length float64 // axial length that it gives, mm
	Odds   float64 // probability among all readings, from the length alone and how usual the mistake is
}

// Axial lengths in mm. A unit is right if no other makes a likelier eye: its nearest rivals, inch and centimetre, lie a
// factor of 2.54 apart, so lengths within sqrt(2.54) of a grown person's 24 mm can be in no other.
var (
	UnitShort = 24 / math.Sqrt(2.54) // 15.06
	UnitLong  = 24 * math.Sqrt(2.54) // 38.25
)

// Grown people's eyes, mm: 21 to 27, source: Bekerman, Gottlieb and Vaiman, J. Ophthalmol. 2014:503645 (range of the
// transverse diameter; axial 22.0 to 24.8).
const GrownShort, GrownLong = 21.0, 27.0

// likely is the density of axial lengths of eyes that artists make, over the logarithm: three in four a grown person's,
// most others a child's (newborn 16.8, Gordon and Donzis, Arch. Ophthalmol. 103 (1985), 785), a creature's or stylised.
// The shares are our own choice.
func likely(mm float64) float64 {
	normal := func(x, sd float64) float64 { return math.Exp(-x*x/(2*sd*sd)) / sd }
	return 0.75*normal(math.Log(mm/24), 0.05) + 0.2*normal(math.Log(mm/22), 0.3) + 0.05*normal(math.Log(mm/22), 0.8)
}

// Words reads the length of an eye in a file without a unit. words and their mm are the units that it may be in.
func Words(length float64, words []string, mm []float64) []Reading {
	var out []Reading
	for i, w := range words {
		out = append(out, Reading{What: w, Factor: mm[i], Length: length * mm[i], Odds: likely(length * mm[i])})
	}
	return weigh(out)
}

// mistakes of units, with how usual each is beside the others: common practice, no published source.
var mistakes = []struct {
	what   string
	factor float64
	usual  float64
}{
	{"the unit is right", 1, 100},
	{"millimetres stored as metres", 1e-3, 3}, {"centimetres stored as metres", 1e-2, 3}, {"inches stored as metres", 0.0254, 1},
	{"ten times too large", 0.1, 1}, {"a hundred times too large", 0.01, 0.5}, {"ten times too small", 10, 2}, {"a hundred times too small", 100, 1},
	{"metres taken for millimetres", 1e3, 2}, {"inches taken for millimetres", 25.4, 1}, {"millimetres taken for inches", 1 / 25.4, 0.5},
	{"inches taken for centimetres", 2.54, 1}, {"centimetres taken for inches", 1 / 2.54, 1},
	{"scaled to a radius of 1 mm", 12, 0.5}, {"scaled to a radius of 1 m", 0.012, 0.5},
}

// Mistakes reads the length in mm of an eye whose format fixes the unit: which mistake would explain it, if any.
func Mistakes(mm float64) []Reading {
	var out []Reading
	for _, m := range mistakes {
		out = append(out, Reading{What: m.what, Factor: m.factor, Length: mm * m.factor, Odds: m.usual * likely(mm*m.factor)})
	}
	return weigh(out)
}

// weigh sorts readings by their odds, the likeliest first, and makes the odds sum to 1.
func weigh(list []Reading) []Reading {
	sum := 0.0
	for _, r := range list {
		sum += r.Odds
	}
	for i := range list {
		if list[i].Odds /= sum; !(sum > 0) {
			list[i].Odds = 1 / float64(len(list))
		}
	}
	slices.SortStableFunc(list, func(a, b Reading) int { return cmp.Compare(b.Odds, a.Odds) })
	return list
}

// String is the reading with its odds.
func (r Reading) String() string {
	return fmt.Sprintf("%s, %s mm long (%s %%)", r.What, short(r.Length), short(100*r.Odds))
}

// Shape says in a sentence how the eye's proportions, which need no unit, differ from a grown person's; "" where they
// do not. The cornea's radius is 0.325 of the axial length (7.8 of 24 mm), the limbus' 0.24 (5.85 of 24.4): schematic
// eyes, Le Grand and El Hage, Physiological Optics (1980), and Caroline and Andre, Contact Lens Spectrum, April 2002.
// A quarter either way is called different: own choice.
func (e *Eye) Shape() string {
	if !e.Length.Held {
		return ""
	}
	s := ""
	say := func(what, more, less string, v Value, share float64) {
		q := v.V / e.Length.V / share
		if !v.Held || q > 0.8 && q < 1.25 {
			return
		}
		word := more
		if q < 1 {
			word = less
		}
		if s != "" {
			s += ", and "
		}
		s += fmt.Sprintf("%s %s than a grown person's for the eye's length (%s of it; theirs %s)", what, word, short(v.V/e.Length.V), short(share))
	}
	say("the cornea is", "flatter", "rounder", e.Cornea.Radius, 0.325)
	say("the limbus is", "wider", "narrower", e.Limbus, 0.24)
	return s
}
