package colour

import (
	"math"
	"testing"
)

func compare(t *testing.T, what string, got, want Matrix, tol float64) {
	t.Helper()
	for i := range want {
		for j := range want[i] {
			if !(math.Abs(got[i][j]-want[i][j]) <= tol) {
				t.Errorf("%s [%d][%d]: %.6f, want %.6f within %g", what, i, j, got[i][j], want[i][j], tol)
			}
		}
	}
}

// Rec. 2020 to Rec. 709: the matrix of ITU-R BT.2407-0, section 2 (four digits).
func TestRec2020(t *testing.T) {
	m, err := Rec2020.ToRec709()
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "Rec. 2020", m, Matrix{{1.6605, -0.5876, -0.0728}, {-0.1246, 1.1329, -0.0083}, {-0.0182, -0.1006, 1.1187}}, 6e-5)
}

// Whites by Bradford's cones, D65 to D50: Lindbloom, Chromatic Adaptation, with the white points of ASTM E308-01.
func TestAdapt(t *testing.T) {
	m, err := adapt(RGB{0.95047, 1, 1.08883}, RGB{0.96422, 1, 0.82521})
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "D65 to D50", m, Matrix{{1.0478112, 0.0228866, -0.0501270}, {0.0295424, 0.9904844, -0.0170491}, {-0.0092345, 0.0150436, 0.7521316}}, 2e-6)
}

// White stays white between whites, the own primaries change nothing, and what is no set of colours is an error.
func TestToRec709(t *testing.T) {
	same, err := Rec709.ToRec709()
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "Rec. 709", same, Matrix{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, 1e-12)
	d60, err := Primaries{0.7347, 0.2653, 0, 1, 0.0001, -0.077, 0.32168, 0.33767}.ToRec709()
	if err != nil {
		t.Fatal(err)
	}
	for k, v := range d60.Apply(Grey(1)) {
		if math.Abs(v-1) > 1e-12 {
			t.Errorf("white, channel %d: %v", k, v)
		}
	}
	for _, p := range []Primaries{{}, {.3, .3, .3, .3, .3, .3, .3, .3}, {.64, .33, .3, .6, .15, .06, .3127, 0}, {math.NaN()}, {.64, .33, .3, .6, .15, math.Inf(1), .3, .3}} {
		if _, err := p.ToRec709(); err == nil {
			t.Errorf("%v: no error", p)
		}
	}
}
