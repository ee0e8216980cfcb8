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

// Unit verdicts.
const (
	Undecided = "undecided"
	Right     = "right"
	Mistaken  = "wrong unit"
)

// Size says what an eye's length says about its unit.
type Size struct {
	Verdict  string    // Right, Mistaken or Undecided
	Factor   float64   // that mends it; 1 where the unit is right, 0 where that is undecided
	Length   float64   // as it is, mm
	SE       float64   // its standard error, mm
	Stylised string    // what its proportions say; "" where they are a grown person's
	Readings []Reading // that make an eye of a possible size of it, the likeliest first; Odds are among these alone
	Why      string    // in words
}

// Size weighs an eye whose numbers are k mm each. It is sure of a reading only where no other usual mistake makes a possible
// eye: odds alone, which rest on how usual eyes and mistakes are, decide nothing.
func (e *Eye) Size(k float64) Size {
	s := Size{Verdict: Undecided, Length: e.Length.V * k, SE: e.Length.SE * k, Stylised: e.Shape()}
	if !e.Length.Held {
		s.Why = "its length is not held: " + e.Length.Why
		return s
	}
	s.weigh(e.Globe.Radius.V * k)
	return s
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
		span = fmt.Sprintf("its proportions are no grown person's, and a stylised eye may be %g to %g mm long", least, most)
	}
	switch len(s.Readings) {
	case 0:
		s.Why = fmt.Sprintf("it is %s mm long; %s, and no usual mistake of units explains it", short(s.Length), span)
	case 1:
		r := s.Readings[0]
		s.Factor, s.Verdict = r.Factor, Right
		s.Why = fmt.Sprintf("it is %s mm long; %s, and with any usual mistake of units it would be none", short(s.Length), span)
		if r.Factor != 1 {
			s.Verdict = Mistaken
			s.Why = fmt.Sprintf("it is %s mm long; %s, and one usual mistake alone explains it: %s, so it is meant to be %s mm", short(s.Length), span, r.What, short(r.Length))
		}
	default:
		s.Why = fmt.Sprintf("it is %s mm long; %s, and there are several readings: ", short(s.Length), span)
		for i, r := range s.Readings {
			if i > 0 {
				s.Why += "; or "
			}
			s.Why += r.String()
		}
	}
}
