package chart

import (
	"math"
	"testing"
)

// Pairs of Sharma, Wu and Dalal 2005, table 1 (pairs 1, 7, 17 and 34 of it), to four places.
func TestDifference(t *testing.T) {
	for _, c := range []struct {
		a, b [3]float64
		want float64
	}{
		{[3]float64{50, 2.6772, -79.7751}, [3]float64{50, 0, -82.7485}, 2.0425},
		{[3]float64{50, 0, 0}, [3]float64{50, -1, 2}, 2.3669},
		{[3]float64{50, 2.5, 0}, [3]float64{73, 25, -18}, 27.1492},
		{[3]float64{2.0776, 0.0795, -1.1350}, [3]float64{0.9033, -0.0636, -0.5514}, 0.9082},
	} {
		if got := Difference(c.a, c.b); math.Abs(got-c.want) > 5e-5 {
			t.Errorf("%v %v: %.5f, want %v", c.a, c.b, got, c.want)
		}
		if Difference(c.a, c.b) != Difference(c.b, c.a) && math.Abs(Difference(c.a, c.b)-Difference(c.b, c.a)) > 1e-12 {
			t.Errorf("%v %v is not symmetric", c.a, c.b)
		}
	}
}

// 23 patches lie inside linear Rec. 709, cyan does not; Lab undoes Linear.
func TestPatches(t *testing.T) {
	if len(Patches) != 24 {
		t.Fatal(len(Patches))
	}
	for i, p := range Patches {
		c := p.Linear()
		inside := min(c[0], c[1], c[2]) >= 0 && c.Max() <= 1
		if inside != (i != OutOfGamut) {
			t.Errorf("%s: %v", p.Name, c)
		}
		if d := Difference(Lab(c), p.Lab); d > 1e-3 {
			t.Errorf("%s: comes back %v off", p.Name, d)
		}
	}
}
