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
	e = sized(2.05)
	assert.Equal(t, Undecided, e.Size(1).Verdict, "brought to a radius of 1, or ten times too small")
	e.Length = Value{Why: "the shell has no back", V: math.NaN(), SE: math.NaN()}
	assert.Equal(t, Undecided, e.Size(1).Verdict)
}
