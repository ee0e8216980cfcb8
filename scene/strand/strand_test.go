package strand

import (
	"math"
	"strings"
	"testing"

	"catchlight/scene/geom"
)

// arc returns a hair along a circle of radius r about the origin over an angle, of n knots.
func arc(r, angle float64, n int, w float32) *Set {
	p, h := make([]geom.Vec, n), make([]float32, n)
	for i := range n {
		sin, cos := math.Sincos(angle * float64(i) / float64(n-1))
		p[i], h[i] = geom.Vec{X: r * cos, Y: r * sin}, w
	}
	s := &Set{}
	s.Add(p, h, 5, 0.5)
	return s
}

// Sources: the circle itself; a torus' volume 2 pi^2 R r^2 over the angle, less what the corners of a 64-gon lose of a circle's area.
func TestCurve(t *testing.T) {
	const r, angle = 3.6, 1.4
	s := arc(r, angle, 13, 0.04)
	if err := s.Check(); err != nil {
		t.Fatal(err)
	}
	for k := 1; k < 11; k++ {
		c := s.Span(0, k)
		if c.At(0).Sub(s.P[k]).Len() > 1e-12 || c.At(1).Sub(s.P[k+1]).Len() > 1e-12 {
			t.Errorf("span %d does not pass through its knots", k)
		}
		n := c.Pieces(tubeSag)
		for j := range 20 {
			u := (float64(j) + 0.5) / 20
			if d := math.Abs(c.At(u).Len() - r); d > 1e-3 {
				t.Errorf("span %d at %.2f: %.2g mm off the circle", k, u, d)
			}
			if d := c.Slope(u).Unit().Dot(c.At(u).Unit()); math.Abs(d) > 0.01 {
				t.Errorf("span %d at %.2f: tangent %.2g off", k, u, d)
			}
			lo := math.Floor(u*float64(n)) / float64(n)
			a, b := c.At(lo), c.At(lo+1/float64(n))
			p := c.At(u)
			if d := p.Sub(a).Cross(b.Sub(a)).Len() / b.Sub(a).Len(); d > tubeSag {
				t.Errorf("span %d at %.2f: %.4f mm from its chord", k, u, d)
			}
		}
	}
	m := Tubes(s, 64)
	var v float64
	for _, f := range m.Tri {
		v += m.P[f[0]].Dot(m.P[f[1]].Cross(m.P[f[2]])) / 6
	}
	want := math.Pi * 0.04 * 0.04 * r * angle
	if math.Abs(v/want-1) > 0.01 {
		t.Errorf("volume %.6f mm3, want %.6f", v, want)
	}
}

func TestCheck(t *testing.T) {
	for name, spoil := range map[string]func(*Set){
		"at least two":     func(s *Set) { s.Start = []uint32{0, 12, 13}; s.Eu = append(s.Eu, 1); s.Ph = append(s.Ph, 1) },
		"half widths":      func(s *Set) { s.R = s.R[1:] },
		"eumelanin -1":     func(s *Set) { s.Eu[0] = -1 },
		"pheomelanin NaN":  func(s *Set) { s.Ph[0] = float32(math.NaN()) },
		"not finite":       func(s *Set) { s.P[3].Y = math.Inf(1) },
		"half width -0.1":  func(s *Set) { s.R[4] = -0.1 },
		"1 hairs with 0":   func(s *Set) { s.Eu = nil },
		"end at the last":  func(s *Set) { s.Start[1] = 9 },
		"half width NaN":   func(s *Set) { s.R[4] = float32(math.NaN()) },
		"begin at the fir": func(s *Set) { s.Start[0] = 1 },
	} {
		s := arc(3, 1, 13, 0.04)
		spoil(s)
		if err := s.Check(); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := (&Set{}).Check(); err != nil {
		t.Error(err)
	}
	s := arc(3, 1, 5, 0.04)
	s.Append(arc(2, 1, 7, 0.03))
	if err := s.Check(); err != nil || s.Hairs() != 2 || len(s.P) != 12 {
		t.Errorf("%v, %d hairs, %d knots", err, s.Hairs(), len(s.P))
	}
}
