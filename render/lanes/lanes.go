// Package lanes computes a function of several numbers at once.
package lanes

import "math"

// Exp3 replaces each of three numbers by its exponential; the bits are those of math.Exp.
func Exp3(x *[3]float64) {
	if useAVX2 {
		y := [4]float64{x[0], x[1], x[2]}
		if exp4(&y) {
			x[0], x[1], x[2] = y[0], y[1], y[2]
			return
		}
	}
	for i, v := range x {
		x[i] = math.Exp(v)
	}
}

// Exp8 is Exp3 of eight numbers; it takes hardly longer.
func Exp8(x *[8]float64) {
	if useAVX2 && exp8(x) {
		return
	}
	for i, v := range x {
		x[i] = math.Exp(v)
	}
}

// Exp12 is Exp3 of twelve numbers.
func Exp12(x *[12]float64) {
	if useAVX2 && exp12(x) {
		return
	}
	for i, v := range x {
		x[i] = math.Exp(v)
	}
}
