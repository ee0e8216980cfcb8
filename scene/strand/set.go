// Package strand holds hairs as curves: swept, tapered, each with its own pigment.
//
//	Set    the hairs: knots of Catmull-Rom curves, half widths, eumelanin and pheomelanin
//	Span   the cubic between two knots, as coefficients of powers
//	Tubes  a mesh of closed tubes along the curves, the slow and plain way to render them
//
// Lengths are in mm. A curve passes through its knots; half widths are linear between them. Beyond its first and last knot a
// hair goes on as if mirrored at the knot, so that it ends without curvature.
//
// Source: Catmull and Rom, A class of local interpolating splines, Computer Aided Geometric Design, 1974 (uniform, tension 1/2).
package strand

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
)

// Set is any number of hairs. The zero value is an empty one.
type Set struct {
	P     []geom.Vec // knots of a Catmull-Rom curve, mm (the curve passes through them)
	R     []float32  // half width at each knot, mm
	Start []uint32   // first knot of each hair, and len(P) at the end

	// Eu and Ph are eumelanin and pheomelanin of each hair: it absorbs Eu (.419 .697 1.37) + Ph (.187 .4 1.05) over a length of
	// its own radius.
	Eu, Ph []float32
}

// Limits of what Check lets pass.
const (
	MaxKnots   = 1 << 26 // of all hairs
	MaxRadius  = 5.0     // mm
	MaxPigment = 1000.0
)

// Add appends a hair of at least two knots with as many half widths. It panics where their numbers differ.
func (s *Set) Add(p []geom.Vec, r []float32, eu, ph float32) {
	if len(p) != len(r) {
		panic(fmt.Sprintf("strand: %d knots with %d half widths", len(p), len(r)))
	}
	if len(s.Start) == 0 {
		s.Start = append(s.Start, 0)
	}
	s.P, s.R = append(s.P, p...), append(s.R, r...)
	s.Start = append(s.Start, uint32(len(s.P)))
	s.Eu, s.Ph = append(s.Eu, eu), append(s.Ph, ph)
}

// Append adds copies of the hairs of q.
func (s *Set) Append(q *Set) {
	for i := range q.Hairs() {
		a, b := q.Start[i], q.Start[i+1]
		s.Add(q.P[a:b], q.R[a:b], q.Eu[i], q.Ph[i])
	}
}

// Hairs returns how many hairs there are.
func (s *Set) Hairs() int { return max(0, len(s.Start)-1) }

// Check reports the first thing that is wrong with the set: its numbers of knots, a number that is not finite or out of range.
func (s *Set) Check() error {
	n := s.Hairs()
	switch {
	case len(s.P) > MaxKnots:
		return fmt.Errorf("strand: %d knots; the most is %d", len(s.P), MaxKnots)
	case len(s.R) != len(s.P):
		return fmt.Errorf("strand: %d knots with %d half widths", len(s.P), len(s.R))
	case len(s.Eu) != n || len(s.Ph) != n:
		return fmt.Errorf("strand: %d hairs with %d values of eumelanin and %d of pheomelanin", n, len(s.Eu), len(s.Ph))
	case n == 0 && len(s.P) > 0 || n > 0 && (s.Start[0] != 0 || int(s.Start[n]) != len(s.P)):
		return fmt.Errorf("strand: the hairs do not begin at the first knot and end at the last")
	}
	for i := range n {
		a, b := s.Start[i], s.Start[i+1]
		if b > uint32(len(s.P)) || a > b || b-a < 2 {
			return fmt.Errorf("strand: hair %d: knots %d to %d; at least two are needed", i, a, b)
		}
		if e, p := float64(s.Eu[i]), float64(s.Ph[i]); !(e >= 0 && e <= MaxPigment && p >= 0 && p <= MaxPigment) {
			return fmt.Errorf("strand: hair %d: eumelanin %g and pheomelanin %g; allowed: 0 to %g", i, e, p, MaxPigment)
		}
		for k := a; k < b; k++ {
			if !s.P[k].Finite() {
				return fmt.Errorf("strand: hair %d: knot %d is not finite", i, k-a)
			}
			if r := float64(s.R[k]); !(r >= 0 && r <= MaxRadius) {
				return fmt.Errorf("strand: hair %d: half width %g mm at knot %d; allowed: 0 to %g", i, r, k-a, MaxRadius)
			}
		}
	}
	return nil
}

// Span is the part of a hair between two knots; its parameter t goes from 0 to 1.
type Span struct {
	C      [4]geom.Vec // position C[0] + t (C[1] + t (C[2] + t C[3])), mm
	R0, R1 float64     // half widths at its ends, mm
}

// Span returns what lies between knot k and the next one of hair i; k counts from the hair's first knot.
func (s *Set) Span(i, k int) Span {
	a, b := int(s.Start[i]), int(s.Start[i+1])
	at := a + k
	p1, p2 := s.P[at], s.P[at+1]
	p0, p3 := p1.Mul(2).Sub(p2), p2.Mul(2).Sub(p1)
	if at > a {
		p0 = s.P[at-1]
	}
	if at+2 < b {
		p3 = s.P[at+2]
	}
	return Span{
		C: [4]geom.Vec{
			p1,
			p2.Sub(p0).Mul(0.5),
			p0.Mad(-2.5, p1).Mad(2, p2).Mad(-0.5, p3),
			p3.Sub(p0).Mul(0.5).Mad(1.5, p1.Sub(p2)),
		},
		R0: float64(s.R[at]), R1: float64(s.R[at+1]),
	}
}

// At returns the position at t, mm.
func (c *Span) At(t float64) geom.Vec {
	return c.C[0].Mad(t, c.C[1].Mad(t, c.C[2].Mad(t, c.C[3])))
}

// Slope returns the derivative of the position by t, mm.
func (c *Span) Slope(t float64) geom.Vec {
	return c.C[1].Mad(2*t, c.C[2]).Mad(3*t*t, c.C[3])
}

// Radius returns the half width at t, mm.
func (c *Span) Radius(t float64) float64 { return c.R0 + (c.R1-c.R0)*t }

// Pieces returns into how many straight pieces of equal parameter the span must be cut for none to stray more than sag mm from
// the curve: at most 64. The second derivative of a cubic is largest at an end, and a chord over a step h strays by at most
// h^2/8 of it.
func (c *Span) Pieces(sag float64) int {
	a := c.C[2].Mul(2).Len()
	b := c.C[2].Mul(2).Mad(6, c.C[3]).Len()
	return int(min(64, max(1, math.Ceil(math.Sqrt(max(a, b)/(8*sag))))))
}
