package measure

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// sized is an eye of a length in mm of which all else is a grown person's.
func sized(mm float64) *Eye {
	held := func(v float64) Value { return Value{V: v, SE: 0.002 * v, Held: true} }
	return &Eye{
		Length: held(mm), Globe: Sphere{Radius: held(mm / 2.05)},
		Cornea: Cornea{Radius: held(0.325 * mm)}, Limbus: held(0.24 * mm),
	}
}

// Every eye of 15 to 45 mm under every usual mistake: what is said for sure is so.
func TestSizeIsNeverWrongAndSure(t *testing.T) {
	said := map[string]int{}
	for mm := 15.0; mm <= 45; mm += 0.25 {
		for _, f := range []float64{1, 0.1, 10, 2.54, 25.4, 0.01, 100, 1 / 2.54, 1 / 25.4, 1e-3, 1e3} {
			s := sized(mm * f).Size(1)
			said[s.Verdict]++
			if s.Verdict != Undecided {
				assert.InEpsilon(t, 1/f, s.Factor, 0.021, "%g mm by %g: %s", mm, f, s.Why)
			}
			assert.Equal(t, s.Verdict == Right, s.Factor == 1, "%g mm by %g", mm, f)
		}
	}
	t.Log(said)
	assert.Greater(t, said[Right], 60)
	assert.Greater(t, said[Mistaken], 400)
}

func TestSizeWords(t *testing.T) {
	for _, c := range []struct {
		mm      float64
		verdict string
		factor  float64
	}{
		{24, Right, 1}, {33.1, Right, 1}, {240, Mistaken, 0.1}, {2.4, Mistaken, 10}, {0.24, Mistaken, 100}, {609.6, Undecided, 0}, {480, Mistaken, 1 / 25.4},
		{61, Mistaken, 1 / 2.54}, {40, Undecided, 0}, {16, Undecided, 0}, {440, Undecided, 0}, {0.0001, Undecided, 0},
	} {
		s := sized(c.mm).Size(1)
		assert.Equal(t, c.verdict, s.Verdict, "%g: %s", c.mm, s.Why)
		if c.factor > 0 {
			assert.InEpsilon(t, c.factor, s.Factor, 0.02, fmt.Sprint(c.mm))
		}
	}
	e := sized(30)
	e.Limbus.V = 11
	s := e.Size(1)
	assert.Equal(t, Undecided, s.Verdict, "a stylised eye's size says less")
	assert.NotEmpty(t, s.Stylised)
	assert.Contains(t, s.Why, "alone can't tell which of these it is, the most usual first: the unit is right, meant to be 30 mm")
	e = sized(2.05)
	assert.Equal(t, Undecided, e.Size(1).Verdict, "brought to a radius of 1, or ten times too small")
	e.Length = Value{Why: "the shell has no back", V: math.NaN(), SE: math.NaN()}
	assert.Equal(t, Undecided, e.Size(1).Verdict)
}

// Parts that fit no eye are no mistake of units, at whatever scale: a 12 mm wide iris in a 60 mm wide globe was once called
// centimetres taken for inches.
func TestMisfit(t *testing.T) {
	e := sized(61.5)
	e.Limbus.V = 5.85
	for _, k := range []float64{1, 0.1, 1 / 2.54, 25.4} {
		s := e.Size(k)
		assert.Equal(t, Misfit, s.Verdict)
		assert.Zero(t, s.Factor)
		assert.Empty(t, s.Readings)
		assert.Contains(t, s.Why, "its visible iris is 0.195 of the globe's width; eyes have 0.3 to 0.95, a grown human 0.488, at any unit")
	}
	e.Limbus.V = 0.4 * 30 // as large diurnal mammals have it
	assert.NotEqual(t, Misfit, e.Size(1).Verdict)
	e.Limbus = Value{Why: "no edge", V: math.NaN(), SE: math.NaN()}
	assert.NotEqual(t, Misfit, e.Size(1).Verdict)
}

// The unit may be right of an eye that is no human's: its width beside theirs is told.
func TestHuman(t *testing.T) {
	for mm, want := range map[float64]string{
		24.8: "its globe is 24.2 mm across, 1 times a grown human's 24.2 mm (Bekerman et al. 2014)",
		32.5: "its globe is 31.7 mm across, 1.31 times a grown human's 24.2 mm; none of 250 adults has more than 27 mm (Bekerman et al. 2014)",
		17.5: "its globe is 17.1 mm across, 0.706 times a grown human's 24.2 mm; none of 250 adults has less than 21 mm (Bekerman et al. 2014)",
	} {
		s := sized(mm).Size(1)
		assert.Equal(t, want, s.Human())
		assert.Equal(t, mm == 24.8, s.HumanSize())
	}
	e := sized(24)
	e.Globe.Radius.Held = false
	s := e.Size(1)
	assert.Empty(t, s.Human())
}
