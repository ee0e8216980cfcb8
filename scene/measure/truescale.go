package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Axial lengths, in mm, of eyes that are there to be modelled: from a newborn's 16.8 (Gordon and Donzis, Arch. Ophthalmol. 103
// (1985), 785) and those of small creatures to a horse's of about 44 (from memory). A stylised eye may be any size that reads
// in a face; the wider bounds are our own choice.
const (
	EyeShort, EyeLong           = 14.5, 46.0
	StylisedShort, StylisedLong = 10.0, 60.0
)

// GrownAcross is the width of a grown human's eye, mm: the mean of 250 adults, Bekerman, Gottlieb and Vaiman, J. Ophthalmol.
// 2014:503645.
const GrownAcross = 24.2

// The visible iris' width over the globe's. A grown human's is 11.8 of 24.2 mm (Caroline and Andre, Contact Lens Spectrum, April
// 2002; Bekerman et al. 2014). The bounds hold what eyes have: about 0.4 in large diurnal mammals, 0.9 in small nocturnal ones
// (from memory, no published table); how far outside they lie is our own choice.
const (
	IrisShare           = 11.8 / GrownAcross
	IrisLeast, IrisMost = 0.3, 0.95
)

// Unit verdicts: what is judged is the unit, not whether the eye is a human's.
const (
	Undecided = "unit undecided"
	Right     = "unit right"
	Mistaken  = "wrong unit"
	Misfit    = "parts do not fit" // iris and globe are no eye's at any unit
)

// Size says what an eye's length says about its unit.
type Size struct {
	Verdict  string    // Right, Mistaken, Undecided or Misfit
	Factor   float64   // that mends it; 1 where the unit is right, 0 where that is undecided
	Length   float64   // as it is, mm
	SE       float64   // its standard error, mm
	Across   float64   // twice the globe's radius, mm; 0 where that is not held
	Iris     float64   // the visible iris' width over the globe's, at any unit; 0 where one is not held
	Stylised string    // what its proportions say; "" where they are a grown person's
	Readings []Reading // that make an eye of a possible size of it, the likeliest first; Odds are among these alone
	Why      string    // in words
}

// Size weighs an eye whose numbers are k mm each. It is sure of a reading only where no other usual mistake makes a possible
// eye: odds alone, which rest on how usual eyes and mistakes are, decide nothing.
func (e *Eye) Size(k float64) Size {
	s := Size{Verdict: Undecided, Length: e.Length.V * k, SE: e.Length.SE * k, Stylised: e.Shape()}
	if e.Globe.Radius.Held {
		s.Across = 2 * e.Globe.Radius.V * k
		if e.Limbus.Held {
			s.Iris = e.Limbus.V / e.Globe.Radius.V
		}
	}
	if !e.Length.Held {
		s.Why = "its length can't be measured: " + e.Length.Why + "; judge its size by the rulers below its pictures"
		return s
	}
	s.weigh(e.Globe.Radius.V * k)
	// Units leave proportions as they are, so no mistake of units explains these.
	if s.Iris > 0 && (s.Iris < IrisLeast || s.Iris > IrisMost) {
		s.Verdict, s.Factor, s.Readings = Misfit, 0, nil
		s.Why = fmt.Sprintf("its visible iris is %s of the globe's width; eyes have %g to %g, a grown human %s, at any unit. One of the two is probably wrong, or the eye is stylised; its length of %s mm says nothing about the unit until they fit",
			short(s.Iris), IrisLeast, IrisMost, short(IrisShare), short(s.Length))
	}
	return s
}

// Human is the eye's width beside a grown human's, which the unit's verdict says nothing of; "" where it can't be measured.
func (s *Size) Human() string {
	if !(s.Across > 0) {
		return ""
	}
	t := fmt.Sprintf("its globe is %s mm across, %s times a grown human's %g mm", short(s.Across), short(s.Across/GrownAcross), GrownAcross)
	switch {
	case s.Across > GrownLong:
		t += fmt.Sprintf("; none of 250 adults has more than %g mm", GrownLong)
	case s.Across < GrownShort:
		t += fmt.Sprintf("; none of 250 adults has less than %g mm", GrownShort)
	}
	return t + " (Bekerman et al. 2014)"
}

// HumanSize reports whether the globe is as wide as some grown human's, or can't be measured.
func (s *Size) HumanSize() bool {
	return !(s.Across > 0) || s.Across >= GrownShort && s.Across <= GrownLong
}

// weigh fills what length and proportions say.
func (s *Size) weigh(radius float64) {
	least, most := EyeShort, EyeLong
	if s.Stylised != "" {
		least, most = StylisedShort, StylisedLong
	}
	for _, m := range mistakes {
		// What was brought to a round radius has that radius.
		if r := radius; (m.factor == 12 && math.Abs(r-1) > 0.03) || (m.factor == 0.012 && math.Abs(r-1000) > 30) {
			continue
		}
		l := s.Length * m.factor
		if l > least-2*s.SE*m.factor && l < most+2*s.SE*m.factor {
			s.Readings = append(s.Readings, Reading{What: m.what, Factor: m.factor, Length: l, Odds: m.usual * likely(l)})
		}
	}
	// Two mistakes of one factor are one reading.
	slices.SortStableFunc(s.Readings, func(a, b Reading) int { return cmp.Compare(b.Odds, a.Odds) })
	var each []Reading
	for _, r := range s.Readings {
		if i := slices.IndexFunc(each, func(q Reading) bool { return math.Abs(q.Factor/r.Factor-1) < 0.02 }); i >= 0 {
			each[i].Odds += r.Odds
			continue
		}
		each = append(each, r)
	}
	s.Readings = weigh(each)
	span := fmt.Sprintf("eyes that are modelled are %g to %g mm long", least, most)
	if s.Stylised != "" {
		span = fmt.Sprintf("eyes of other proportions than a grown human's are modelled %g to %g mm long", least, most)
	}
	is := fmt.Sprintf("it is %s mm long; %s", short(s.Length), span)
	switch len(s.Readings) {
	case 0:
		s.Why = is + "; no usual mistake of units makes one of it, so it can't be said what it is meant to be: look up how long it should be, and scale it by that"
	case 1:
		r := s.Readings[0]
		s.Factor, s.Verdict = r.Factor, Right
		s.Why = is + ", and read in another usual unit it would be too short or too long for one"
		if r.Factor != 1 {
			s.Verdict = Mistaken
			s.Why = fmt.Sprintf("%s, and one usual mistake alone makes this of one: %s, so it is meant to be %s mm", is, r.What, short(r.Length))
		}
	default:
		s.Why = is + ", and its length alone can't tell which of these it is, the most usual first: "
		for i, r := range s.Readings {
			if i > 0 {
				s.Why += "; or "
			}
			s.Why += fmt.Sprintf("%s, meant to be %s mm", r.What, short(r.Length))
		}
	}
}
