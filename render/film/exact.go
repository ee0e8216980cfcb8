package film

import (
	"math"
	"math/bits"
)

// exact is a sum of numbers that does not depend on their order: a whole number of 128 bits, in units of 2^-56 for values
// and of 2^-46 for squares. So the samples of a pixel can be added up by any number of machines to the same bits.
//
// A value is cut to the unit (1.4e-17), and what is beyond 1e15 counts as that; 2^20 samples of it have room. Squares count up
// to values of 1e9.
type exact struct {
	hi int64
	lo uint64
}

const (
	unit       = 0x1p-56
	squareUnit = 0x1p-46
	mostExact  = 1e15
	mostSquare = 1e9
)

// add adds a value, NaN as nothing.
func (e *exact) add(v float64) { e.units(min(max(v, -mostExact), mostExact) * (1 / unit)) }

// addSquare adds the square of a value.
func (e *exact) addSquare(v float64) {
	v = min(math.Abs(v), mostSquare)
	e.units(v * v * (1 / squareUnit))
}

// units adds a number of units below 2^120, cut toward 0.
func (e *exact) units(x float64) {
	a := math.Abs(x)
	if !(a >= 1) {
		return
	}
	high := math.Floor(a * 0x1p-64)
	hi, lo := int64(high), uint64(a-high*0x1p64) // exact: both have the bits of a
	if x < 0 {
		var borrow uint64
		e.lo, borrow = bits.Sub64(e.lo, lo, 0)
		e.hi -= hi + int64(borrow)
		return
	}
	var carry uint64
	e.lo, carry = bits.Add64(e.lo, lo, 0)
	e.hi += hi + int64(carry)
}

// plus adds another sum.
func (e *exact) plus(o exact) {
	var carry uint64
	e.lo, carry = bits.Add64(e.lo, o.lo, 0)
	e.hi += o.hi + int64(carry)
}

// value returns the sum times the unit, rounded.
func (e exact) value(unit float64) float64 {
	if e.hi < 0 {
		lo, borrow := bits.Sub64(0, e.lo, 0)
		return -exact{-e.hi - int64(borrow), lo}.value(unit)
	}
	return (float64(e.hi)*0x1p64 + float64(e.lo)) * unit
}
